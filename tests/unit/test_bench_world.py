"""The world: edges in order with exact stamps, commands that expire, noise by seed, faults of the sensor."""

import itertools
from math import pi

import pytest

from firmware.records import EdgeLog
from host_sim.bench.assemble import bench_for
from host_sim.bench.faults import FAULTS, FaultSpec, set_faults
from host_sim.bench.world import EdgeWatch, World
from host_sim.plant.rider import FOLLOW
from tests.ride.riding import bike_with

EVEN = {"uneven_deg": 0.0, "duty_percent": 50, "phase_deg": 90, "hysteresis_deg": 0.0}
WRAP_US = 2**30
ONE_TURN_PER_S = 2.0 * pi


class Edges(EdgeWatch):
    def __init__(self) -> None:
        self.seen: list[tuple[int, int]] = []

    def edge(self, time_us: int, levels: int) -> None:
        self.seen.append((time_us, levels))


def _world(seed: int = 1, clock_us: int = 0, name: str = "cargo_trike") -> tuple[World, Edges]:
    """Return a world whose rider turns a crank at 60 rpm with an even ring: 10 pulses, 40 edges a second."""
    bike = bike_with(name, pedal_sensor=EVEN, rider={"cadence_ripple": 0.0})
    world = bench_for(bike, seed, clock_us).world
    edges = Edges()
    world.watch_edges(edges)
    world.rider.mode = FOLLOW
    world.rider.target_rad_per_s = ONE_TURN_PER_S
    return world, edges


def _drain(log: EdgeLog) -> list[tuple[int, int]]:
    found = []
    while log.take():
        found.append((log.time_us, log.levels))
    return found


def test_edges_carry_interpolated_stamps_that_run_on_across_the_tick_wrap():
    world, _ = _world(clock_us=WRAP_US - 1_000_000)
    stamps = []
    for period in range(1, 401):
        world.advance(period * 5_000)
        stamps += _drain(world.crank_log)
    later = [time_us for time_us, _ in stamps][10:]
    steps_us = [(after - before) % WRAP_US for before, after in itertools.pairwise(later)]
    assert set(steps_us) <= {24_999, 25_000, 25_001}  # 40 edges a second, whatever the 5 ms of the steps.
    assert max(later) > WRAP_US - 30_000
    assert later[-1] < 1_000_000


def test_a_forward_turn_gives_the_levels_of_quadrature_with_a_in_the_lead():
    # Gray order of an incremental encoder: A alone, both, B alone, none (bit 0 is A).
    world, edges = _world()
    world.advance(2_000_000)
    levels = [level for _, level in edges.seen]
    after = {1: 3, 3: 2, 2: 0, 0: 1}
    assert len(levels) > 70
    assert all(after[one] == two for one, two in itertools.pairwise(levels))


def test_many_small_steps_and_one_long_call_see_the_same_edges():
    whole, edges_whole = _world()
    whole.advance(1_000_000)
    parts, edges_parts = _world()
    for period in range(1, 201):
        parts.advance(period * 5_000)
    assert edges_whole.seen == edges_parts.seen


class SpyMotor:
    """Records the motor's command, and for how long."""

    def __init__(self) -> None:
        self.told: list[tuple[float, float]] = []
        self.battery_current_a = 0.0
        self.power_w = 0.0

    def assisting(self) -> bool:
        return False

    def step(self, command_v: float, battery_v: float, speed_m_per_s: float, elapsed_s: float) -> float:
        self.told.append((command_v, round(elapsed_s, 9)))
        return 0.0


def test_a_command_that_is_not_renewed_ends_to_the_microsecond():
    world, _ = _world()
    spy = SpyMotor()
    world.motor = spy
    world.command_v = 3.0
    world.command_until_us = 12_000
    world.advance(20_000)
    assert spy.told == [(3.0, 0.005), (3.0, 0.005), (3.0, 0.002), (0.0, 0.005), (0.0, 0.003)]


@pytest.mark.parametrize("per_s", [50.0, 1_000.0, 5_000.0])
def test_noise_comes_in_order_changes_levels_each_time_and_is_as_dense_as_asked(per_s):
    world, edges = _world()
    world.rider.target_rad_per_s = 0.0
    world.noise_per_s = per_s
    world.advance(4_000_000)
    times_us = [time_us for time_us, _ in edges.seen]
    levels = [level for _, level in edges.seen]
    assert times_us == sorted(times_us)
    assert all(one != two for one, two in itertools.pairwise(levels))
    # Two edges a pulse; five standard deviations of a count of chance events on either side.
    expected = 4 * per_s
    assert abs(len(times_us) / 2 - expected) < 5 * expected**0.5


def test_noise_is_the_same_for_the_same_seed_and_another_for_another():
    seen = []
    for seed in (3, 3, 4):
        world, edges = _world(seed=seed)
        world.noise_per_s = 200.0
        world.advance(1_000_000)
        seen.append(edges.seen)
    assert seen[0] == seen[1]
    assert seen[0] != seen[2]


def test_when_noise_ends_the_levels_are_the_true_ones_again():
    world, edges = _world()
    world.noise_per_s = 2_000.0
    world.advance(1_000_000)
    world.heal()
    world.advance(1_010_000)
    edges.seen.clear()
    world.advance(2_010_000)
    assert len(edges.seen) == 40
    assert edges.seen[-1][1] == world.pedal_sensor.levels


def test_a_one_channel_sensor_has_no_channel_b_for_noise_to_reach():
    world, edges = _world(name="folding")
    world.noise_per_s = 500.0
    world.advance(2_000_000)
    assert len(edges.seen) > 500
    assert {level for _, level in edges.seen} == {0, 1}


def test_a_bounce_adds_six_edges_within_two_milliseconds_and_ends_at_the_true_level():
    # Contact bounce lasts 0.5 to 1 ms as a rule (reed-sensor.com glossary); the bench takes the double.
    world, edges = _world()
    world.bounces = True
    world.advance(2_000_000)
    counted = [time_us for time_us, _ in edges.seen if 1_000_000 <= time_us < 1_999_000]
    assert len(counted) == pytest.approx(7 * 40, abs=7)
    times_us = [time_us for time_us, _ in edges.seen]
    assert times_us == sorted(times_us)
    gaps = [after - before for before, after in itertools.pairwise(times_us)]
    assert max(gaps[100:]) > 22_000  # It is over long before the next true edge.


def test_a_dead_channel_keeps_its_level_when_the_next_stretch_still_has_the_fault():
    world, edges = _world()
    # Out of the 40 places of a turn, die in each of the four pairs of levels.
    for quarter in range(4):
        world.advance(world.now_us + 1_000_000 + 25_000 * quarter)
        set_faults(world, [FaultSpec("channel dead", channel="A")])
        held = world.pedal_sensor.levels & 1
        world.advance(world.now_us + 60_000)
        for _ in range(7):  # Told again and again, as by a course with more stretches.
            set_faults(world, [FaultSpec("channel dead", channel="A"), FaultSpec("shunt reading dead")])
            world.advance(world.now_us + 35_000)
            assert world.pedal_sensor.levels & 1 == held
        set_faults(world, [])
    assert len(edges.seen) > 100


def test_a_fault_that_is_not_listed_any_more_is_healed():
    world, edges = _world()
    set_faults(
        world,
        [
            FaultSpec("channels swapped"),
            FaultSpec("channel stuck high", channel="B"),
            FaultSpec("magnet missing", magnet=1),
            FaultSpec("noise", per_s=100.0),
            FaultSpec("loop stalls", stall_ms=100),
        ],
    )
    world.advance(1_000_000)
    set_faults(world, [])
    world.advance(1_100_000)
    edges.seen.clear()
    world.advance(2_100_000)
    assert len(edges.seen) == 40
    assert [world.stall_us, world.noise_per_s] == [0, 0.0]


def test_a_missing_magnet_takes_four_edges_out_of_a_turn():
    world, edges = _world()
    set_faults(world, [FaultSpec("magnet missing", magnet=3)])
    world.advance(1_000_000)
    edges.seen.clear()
    world.advance(2_000_000)
    assert len(edges.seen) == 36


def test_a_lost_wheel_sensor_gives_no_pulse_until_it_is_healed():
    world, _ = _world()
    world.bicycle.speed_m_per_s = 5.0
    set_faults(world, [FaultSpec("wheel sensor lost")])
    world.advance(2_000_000)
    assert _drain(world.wheel_log) == []
    set_faults(world, [])
    world.advance(4_000_000)
    assert len(_drain(world.wheel_log)) >= 3


def test_every_fault_can_be_set_and_is_gone_afterwards():
    for name, (keys, _) in FAULTS.items():
        values = {
            "channel": "B", "magnet": 2, "strength": 0.5, "per_s": 10.0, "stall_ms": 100, "percent": 50.0,
            "amps": 1.0, "seconds": 2.0, "pulse_ms": 1.0, "cut_ms": 10, "km_per_h": 5.0,
        }  # fmt: skip
        world, _ = _world()
        before = _state(world)
        set_faults(world, [FaultSpec(name, **{key: values[key] for key in keys})])
        assert _state(world) != before, name
        set_faults(world, [])
        assert _state(world) == before, name
        assert (world.readings.faulty, world.drive_faults.active, world.wheel_faults.active) == (False,) * 3


def _state(world: World) -> tuple[object, ...]:
    return (
        list(world.channel_states),
        world.channels_swapped,
        list(world.magnet_strengths),
        world.noise_per_s,
        world.bounces,
        world.throttle_wire,
        world.selector_wire,
        world.battery_wire,
        world.wheel_sensor.working,
        world.shunt_stuck,
        world.shunt_dead,
        world.stall_us,
        list(world.channel_shares),
        world.pulses_multiple,
        world.channels_lost,
        world.interference_per_s,
        world.wheel_sensor.pulses_share,
        *(
            getattr(part, field)
            for part in (
                world.board_clock, world.drive_faults, world.wheel_faults, world.readings.throttle,
                world.readings.selector, world.readings.battery, world.readings.shunt, world.readings.heat,
                world.readings.brake,
            )
            for field in type(part).__slots__
            if not field.startswith("_")
        ),
    )  # fmt: skip


def test_the_end_of_forward_pedalling_is_noted_where_the_crank_stood_still():
    world, _ = _world()
    world.advance(1_000_000)
    assert world.last_forward_us == 1_000_000
    world.rider.target_rad_per_s = -ONE_TURN_PER_S
    world.advance(3_000_000)
    # 60 rpm are 6.28 rad/s; legs slow down at 60 rad/s2, so they stand after 0.105 s.
    assert 1_095_000 <= world.last_forward_us <= 1_110_000
