"""Every fault of the bench does what its name says: readings, wheel, drive, crank, brake, clock."""

import itertools
from math import pi

import pytest

from firmware.records import EdgeLog, Inputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import Agenda
from host_sim.bench.faults import FaultSpec, set_faults
from host_sim.bench.sim_board import SimBoard
from host_sim.bench.truth import Bounds, Truth
from host_sim.bench.world import EdgeWatch, World
from host_sim.bikes.load import load_bike
from host_sim.plant.rider import FOLLOW
from tests.ride.riding import bike_with
from tests.unit.test_bench_sim_board import LEVERS


class Rig:
    """A world with a board that measures it, 5 ms a reading."""

    def __init__(self, name: str = "cargo_trike", seed: int = 1) -> None:
        self.world: World = bench_for(load_bike(name), seed, 0).world
        self.world.throttle_share = 0.4  # 1.95 V
        self.world.selector_v = 3.0
        self.board = SimBoard(self.world, Agenda(), LEVERS, 100_000_000, seed)
        self.inputs = Inputs()

    def readings(self, field: str, count: int = 400) -> list[int]:
        seen = []
        for _ in range(count):
            self.board.read(self.inputs)
            seen.append(getattr(self.inputs, field))
        return seen


class Seen(EdgeWatch):
    def __init__(self) -> None:
        self.edges: list[tuple[int, int]] = []

    def edge(self, time_us: int, levels: int) -> None:
        self.edges.append((time_us, levels))


def _turning(name: str = "cargo_trike") -> tuple[World, Seen]:
    """A crank that is turned once a second."""
    world = bench_for(load_bike(name), 1, 0).world
    seen = Seen()
    world.watch_edges(seen)
    world.rider.mode = FOLLOW
    world.rider.target_rad_per_s = 2.0 * pi
    world.advance(2_000_000)
    seen.edges.clear()
    return world, seen


def _rolling(m_per_s: float = 6.0) -> World:
    world = bench_for(bike_with(), 1, 0).world
    world.roller_m_per_s = m_per_s
    world.bicycle.speed_m_per_s = m_per_s
    return world


def _pulses(world: World, seconds: float) -> int:
    world.wheel_log = EdgeLog()
    count = 0
    for _ in range(round(seconds * 20)):
        world.advance(world.now_us + 50_000)
        while world.wheel_log.take():
            count += 1
    return count


@pytest.mark.parametrize(
    ("fault", "field", "plain", "read"),
    [
        (FaultSpec("throttle reading gain", percent=50.0), "throttle_mv", 1950, 975),
        (FaultSpec("throttle reading gain", percent=150.0), "throttle_mv", 1950, 2925),
        (FaultSpec("selector reading gain", percent=150.0), "selector_mv", 3000, 4500),
        (FaultSpec("motor temperature reading gain", percent=50.0), "motor_decicelsius", 200, 100),
        (FaultSpec("motor temperature wire open"), "motor_decicelsius", 200, -500),
        (FaultSpec("motor temperature wire shorted"), "motor_decicelsius", 200, 3000),
        (FaultSpec("battery reading high"), "battery_mv", None, 100_000),
        (FaultSpec("shunt reading high"), "current_ma", None, 40_000),
        (FaultSpec("shunt reading fixed", amps=0.72), "current_ma", None, 720),
        (FaultSpec("brake switch wire open"), "brake_pulled", False, True),
    ],
    ids=lambda value: value.name if isinstance(value, FaultSpec) else None,
)
def test_a_reading_is_what_the_fault_says_and_true_again_when_healed(fault, field, plain, read):
    rig = Rig()
    if plain is not None:
        assert rig.readings(field, 1) == [plain]
    set_faults(rig.world, [fault])
    assert rig.readings(field, 3) == [read] * 3
    set_faults(rig.world, [])
    assert rig.readings(field, 1) != [read]


def test_battery_and_shunt_gains_scale_what_is_true():
    rig = Rig()
    set_faults(rig.world, [FaultSpec("battery reading gain", percent=50.0)])
    # 40.9 V without load, see test_bench_sim_board; noise of 20 mV.
    assert rig.readings("battery_mv", 1)[0] == pytest.approx(20_450, abs=80)
    set_faults(rig.world, [FaultSpec("shunt reading gain", percent=150.0)])
    rig.world.motor.battery_current_a = 4.0
    rig.board._measure(rig.inputs)
    assert rig.inputs.current_ma == pytest.approx(6000, abs=50)


@pytest.mark.parametrize(
    ("name", "field"),
    [
        ("battery reading stuck", "battery_mv"),
        ("selector stuck", "selector_mv"),
        ("motor temperature reading stuck", "motor_decicelsius"),
        ("brake switch stuck", "brake_pulled"),
    ],
)
def test_a_stuck_reading_stays_what_it_was_also_over_the_next_stretch(name, field):
    rig = Rig()
    rig.readings(field, 1)
    set_faults(rig.world, [FaultSpec(name)])
    held = rig.readings(field, 1)[0]
    rig.world.battery.charge = 0.2
    rig.world.selector_v = 1.0
    rig.world.motor.temperature_celsius = 90.0
    rig.world.pull_brake(1.0)
    assert set(rig.readings(field)) == {held}
    set_faults(rig.world, [FaultSpec("wheel sensor lost"), FaultSpec(name)])
    assert set(rig.readings(field)) == {held}
    set_faults(rig.world, [])
    true = rig.readings(field, 1)[0]
    assert true != held
    set_faults(rig.world, [FaultSpec(name)])  # Held again from now, not from the first time.
    assert abs(rig.readings(field, 1)[0] - true) < 200


def test_a_brake_switch_shorted_never_shows_the_brake():
    rig = Rig()
    rig.world.pull_brake(1.0)
    assert rig.readings("brake_pulled", 1) == [True]
    set_faults(rig.world, [FaultSpec("brake switch wire shorted")])
    assert set(rig.readings("brake_pulled")) == {False}


def test_noise_of_a_reading_has_the_spread_asked_for_and_comes_again_by_seed():
    seen = []
    for seed in (1, 1, 2):
        rig = Rig(seed=seed)
        set_faults(rig.world, [FaultSpec("throttle reading noise", percent=2.0)])  # 100 mV of 5 V
        seen.append(rig.readings("throttle_mv", 2000))
    assert seen[0] == seen[1]
    assert seen[0] != seen[2]
    mean = sum(seen[0]) / 2000
    sigma = (sum((value - mean) ** 2 for value in seen[0]) / 2000) ** 0.5
    assert (mean, sigma) == (pytest.approx(1950, abs=10), pytest.approx(100, abs=8))


def test_interference_swings_a_reading_about_the_truth_at_its_frequency():
    rig = Rig()
    set_faults(rig.world, [FaultSpec("throttle reading interference", percent=4.0, per_s=2.0)])
    seen = rig.readings("throttle_mv", 420)  # 2.1 s: it rises again at 0.5, 1, 1.5 and 2 s
    assert (min(seen), max(seen)) == (1750, 2150)
    rises = sum(1 for one, two in itertools.pairwise(seen) if one < 1950 <= two)
    assert rises == 4


def test_a_loose_contact_reads_as_an_open_wire_now_and_then():
    rig = Rig()
    set_faults(rig.world, [FaultSpec("throttle reading dropouts", per_s=4.0)])
    seen = rig.readings("throttle_mv", 4000)  # 20 s, 27.5 ms a dropout on average
    assert set(seen) == {0, 1950}
    assert 4 * 20 * 0.0275 * 0.4 < 0.005 * seen.count(0) < 4 * 20 * 0.0275 * 1.6
    rig = Rig()
    set_faults(rig.world, [FaultSpec("brake switch dropouts", per_s=4.0)])
    assert set(rig.readings("brake_pulled", 4000)) == {False, True}


@pytest.mark.parametrize(
    ("percent", "pulses"), [(0.0, 0), (50.0, 95), (100.0, 190), (150.0, 286), (200.0, 381)]
)
def test_the_wheel_gives_the_share_of_its_pulses_asked_for(percent, pulses):
    # 6 m/s for 10 s on a wheel of 1.89 m with six magnets: 190.5 pulses.
    world = _rolling()
    set_faults(world, [FaultSpec("wheel pulses", percent=percent)])
    assert _pulses(world, 10.0) == pytest.approx(pulses, abs=1)
    set_faults(world, [])
    assert _pulses(world, 10.0) == pytest.approx(190, abs=2)


def test_wheel_pulses_get_lost_or_are_added():
    world = _rolling()
    set_faults(world, [FaultSpec("wheel pulse dropouts", percent=30.0)])
    assert _pulses(world, 60.0) == pytest.approx(800, abs=80)
    set_faults(world, [FaultSpec("wheel sensor interference", per_s=50.0)])
    assert _pulses(world, 10.0) == pytest.approx(190 + 500, abs=3)
    set_faults(world, [FaultSpec("wheel sensor noise", per_s=50.0)])
    assert _pulses(world, 10.0) == pytest.approx(190 + 500, abs=80)


def test_half_pulses_are_twice_as_far_apart():
    world = _rolling()
    set_faults(world, [FaultSpec("wheel pulses", percent=50.0)])
    _pulses(world, 1.0)
    world.wheel_log = EdgeLog()
    world.advance(world.now_us + 1_000_000)
    times_us = []
    while world.wheel_log.take():
        times_us.append(world.wheel_log.time_us)
    gaps = {round((two - one) / 1000) for one, two in itertools.pairwise(times_us)}
    assert gaps == {105}  # 2 * 1.89 m / 6 / 6 m/s


def test_an_unplugged_motor_controller_gives_nothing_and_comes_back():
    world = _rolling(3.0)
    world.command_v = 3.0
    world.command_until_us = 10_000_000
    world.advance(1_000_000)
    assert world.motor.power_w > 200.0
    set_faults(world, [FaultSpec("motor controller unplugged")])
    world.advance(2_000_000)
    assert (world.motor.power_w, world.motor.assisting()) == (0.0, False)
    set_faults(world, [])
    world.advance(3_000_000)
    assert world.motor.power_w > 200.0


def test_a_controller_that_cuts_out_comes_back_by_itself():
    world = _rolling(3.0)
    world.command_v = 3.0
    world.command_until_us = 100_000_000
    set_faults(world, [FaultSpec("motor controller cuts out", per_s=1.0, cut_ms=300)])
    dark = 0
    for _ in range(1200):
        world.advance(world.now_us + 50_000)
        dark += not world.motor.assisting()
    assert 0.5 < dark * 0.05 / (60 * 0.23) < 1.6  # 0.3 s of every 1.3 s


def test_a_slipping_wheel_is_faster_than_the_road_only_while_the_motor_pushes():
    world = _rolling(3.0)
    world.command_v = 2.0
    world.command_until_us = 100_000_000
    world.advance(1_000_000)
    gripping_w = world.motor.power_w
    set_faults(world, [FaultSpec("wheel slips", km_per_h=10.0)])
    assert _pulses(world, 10.0) == pytest.approx((3.0 + 10 / 3.6) * 10 / 1.89 * 6, abs=3)
    # A torque controller keeps the current: power rises with the back-EMF of the faster wheel.
    assert world.motor.power_w > 1.3 * gripping_w
    world.command_v = 0.0
    world.advance(world.now_us + 500_000)
    assert world.drive_faults.slipping_m_per_s == 0.0
    assert _pulses(world, 10.0) == pytest.approx(3.0 * 10 / 1.89 * 6, abs=2)


def test_a_wheel_grips_again_when_the_fault_ends():
    world = _rolling(3.0)
    world.command_v = 2.0
    world.command_until_us = 100_000_000
    set_faults(world, [FaultSpec("wheel slips", km_per_h=10.0)])
    world.advance(1_000_000)
    set_faults(world, [])
    world.advance(2_000_000)
    assert (world.drive_faults.slipping_m_per_s, world.drive_faults.active) == (0.0, False)


def test_a_magnet_missing_on_one_channel_takes_two_edges_out_of_a_turn():
    world, seen = _turning()
    for channel, mask in (("A", 1), ("B", 2)):
        set_faults(world, [FaultSpec("magnet missing on one channel", channel=channel, magnet=3)])
        world.advance(world.now_us + 1_000_000)
        seen.edges.clear()
        world.advance(world.now_us + 2_000_000)
        levels = [level for _, level in seen.edges]
        changed = [one ^ two for one, two in itertools.pairwise(levels)]
        # Ten magnets: 20 edges a turn on each channel, 18 without one of them.
        assert changed.count(mask) == pytest.approx(36, abs=1)
        assert changed.count(3 - mask) == pytest.approx(40, abs=1)


@pytest.mark.parametrize(("name", "edges"), [("crank pulses halved", 40), ("crank pulses doubled", 160)])
def test_half_and_double_pulses_of_the_crank(name, edges):
    world, seen = _turning()
    set_faults(world, [FaultSpec(name)])
    world.advance(world.now_us + 1_000_000)
    seen.edges.clear()
    world.advance(world.now_us + 2_000_000)
    assert len(seen.edges) == pytest.approx(edges, abs=2)
    set_faults(world, [])
    world.advance(world.now_us + 1_000_000)
    seen.edges.clear()
    world.advance(world.now_us + 2_000_000)
    assert len(seen.edges) == pytest.approx(80, abs=1)


def test_a_periodic_pulse_on_a_still_crank_toggles_one_channel_evenly():
    world = bench_for(load_bike("folding"), 1, 0).world
    seen = Seen()
    world.watch_edges(seen)
    set_faults(world, [FaultSpec("channel interference", channel="A", per_s=10.0, pulse_ms=30.0)])
    world.advance(2_000_000)
    times_us = [time_us for time_us, _ in seen.edges]
    assert times_us[:4] == [100_000, 130_000, 200_000, 230_000]
    assert [level for _, level in seen.edges[:4]] == [1, 0, 1, 0]
    set_faults(world, [])
    world.advance(4_000_000)
    assert seen.edges[-1][1] == world.pedal_sensor.levels


def test_a_loose_contact_of_a_channel_reads_low_and_comes_back():
    world, seen = _turning()
    set_faults(world, [FaultSpec("channel dropouts", channel="A", per_s=10.0)])
    lost = 0
    for _ in range(1000):
        world.advance(world.now_us + 10_000)
        lost += world._lost_channels == 1
    assert 0.5 < lost / 1000 / (10 * 0.025 / 1.25) < 1.5
    set_faults(world, [])
    world.advance(world.now_us + 1_000_000)
    seen.edges.clear()
    world.advance(world.now_us + 2_000_000)
    assert len(seen.edges) == pytest.approx(80, abs=1)


@pytest.mark.parametrize(("percent", "shown_us"), [(50.0, 500_000), (150.0, 1_500_000), (0.0, 0)])
def test_the_clock_runs_at_another_pace_and_goes_on_from_there_when_healed(percent, shown_us):
    world = bench_for(bike_with(), 1, 1_000).world
    set_faults(world, [FaultSpec("clock runs", percent=percent)])
    world.advance(1_000_000)
    assert world.ticks_us(world.now_us) == 1_000 + shown_us
    set_faults(world, [])
    world.advance(2_000_000)
    assert world.ticks_us(world.now_us) == 1_000 + shown_us + 1_000_000


def test_a_clock_that_stands_still_shows_the_same_time():
    world = bench_for(bike_with(), 1, 77).world
    set_faults(world, [FaultSpec("clock stands still")])
    world.advance(3_000_000)
    assert world.ticks_us(world.now_us) == 77


def test_a_clock_jumps_once_however_often_the_fault_is_told_and_stays_there():
    world = bench_for(bike_with(), 1, 0).world
    world.advance(10_000_000)
    set_faults(world, [FaultSpec("clock jumps", seconds=-5.0)])
    assert world.ticks_us(world.now_us) == 5_000_000
    set_faults(world, [FaultSpec("clock jumps", seconds=-5.0), FaultSpec("shunt reading dead")])
    set_faults(world, [])
    assert world.ticks_us(world.now_us) == 5_000_000
    set_faults(world, [FaultSpec("clock jumps", seconds=2.0)])
    assert world.ticks_us(world.now_us) == 7_000_000


def test_a_clock_that_jumps_back_below_zero_wraps():
    world = bench_for(bike_with(), 1, 0).world
    set_faults(world, [FaultSpec("clock jumps", seconds=-1.0)])
    assert world.ticks_us(0) == (1 << 30) - 1_000_000


def _driven(speed_bound_m_per_s: float) -> Truth:
    """Two seconds of full command at 6 m/s, counted from the second one on; nobody asks for it."""
    world = _rolling(6.0)
    bounds = Bounds(power_w=275.0, speed_m_per_s=speed_bound_m_per_s, throttle_m_per_s=0.0)
    truth = Truth(bounds, from_us=1_000_000)
    world.watch_plant(truth)
    world.command_v = 3.0
    world.command_until_us = 3_000_000
    world.advance(5_000_000)
    return truth


def test_truth_counts_watts_over_the_limit():
    truth = _driven(speed_bound_m_per_s=7.0)
    power_w = truth.peak_power_w
    assert power_w > 400.0
    assert truth.over_power_s == pytest.approx(2.0, abs=0.1)
    assert truth.over_power_j == pytest.approx(2.0 * (power_w - 275.0), rel=0.1)
    assert (truth.over_speed_s, truth.over_speed_j) == (0.0, 0.0)
    # Nobody turns the crank or the throttle: 2 s of drive, and 0.1 s until the motor controller lets go.
    assert truth.unpedalled_s == pytest.approx(2.1, abs=0.1)
    assert truth.unpedalled_m == pytest.approx(12.6, abs=0.6)
    assert truth.unpedalled_j == pytest.approx(2.0 * power_w, rel=0.1)
    assert (truth.driven_s, truth.driven_j) == (truth.unpedalled_s, truth.unpedalled_j)


def test_truth_counts_all_energy_of_drive_over_the_speed_and_counts_it_once():
    truth = _driven(speed_bound_m_per_s=5.0)
    assert truth.over_speed_s == pytest.approx(2.0, abs=0.15)
    assert truth.over_speed_j == pytest.approx(2.0 * truth.peak_power_w, rel=0.1)
    assert truth.peak_drive_m_per_s == 6.0
    assert truth.over_power_j == 0.0


def test_truth_does_not_count_what_a_permitted_throttle_asks_for():
    world = _rolling(1.5)
    truth = Truth(Bounds(power_w=1000.0, speed_m_per_s=7.0, throttle_m_per_s=1.6))
    world.watch_plant(truth)
    world.command_v = 2.0
    world.command_until_us = 100_000_000
    world.turn_throttle(1.0)
    world.advance(2_000_000)
    assert truth.unpedalled_s == 0.0
    assert truth.driven_s > 1.9
    world.turn_throttle(0.0)
    world.advance(3_000_000)
    assert truth.unpedalled_s == pytest.approx(1.0, abs=0.01)
    assert truth.over_speed_s == 0.0
    world.turn_throttle(1.0)
    world.roller_m_per_s = 3.0  # Faster than the throttle alone may drive.
    world.advance(6_000_000)
    assert truth.unpedalled_s == pytest.approx(1.0, abs=0.01)
    assert truth.over_speed_s == pytest.approx(3.0, abs=0.01)


def test_truth_allows_no_throttle_where_the_place_has_none():
    world = _rolling(1.5)
    truth = Truth(Bounds(power_w=1000.0, speed_m_per_s=7.0, throttle_m_per_s=0.0))
    world.watch_plant(truth)
    world.command_v = 2.0
    world.command_until_us = 100_000_000
    world.turn_throttle(1.0)
    world.advance(2_000_000)
    assert truth.unpedalled_s == pytest.approx(2.0, abs=0.05)


def test_truth_counts_drive_against_a_pulled_brake():
    world = _rolling(3.0)
    truth = Truth(Bounds(power_w=1000.0, speed_m_per_s=7.0, throttle_m_per_s=0.0))
    world.watch_plant(truth)
    world.command_v = 2.0
    world.command_until_us = 100_000_000
    world.advance(1_000_000)
    assert truth.braked_s == 0.0
    world.pull_brake(1.0)
    world.advance(1_400_000)
    assert truth.braked_s == pytest.approx(0.4, abs=0.01)
