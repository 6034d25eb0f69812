"""Each failure by its own story: below its limit nothing, at its limit the cause, and the first one stays."""

import pytest

from firmware.guard.faults import (
    BATTERY_READING,
    CAUSE_NAMES,
    CRANK_CHANNEL_DEAD,
    CRANK_NOISE,
    CURRENT_MISSING,
    CURRENT_UNASKED,
    EDGES_LOST,
    HEAT_READING,
    MOTOR_SILENT,
    NO_FAULT,
    POWER_LOW,
    SELECTOR_WIRE_OPEN,
    SELECTOR_WIRE_SHORTED,
    SHUNT_DEAD,
    SHUNT_STUCK,
    THROTTLE_WIRE_OPEN,
    THROTTLE_WIRE_SHORTED,
    WHEEL_LOST,
    WHEEL_SLOW,
    Faults,
)
from firmware.guard.plausibility import Plausibility
from firmware.records import Inputs
from firmware.sense.crank import Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import ShuntWatch
from firmware.sense.supply import Supply
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


class Bench:
    """The fault latch with everything it looks at, healthy and at rest."""

    def __init__(self, **settings: int):
        made = settings_with(**settings)
        self.inputs = Inputs()
        self.inputs.battery_mv = SmallInt(36_000)
        self.inputs.motor_decicelsius = SmallInt(200)
        self.crank = Crank(made, SmallInt(0))
        self.wheel = Wheel(made.wheel_circumference_mm, made.wheel_pulses_per_rev)
        self.throttle = Throttle(made)
        self.selector = Selector(made)
        self.supply = Supply()
        self.plausibility = Plausibility(
            made, MotorModel(made), ShuntWatch(made, self.supply), self.wheel, self.supply
        )
        self.faults = Faults(
            made, self.crank, self.wheel, self.throttle, self.selector, self.supply, self.plausibility
        )
        self.command_mv = 0

    def step(self, steps: int = 1) -> int:
        for _ in range(steps):
            self.faults.step(self.inputs, SmallInt(self.command_mv))
        return self.faults.cause

    def clear(self) -> int:
        self.inputs.clear_requested = True
        cause = self.step()
        self.inputs.clear_requested = False
        return cause


def test_a_healthy_bicycle_has_no_fault():
    bench = Bench()
    assert bench.step(5_000) == NO_FAULT
    assert bench.faults.conditions == 0


def test_a_healthy_bicycle_that_drives_has_no_condition_either():
    bench = Bench(heat_sensor_fitted=1)
    bench.wheel.pulsed = True
    bench.supply.current_ma = SmallInt(5_000)
    bench.crank.rejected = SmallInt(1)
    for command_mv in (1, 3_600):
        bench.command_mv = command_mv
        assert bench.step() == NO_FAULT
        assert bench.faults.conditions == 0
    bench.wheel.pulsed = False
    bench.step()
    assert bench.faults.conditions == 0


def test_conditions_that_hold_together_are_told_together():
    bench = Bench(heat_sensor_fitted=1)
    bench.inputs.crank.overruns = SmallInt(1)
    bench.crank.rejected = SmallInt(30)
    bench.crank.one_sided_run = SmallInt(49)
    bench.throttle.wire_open = True
    bench.selector.wire_open = True
    bench.inputs.battery_mv = SmallInt(0)
    bench.inputs.motor_decicelsius = SmallInt(3_000)
    bench.supply.current_ma = SmallInt(5_000)
    assert bench.step() == EDGES_LOST
    together = (
        EDGES_LOST,
        CRANK_NOISE,
        CRANK_CHANNEL_DEAD,
        THROTTLE_WIRE_OPEN,
        SELECTOR_WIRE_OPEN,
        BATTERY_READING,
        CURRENT_UNASKED,
        HEAT_READING,
    )
    assert bench.faults.conditions == sum(1 << cause for cause in together)
    bench.throttle.wire_open = bench.selector.wire_open = False
    bench.throttle.wire_shorted = bench.selector.wire_shorted = True
    bench.step()
    shorted = 1 << THROTTLE_WIRE_SHORTED | 1 << SELECTOR_WIRE_SHORTED
    assert bench.faults.conditions & (shorted | 1 << THROTTLE_WIRE_OPEN | 1 << SELECTOR_WIRE_OPEN) == shorted


def test_every_cause_has_its_own_name():
    assert len(CAUSE_NAMES) == 18
    assert len(set(CAUSE_NAMES)) == 18
    assert CAUSE_NAMES[NO_FAULT] == "none"


@pytest.mark.parametrize(
    ("room", "fact", "cause"),
    [
        ("throttle", "wire_open", THROTTLE_WIRE_OPEN),
        ("throttle", "wire_shorted", THROTTLE_WIRE_SHORTED),
        ("selector", "wire_open", SELECTOR_WIRE_OPEN),
        ("selector", "wire_shorted", SELECTOR_WIRE_SHORTED),
    ],
)
def test_a_wire_fault_takes_six_samples_in_a_row(room, fact, cause):
    bench = Bench()
    setattr(getattr(bench, room), fact, True)
    assert bench.step(5) == NO_FAULT
    setattr(getattr(bench, room), fact, False)
    assert bench.step(1) == NO_FAULT
    setattr(getattr(bench, room), fact, True)
    assert bench.step(5) == NO_FAULT
    assert bench.step(1) == cause


@pytest.mark.parametrize(
    ("battery_mv", "cause"),
    # Believed from half of the empty voltage, 15 V, up to 43 V.
    [(14_999, BATTERY_READING), (15_000, NO_FAULT), (43_000, NO_FAULT), (43_001, BATTERY_READING)],
)
def test_a_battery_reading_out_of_range_is_a_fault(battery_mv, cause):
    bench = Bench()
    bench.inputs.battery_mv = SmallInt(battery_mv)
    assert bench.step(5) == NO_FAULT
    assert bench.step(100) == cause


@pytest.mark.parametrize(
    ("decicelsius", "cause"),
    [(-401, HEAT_READING), (-400, NO_FAULT), (2_500, NO_FAULT), (2_501, HEAT_READING)],
)
def test_a_temperature_that_no_motor_has_is_a_fault_where_there_is_a_sensor(decicelsius, cause):
    for fitted in (1, 0):
        bench = Bench(heat_sensor_fitted=fitted)
        bench.inputs.motor_decicelsius = SmallInt(decicelsius)
        assert bench.step(5) == NO_FAULT
        assert bench.step() == (cause if fitted else NO_FAULT)


@pytest.mark.parametrize("log", ["crank", "wheel"])
def test_a_lost_edge_is_a_fault_at_once(log):
    bench = Bench()
    bench.step()
    getattr(bench.inputs, log).overruns = SmallInt(1)
    assert bench.step() == EDGES_LOST
    assert bench.clear() == NO_FAULT  # None was lost since.


def test_edges_lost_on_both_sides_at_once_do_not_cancel():
    bench = Bench()
    bench.inputs.crank.overruns = SmallInt(1)
    bench.inputs.wheel.overruns = SmallInt(1)
    assert bench.step() == EDGES_LOST


# Noise: 30 rejected edges, one forgiven every 100 ms.


def test_thirty_rejected_edges_at_once_are_a_fault_and_29_are_not():
    bench = Bench()
    bench.crank.rejected = SmallInt(29)
    assert bench.step() == NO_FAULT
    bench.crank.rejected = SmallInt(30)
    assert bench.step() == CRANK_NOISE


def test_rejected_edges_are_counted_across_their_wrap():
    bench = Bench()
    bench.crank.rejected = SmallInt(65_530)
    bench.step(700)  # Whatever that was, it is forgiven.
    bench.clear()
    bench.step(1_000)
    bench.clear()
    assert bench.step() == NO_FAULT
    bench.crank.rejected = SmallInt((65_530 + 29) % 65_536)
    assert bench.step() == NO_FAULT
    bench.crank.rejected = SmallInt((65_530 + 30) % 65_536)
    assert bench.step() == CRANK_NOISE


def test_one_rejected_edge_is_forgiven_every_20_steps():
    bench = Bench()
    bench.crank.rejected = SmallInt(29)
    bench.step()
    bench.step(19)  # The twentieth step after the first of them forgives one.
    bench.crank.rejected = SmallInt(30)
    assert bench.step() == NO_FAULT
    bench.crank.rejected = SmallInt(31)
    assert bench.step() == CRANK_NOISE


@pytest.mark.parametrize(("steps", "rejected"), [(20, 30), (40, 31)])
def test_none_is_forgiven_a_step_too_soon(steps, rejected):
    bench = Bench()
    bench.crank.rejected = SmallInt(29)
    assert bench.step(steps - 1) == NO_FAULT
    bench.crank.rejected = SmallInt(rejected)  # The twentieth step after forgives one, the fortieth another.
    assert bench.step() == CRANK_NOISE


def test_all_noise_is_forgiven_in_the_end_and_the_first_edge_after_it_is_the_first():
    bench = Bench()
    bench.crank.rejected = SmallInt(29)
    bench.step(1 + 29 * 20)
    bench.crank.rejected = SmallInt(29 + 29)
    assert bench.step() == NO_FAULT
    bench.crank.rejected = SmallInt(29 + 30)
    assert bench.step() == CRANK_NOISE


def test_as_many_rejected_as_forgiven_are_no_fault_and_twice_as_many_are():
    for every_steps, cause in ((20, NO_FAULT), (10, CRANK_NOISE)):
        bench = Bench()
        for _ in range(40):
            bench.crank.rejected = SmallInt(bench.crank.rejected + 1)
            bench.step(every_steps)
        for _ in range(40):
            bench.crank.rejected = SmallInt(bench.crank.rejected + 1)
            bench.step(every_steps)
        assert bench.faults.cause == cause


def test_a_long_burst_is_forgiven_within_the_limit_times_100_ms():
    bench = Bench()
    bench.crank.rejected = SmallInt(5_000)
    assert bench.step() == CRANK_NOISE
    bench.step(19)
    assert bench.clear() == NO_FAULT  # 29 are left.
    bench.crank.rejected = SmallInt(5_001)
    assert bench.step() == CRANK_NOISE


@pytest.mark.parametrize(("edges", "cause"), [(48, NO_FAULT), (49, CRANK_CHANNEL_DEAD)])
def test_two_turns_of_the_crank_on_one_channel_alone_are_a_dead_channel(edges, cause):
    bench = Bench()
    bench.crank.one_sided_run = SmallInt(edges)
    assert bench.step() == cause


@pytest.mark.parametrize("sensor_kind", [1, 2])
def test_a_sensor_of_one_channel_has_no_dead_one(sensor_kind):
    bench = Bench(sensor_kind=sensor_kind)
    bench.crank.one_sided_run = SmallInt(1_000)
    assert bench.step() == NO_FAULT


# Current.


@pytest.mark.parametrize(
    ("command_mv", "current_ma", "cause"),
    [(0, 1_500, NO_FAULT), (0, 1_501, CURRENT_UNASKED), (1, 1_501, NO_FAULT)],
)
def test_current_that_was_not_asked_for_is_a_fault_after_half_a_second(command_mv, current_ma, cause):
    bench = Bench()
    bench.command_mv = command_mv
    bench.wheel.pulsed = True
    bench.supply.current_ma = SmallInt(current_ma)
    assert bench.step(99) == NO_FAULT
    assert bench.step() == cause


@pytest.mark.parametrize(
    ("command_mv", "current_ma", "speed_mm_per_s", "cause"),
    [
        (3_600, 149, 0, CURRENT_MISSING),
        (3_600, 150, 0, NO_FAULT),
        (3_599, 149, 0, NO_FAULT),
        (3_600, 149, 2_776, CURRENT_MISSING),
        (3_600, 149, 2_777, NO_FAULT),
    ],
)
def test_no_current_at_the_highest_command_is_a_fault_after_one_second(
    command_mv, current_ma, speed_mm_per_s, cause
):
    bench = Bench()
    bench.command_mv = command_mv
    bench.wheel.pulsed = True
    bench.wheel.speed_mm_per_s = SmallInt(speed_mm_per_s)
    bench.supply.current_ma = SmallInt(current_ma)
    assert bench.step(199) == NO_FAULT
    assert bench.step() == cause


def test_without_a_shunt_no_current_is_looked_at():
    bench = Bench(shunt_fitted=0)
    bench.supply.current_ma = SmallInt(50_000)
    assert bench.step(300) == NO_FAULT
    bench.supply.current_ma = SmallInt(0)
    bench.command_mv = 3_600
    bench.wheel.pulsed = True
    assert bench.step(300) == NO_FAULT


# The wheel: 6 s of driving without a pulse, 1200 steps.


def test_driving_for_six_seconds_without_a_wheel_pulse_is_a_fault():
    bench = Bench()
    bench.command_mv = 1_000
    assert bench.step(1_199) == NO_FAULT
    assert bench.step() == WHEEL_LOST


def test_the_least_command_is_driving():
    bench = Bench()
    bench.command_mv = 1
    assert bench.step(1_200) == WHEEL_LOST


def test_a_pulse_starts_the_six_seconds_afresh():
    bench = Bench()
    bench.command_mv = 1_000
    bench.step(1_199)
    bench.wheel.pulsed = True
    bench.step()
    bench.wheel.pulsed = False
    assert bench.step(1_199) == NO_FAULT
    assert bench.step() == WHEEL_LOST


def test_a_pause_in_the_drive_neither_counts_nor_excuses():
    # Else a rider who pedals for five seconds at a time would never learn that no speed is measured.
    bench = Bench()
    for _ in range(3):
        bench.command_mv = 1_000
        bench.step(399)
        bench.command_mv = 0
        bench.step(2_000)
    bench.command_mv = 1_000
    assert bench.step(2) == NO_FAULT
    assert bench.step() == WHEEL_LOST


def test_a_crank_that_turns_for_six_seconds_while_a_pulse_is_overdue_is_a_fault_without_any_drive():
    bench = Bench()
    bench.wheel.overdue = True
    bench.crank.standing = False
    assert bench.step(1_199) == NO_FAULT
    assert bench.step() == WHEEL_LOST


@pytest.mark.parametrize(("overdue", "standing"), [(True, True), (False, False)])
def test_an_overdue_pulse_or_a_turning_crank_alone_is_no_lost_wheel(overdue, standing):
    bench = Bench()
    bench.wheel.overdue = overdue
    bench.crank.standing = standing
    assert bench.step(3_000) == NO_FAULT


def test_standing_still_is_no_lost_wheel():
    assert Bench().step(5_000) == NO_FAULT


def test_a_lost_wheel_that_was_cleared_gets_its_six_seconds_again():
    bench = Bench()
    bench.command_mv = 1_000
    bench.step(1_200)
    bench.command_mv = 0
    assert bench.clear() == NO_FAULT
    bench.command_mv = 1_000
    assert bench.step(1_199) == NO_FAULT
    assert bench.step() == WHEEL_LOST


# What contradicts itself has been counted before: one sample is a fault.

CONTRADICTIONS = {
    "shunt_stuck": SHUNT_STUCK,
    "shunt_dead": SHUNT_DEAD,
    "motor_silent": MOTOR_SILENT,
    "power_low": POWER_LOW,
    "wheel_slow": WHEEL_SLOW,
}


@pytest.mark.parametrize(("fact", "cause"), CONTRADICTIONS.items())
def test_a_contradiction_is_a_fault_at_once_with_its_own_cause(fact, cause):
    bench = Bench()
    setattr(bench.plausibility, fact, True)
    assert bench.step() == cause
    assert bench.faults.conditions == 1 << cause
    setattr(bench.plausibility, fact, False)
    assert bench.step(100) == cause
    assert bench.clear() == NO_FAULT


def test_contradictions_that_hold_together_are_told_together():
    bench = Bench()
    for fact in CONTRADICTIONS:
        setattr(bench.plausibility, fact, True)
    assert bench.step() == SHUNT_STUCK
    assert bench.faults.conditions == sum(1 << cause for cause in CONTRADICTIONS.values())


def test_without_a_shunt_nothing_contradicts_itself():
    bench = Bench(shunt_fitted=0)
    for fact in CONTRADICTIONS:
        setattr(bench.plausibility, fact, True)
    assert bench.step(10) == NO_FAULT


def test_clearing_any_fault_forgets_the_suspicions():
    bench = Bench()
    bench.plausibility.withheld = True
    bench.throttle.wire_open = True
    bench.step(10)
    assert bench.plausibility.withheld
    bench.clear()
    assert not bench.plausibility.withheld


# The latch.


def test_a_fault_stays_when_its_condition_is_gone():
    bench = Bench()
    bench.throttle.wire_open = True
    bench.step(6)
    bench.throttle.wire_open = False
    assert bench.step(10_000) == THROTTLE_WIRE_OPEN


def test_the_first_cause_stays_when_others_follow():
    bench = Bench()
    bench.selector.wire_open = True
    bench.step(6)
    bench.throttle.wire_open = True
    bench.inputs.battery_mv = SmallInt(0)
    assert bench.step(50) == SELECTOR_WIRE_OPEN


def test_a_cleared_fault_is_gone_only_with_its_condition():
    bench = Bench()
    bench.throttle.wire_open = True
    bench.step(6)
    assert bench.clear() == THROTTLE_WIRE_OPEN
    bench.throttle.wire_open = False
    assert bench.step() == THROTTLE_WIRE_OPEN
    assert bench.clear() == NO_FAULT
    assert bench.step(100) == NO_FAULT


def test_a_second_cause_shows_when_the_first_is_cleared():
    bench = Bench()
    bench.throttle.wire_open = True
    bench.step(6)
    bench.selector.wire_open = True
    bench.step(6)
    bench.throttle.wire_open = False
    assert bench.clear() == SELECTOR_WIRE_OPEN


def test_the_number_of_samples_is_a_setting():
    bench = Bench(fault_samples=2)
    bench.throttle.wire_open = True
    assert bench.step() == NO_FAULT
    assert bench.step() == THROTTLE_WIRE_OPEN
