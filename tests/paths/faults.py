"""Steps of the fault latch, from any state: what is latched stays, and every count is bounded."""

from firmware.guard.faults import (
    CAUSE_NAMES,
    MOTOR_SILENT,
    NO_FAULT,
    NOISE_FORGIVEN_AFTER,
    POWER_LOW,
    SHUNT_DEAD,
    SHUNT_STUCK,
    THROTTLE_WIRE_OPEN,
    WHEEL_SLOW,
    Faults,
)
from firmware.guard.plausibility import Plausibility
from firmware.records import Inputs
from firmware.sense.crank import RUN_MAX, Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import ShuntWatch
from firmware.sense.supply import Supply
from firmware.settings import Settings
from host_sim.proof.domain import COMMAND_MAX_MV, any_setting
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers

SAMPLES_MAX = 4000  # wheel_lost_ms at its highest, in control periods.


def _any_latch(ex: Numbers, lowest: int) -> Faults:
    """Return a fault latch with any cause latched, from `lowest` on."""
    settings = Settings({"heat_sensor_fitted": 1})
    crank, wheel = Crank(settings, 0), Wheel(2_000, 1)
    supply = Supply()
    judge = Plausibility(settings, MotorModel(settings), ShuntWatch(settings, supply), wheel, supply)
    faults = Faults(settings, crank, wheel, Throttle(settings), Selector(settings), supply, judge)
    faults.cause = ex.integer("cause", lowest, len(CAUSE_NAMES) - 1)
    return faults


def fault_latch(ex: Numbers) -> None:
    """Any one condition, after any number of samples, with or without a fault latched."""
    faults = _any_latch(ex, NO_FAULT)
    inner = Inside(faults)
    before = faults.cause
    kind = ex.integer("kind", 1, len(CAUSE_NAMES) - 1)
    number = kind if isinstance(kind, int) else kind.__index__()
    in_row = ex.integer("in_row", 0, SAMPLES_MAX)
    samples = ex.integer("samples", 1, SAMPLES_MAX)
    ex.assume(in_row < samples)
    inner.samples_in_row[number] = in_row
    inner.samples_needed[number] = samples
    holds = ex.boolean("holds")
    inner.observe(number, holds)
    if before != NO_FAULT:
        ex.check(faults.cause == before, "what is latched stays, whatever comes after it")
    elif holds and in_row + 1 >= samples:
        ex.check(faults.cause == number, "a condition that held long enough is latched with its cause")
    else:
        ex.check(faults.cause == NO_FAULT, "nothing is latched before its time")
    ex.check(inner.samples_in_row[number] < samples, "the count never runs away")
    ex.outcome(cause=faults.cause, in_row=inner.samples_in_row[number])


def _latch_steps(ex: Numbers, faults: Faults, inputs: Inputs, command_mv: int) -> None:
    """Check everything once: a latched cause changes on the explicit request only."""
    before = faults.cause
    inputs.clear_requested = ex.boolean("clear_requested")
    faults.step(inputs, command_mv)
    if not inputs.clear_requested:
        ex.check(faults.cause == before, "without the request the cause stays")
    ex.outcome(cause=faults.cause, conditions=faults.conditions)


def fault_step(ex: Numbers) -> None:
    """A whole check of sensors and wires, with or without a condition a step before; counts are bounded."""
    faults = _any_latch(ex, 1)
    inner = Inside(faults)
    inputs = Inputs()
    inputs.battery_mv = 36_000
    inner.crank.one_sided_run = ex.integer("one_sided", 0, RUN_MAX)
    inner.throttle.wire_open = ex.boolean("wire_open")
    inner.wheel.pulsed = ex.boolean("pulsed")
    if ex.boolean("was_open"):
        faults.conditions = 1 << THROTTLE_WIRE_OPEN
        inner.samples_in_row[THROTTLE_WIRE_OPEN] = 3
    inner.unpulsed_samples = ex.integer("unpulsed", 0, SAMPLES_MAX)
    ex.assume(inner.unpulsed_samples < inner.wheel_lost_samples)
    _latch_steps(ex, faults, inputs, ex.integer("command", 0, COMMAND_MAX_MV))
    if inner.throttle.wire_open:
        ex.check(faults.conditions != 0, "a condition that holds is remembered")
    else:
        ex.check(inner.samples_in_row[THROTTLE_WIRE_OPEN] == 0, "a condition that is over counts from zero")
    ex.check(inner.unpulsed_samples < inner.wheel_lost_samples, "the wheel's count never runs away")


def fault_readings(ex: Numbers) -> None:
    """A whole check of any readings."""
    faults = _any_latch(ex, 1)
    inputs = Inputs()
    inputs.battery_mv = ex.integer("battery", 0, 100_000)
    inputs.motor_decicelsius = ex.integer("heat", -500, 3000)
    Inside(faults).supply.current_ma = ex.integer("current", 0, 100_000)
    Inside(faults).wheel.pulsed = True
    _latch_steps(ex, faults, inputs, ex.integer("command", 0, COMMAND_MAX_MV))


def fault_noise(ex: Numbers) -> None:
    """Any level of noise, any number of rejected edges since the last step, across their count's wrap."""
    faults = _any_latch(ex, NO_FAULT)
    inner = Inside(faults)
    inner.noise_limit = any_setting(ex, "noise_limit")
    inner.noise_level = ex.integer("level", 0, 1000)
    ex.assume(inner.noise_level <= inner.noise_limit)
    inner.noise_steps = ex.integer("steps", 0, NOISE_FORGIVEN_AFTER - 1)
    inner.rejected = ex.integer("known", 0, 0xFFFF)
    new = ex.integer("new", 0, 0xFFFF)
    before = inner.noise_level
    inner.crank.rejected = (inner.rejected + new) & 0xFFFF
    conditions = inner.check_noise()
    ex.check(inner.noise_level >= 0, "the level of noise is not negative")
    ex.check(inner.noise_level <= inner.noise_limit, "the level of noise is bounded")
    ex.check(0 <= inner.noise_steps < NOISE_FORGIVEN_AFTER, "the turn of forgiving is bounded")
    ex.check(inner.noise_level >= before - 1, "no more than one edge is forgiven at a time")
    if before + new <= inner.noise_limit:
        ex.check(inner.noise_level >= before + new - 1, "every rejected edge counts")
    if conditions == 0:
        ex.check(before + new - 1 < inner.noise_limit, "enough of them are a fault")
    ex.outcome(level=inner.noise_level, steps=inner.noise_steps, conditions=conditions)


def fault_plausibility(ex: Numbers) -> None:
    """Any of the five findings of the plausibility check, at any command, with or without a fault latched."""
    faults = _any_latch(ex, NO_FAULT)
    before = faults.cause
    judge = Inside(faults).plausibility
    judge.shunt_stuck = ex.boolean("shunt_stuck")
    judge.shunt_dead = ex.boolean("shunt_dead")
    judge.motor_silent = ex.boolean("motor_silent")
    judge.power_low = ex.boolean("power_low")
    judge.wheel_slow = ex.boolean("wheel_slow")
    Inside(judge).suspicions = 2
    inputs = Inputs()
    inputs.battery_mv = 36_000
    inputs.clear_requested = ex.boolean("clear_requested")
    Inside(faults).wheel.pulsed = True
    faults.step(inputs, ex.integer("command", 0, COMMAND_MAX_MV))
    found = NO_FAULT
    # The last that holds in this order is the first in the list of causes.
    if judge.wheel_slow:
        found = WHEEL_SLOW
    if judge.power_low:
        found = POWER_LOW
    if judge.motor_silent:
        found = MOTOR_SILENT
    if judge.shunt_dead:
        found = SHUNT_DEAD
    if judge.shunt_stuck:
        found = SHUNT_STUCK
    if inputs.clear_requested:
        ex.check(faults.cause == found, "after the request only what holds now is latched")
        ex.check(Inside(judge).suspicions == 0, "and every suspicion is forgotten")
    elif before != NO_FAULT:
        ex.check(faults.cause == before, "what is latched stays, whatever comes after it")
    else:
        ex.check(faults.cause == found, "a finding is latched with its cause in the same step")
    ex.outcome(cause=faults.cause, conditions=faults.conditions)
