"""The simulated board: what it measures, when it steps, what a loss of supply and a stall do."""

import pytest

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import Agenda, Event
from host_sim.bench.faults import FaultSpec, set_faults
from host_sim.bench.sim_board import Levers, Restart, RideOver, SimBoard, StepWatch
from host_sim.bench.world import World
from tests.ride.riding import Ridden, bike_with, course

LEVERS = Levers(
    throttle_rest_v=0.85,
    throttle_full_v=3.6,
    selector_low_v=0.6,
    selector_high_v=4.2,
    selector_positions=4,
    brake_switch=True,
    shunt_noise_a=0.0,
    shunt_step_a=0.03,
)


class Rig:
    def __init__(self, seconds: float = 10.0) -> None:
        self.world: World = bench_for(bike_with(), 1, 0).world
        self.agenda = Agenda()
        self.board = SimBoard(self.world, self.agenda, LEVERS, round(seconds * 1e6), 1)
        self.inputs = Inputs()

    def read(self) -> Inputs:
        self.board.read(self.inputs)
        return self.inputs


class Does(Event):
    def __init__(self, action):
        self.action = action

    def happen(self) -> None:
        self.action()


def test_control_periods_come_every_five_milliseconds_and_the_last_at_the_very_end():
    rig = Rig(seconds=0.02)
    assert [rig.board.read(rig.inputs) for _ in range(5)] == [0, 5_000, 10_000, 15_000, 20_000]
    with pytest.raises(RideOver):
        rig.read()
    assert rig.world.now_us == 20_000


def test_of_a_period_and_an_event_at_the_same_time_the_first_put_down_goes_first():
    rig = Rig()
    rig.read()  # The period at 0; the one at 5 ms is put down now.
    seen = []
    rig.agenda.put(5_000, Does(lambda: seen.append("later at 5 ms")))
    rig.agenda.put(10_000, Does(lambda: seen.append("before the period at 10 ms")))
    rig.read()
    assert seen == []
    rig.read()
    assert rig.world.now_us == 10_000
    assert seen == ["later at 5 ms", "before the period at 10 ms"]


def test_levers_read_what_their_wires_carry():
    rig = Rig()
    rig.world.throttle_share = 0.4
    rig.world.selector_v = LEVERS.selector_v(1.0, 2)
    assert rig.read().throttle_mv == pytest.approx(1950, abs=1)  # 0.85 V + 0.4 * 2.75 V
    assert rig.inputs.selector_mv == pytest.approx(1800, abs=1)  # 0.6 V + 1/3 of 3.6 V
    set_faults(rig.world, [FaultSpec("throttle wire open"), FaultSpec("selector wire shorted")])
    assert (rig.read().throttle_mv, rig.inputs.selector_mv) == (0, 5000)
    set_faults(rig.world, [FaultSpec("throttle wire shorted"), FaultSpec("selector wire open")])
    assert (rig.read().throttle_mv, rig.inputs.selector_mv) == (5000, 0)


def test_a_stuck_throttle_keeps_reading_what_it_read_last():
    rig = Rig()
    rig.world.throttle_share = 1.0
    assert rig.read().throttle_mv == 3600
    set_faults(rig.world, [FaultSpec("throttle stuck")])
    rig.world.throttle_share = 0.0
    assert [rig.read().throttle_mv for _ in range(3)] == [3600, 3600, 3600]
    set_faults(rig.world, [])
    assert rig.read().throttle_mv == 850


@pytest.mark.parametrize(("position", "volts"), [(1, 0.6), (2, 1.8), (3, 3.0), (4, 4.2), (6, 4.2)])
def test_selector_positions_lie_evenly_and_one_too_many_is_the_last(position, volts):
    assert LEVERS.selector_v(0.0, position) == pytest.approx(volts)


def test_the_shunt_reads_in_steps_and_its_faults_hold_it():
    rig = Rig()
    rig.world.motor.battery_current_a = 5.0
    rig.board._measure(rig.inputs)
    assert rig.inputs.current_ma == 5010  # 167 steps of 30 mA
    set_faults(rig.world, [FaultSpec("shunt reading dead")])
    rig.board._measure(rig.inputs)
    assert rig.inputs.current_ma == 0
    set_faults(rig.world, [])
    rig.board._measure(rig.inputs)
    set_faults(rig.world, [FaultSpec("shunt reading stuck")])
    rig.world.motor.battery_current_a = 9.0
    rig.board._measure(rig.inputs)
    assert rig.inputs.current_ma == 5010


def test_the_battery_wire_and_the_brake_switch():
    rig = Rig()
    assert rig.read().battery_mv == pytest.approx(40_900, abs=150)  # 31 V + 0.9 * 11 V, noise of 20 mV.
    assert rig.inputs.brake_pulled is False
    set_faults(rig.world, [FaultSpec("battery wire open")])
    rig.world.brake_share = 1.0
    assert (rig.read().battery_mv, rig.inputs.brake_pulled) == (0, True)


def test_a_stalling_loop_is_late_and_the_command_has_run_out_meanwhile():
    rig = Rig()
    outputs = Outputs()
    outputs.command_mv = 3000
    rig.world.stall_us = 200_000
    rig.read()
    rig.board.write(outputs)
    assert (rig.world.command_v, rig.world.command_until_us) == (3.0, 50_000)
    assert rig.board.read(rig.inputs) == 200_000
    assert rig.world.motor._share < 0.01  # The share of full current that is left 150 ms later.


def test_a_lost_supply_restarts_at_once_even_when_the_loop_hangs():
    rig = Rig(seconds=100.0)
    rig.world.stall_us = 60_000_000
    rig.read()
    rig.agenda.put(1_002_500, Does(lambda: setattr(rig.board, "powered", False)))
    rig.agenda.put(2_000_000, Does(lambda: setattr(rig.board, "powered", True)))
    with pytest.raises(Restart):
        rig.read()
    assert rig.world.now_us == 1_002_500
    rig.world.stall_us = 0
    rig.board.wait_for_power()
    assert rig.world.now_us == 2_000_000
    assert [rig.board.read(rig.inputs) for _ in range(2)] == [2_002_500, 2_007_500]


def test_a_supply_that_never_comes_back_lets_the_ride_end():
    rig = Rig(seconds=0.5)
    rig.board.powered = False
    with pytest.raises(RideOver):
        rig.board.wait_for_power()
    assert rig.world.now_us == 500_000


class Looks(StepWatch):
    def __init__(self) -> None:
        self.lit = 0
        self.dark = 0

    def begin(self, world: World, controller: Controller) -> None: ...

    def look(self, outputs: Outputs) -> None:
        self.lit += 1

    def look_unpowered(self, world: World) -> None:
        self.dark += 1


def test_the_loops_last_word_at_the_end_of_a_ride_is_no_step_of_it():
    rig = Rig(seconds=0.01)
    looks = Looks()
    rig.board.watch_steps(looks)
    for _ in range(3):
        rig.read()
        rig.board.write(Outputs())
    with pytest.raises(RideOver):
        rig.read()
    rig.board.write(Outputs())
    assert looks.lit == 3


def test_edges_that_come_while_the_supply_is_off_do_not_reach_the_next_controller(tmp_path):
    script = course(
        tmp_path,
        8,
        "at_s = 0; cadence_rpm = 90; crank_free = true",
        "at_s = 2; power_switch = false",
        "at_s = 6; power_switch = true",
    )
    ridden = Ridden(bike_with(), script)
    # 4 s at 60 edges a second are far more than a log holds; none of them is there, or lost, at power-up.
    assert ridden.meter.faults == []
    assert ridden.bench.restarts == 1
    assert ridden.bench.world.crank_log.overruns == 0
    assert len(ridden.log.unpowered_s) == pytest.approx(800, abs=1)
    assert not ridden.commanded(6, 8)


def test_a_brown_out_ends_the_command_and_asks_for_a_new_rest_before_engaging(tmp_path):
    script = course(
        tmp_path,
        25,
        "at_s = 0; cadence_rpm = 0",
        "at_s = 3; cadence_rpm = 60",
        "at_s = 10; power_switch = false",
        "at_s = 10.2; power_switch = true",
        "at_s = 15; cadence_rpm = 0",
        "at_s = 18; cadence_rpm = 60",
    )
    ridden = Ridden(bike_with(), script)
    assert ridden.drove(9.9, 9.99)
    assert not ridden.commanded(10.001, 18)
    assert ridden.drove(19, 25)
    told = [event.text for event in ridden.meter.events]
    assert told == ["power on", "ready", "assisting", "power off", "power on", "ready", "assisting"]
