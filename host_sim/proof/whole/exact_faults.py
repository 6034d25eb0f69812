"""Exact contracts of the fault latch: when each condition holds, and which cause is latched when."""

from typing import Any

from firmware.guard import faults
from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import INPUTS, Call, Claims
from host_sim.proof.whole.exact import becomes, exact, fitted, reading, setting, tells
from host_sim.proof.whole.ranges import FAULTS
from host_sim.proof.whole.terms import (
    add,
    at_least,
    both,
    choose,
    either,
    equal,
    every,
    less,
    minimum,
    modulo,
    negate,
    subtract,
    unequal,
)

MODULE = "guard.faults"
FORGOTTEN = ("_suspected", "_suspicions", "_unsuspected_steps", "_withheld_steps", "withheld")
NOISE_STEPS, UNASKED_STEPS, MISSING_STEPS = 20, 100, 200
"""One rejected edge is forgiven in 0.1 s; unasked current must last 0.5 s, missing current 1 s."""


Conditions = dict[int, Any]


def of_wires(call: Call) -> Conditions:
    """Return when a wire of a lever is open or shorted."""
    return {
        4: call.of("_throttle.wire_open"),
        5: both(negate(call.of("_throttle.wire_open")), call.of("_throttle.wire_shorted")),
        6: call.of("_selector.wire_open"),
        7: both(negate(call.of("_selector.wire_open")), call.of("_selector.wire_shorted")),
    }


def of_readings(call: Call) -> Conditions:
    """Return when a reading is out of range."""
    battery_mv, heat = reading(call, "battery_mv"), reading(call, "motor_decicelsius")
    half_empty_mv = terms.divide(setting(call, "battery_empty_mv"), 2)
    beyond = either(less(battery_mv, half_empty_mv), less(setting(call, "battery_highest_mv"), battery_mv))
    impossible = both(fitted(call, "heat_sensor_fitted"), either(less(heat, -400), less(2_500, heat)))
    return {8: beyond, 12: impossible}


def of_shunt(call: Call) -> Conditions:
    """Return when a current flows that nobody asked for, or none at the highest command."""
    command_mv, current_ma = call.of("command_mv"), call.of("_supply.current_ma")
    missing = every(
        unequal(command_mv, 0),
        equal(command_mv, setting(call, "command_max_mv")),
        less(current_ma, 150),
        less(call.of("_wheel.speed_mm_per_s"), setting(call, "shunt_check_mm_per_s")),
    )
    return {9: both(equal(command_mv, 0), less(1_500, current_ma)), 10: missing}


def of_findings(call: Call) -> Conditions:
    """Return what the readings together show."""
    flags = ("shunt_stuck", "shunt_dead", "motor_silent", "power_low", "wheel_slow")
    return {13 + place: call.of(f"_plausibility.{name}") for place, name in enumerate(flags)}


def of_wheel(call: Call, unpulsed: Any) -> Conditions:
    """Return when pulses have been missing for long, `unpulsed` steps up to now."""
    enough = at_least(add(unpulsed, 1), terms.divide(setting(call, "wheel_lost_ms"), 5))
    return {11: both(_misses_a_pulse(call), enough)}


def _misses_a_pulse(call: Call) -> Any:
    turning = both(call.of("_wheel.overdue"), negate(call.of("_crank.standing")))
    return both(negate(call.of("_wheel.pulsed")), either(less(0, call.of("command_mv")), turning))


def _count_wheel(call: Call, unpulsed: Any) -> Claims:
    counts = both(_misses_a_pulse(call), negate(of_wheel(call, unpulsed)[11]))
    kept = choose(counts, add(unpulsed, 1), unpulsed)
    return becomes(call, _unpulsed_samples=choose(call.of("_wheel.pulsed"), 0, kept))


def of_crank(call: Call) -> Conditions:
    """Return when edges are lost, noise is too much, or one channel is dead."""
    one_sided = less(terms.multiply(setting(call, "pulses_per_rev"), 4), call.of("_crank.one_sided_run"))
    limit = setting(call, "noise_limit")
    return {
        1: unequal(_overruns(call), call.of("_overruns")),
        2: both(_noise_is_new(call), equal(_noise(call), limit)),
        3: both(equal(setting(call, "sensor_kind"), 0), one_sided),
    }


def _overruns(call: Call) -> Any:
    return add(reading(call, "crank.overruns"), reading(call, "wheel.overruns"))


def _rejected(call: Call) -> Any:
    return modulo(subtract(call.of("_crank.rejected"), call.of("_rejected")), 0x10000)


def _noise_is_new(call: Call) -> Any:
    return either(unequal(_rejected(call), 0), unequal(call.of("_noise_level"), 0))


def _forgives(call: Call) -> Any:
    level, steps = call.of("_noise_level"), call.of("_noise_steps")
    return both(unequal(level, 0), equal(add(steps, 1), NOISE_STEPS))


def _noise(call: Call) -> Any:
    left = subtract(call.of("_noise_level"), choose(_forgives(call), 1, 0))
    return minimum(add(left, _rejected(call)), setting(call, "noise_limit"))


def _count_noise(call: Call) -> Claims:
    level, steps = call.of("_noise_level"), call.of("_noise_steps")
    steps_then = choose(either(equal(level, 0), _forgives(call)), 0, add(steps, 1))
    return becomes(
        call,
        _overruns=_overruns(call),
        _rejected=call.of("_crank.rejected"),
        _noise_level=choose(_noise_is_new(call), _noise(call), level),
        _noise_steps=choose(_noise_is_new(call), steps_then, steps),
    )


def needed_steps(call: Call, cause: int) -> Any:
    """Return for how many steps in a row a condition holds before its cause is latched."""
    if cause in faults.JUDGED_ELSEWHERE:
        return 1
    fixed = {faults.CURRENT_UNASKED: UNASKED_STEPS, faults.CURRENT_MISSING: MISSING_STEPS}
    return fixed.get(cause) or setting(call, "fault_samples")


def _step(call: Call) -> Claims:
    """Every condition, its count, and of those that lasted the first as cause."""
    clear = reading(call, "clear_requested")
    unpulsed = choose(both(clear, equal(call.of("cause"), 11)), 0, call.of("_unpulsed_samples"))
    conditions = {**of_wires(call), **of_readings(call), **of_crank(call), **of_wheel(call, unpulsed)}
    by_shunt = {**of_shunt(call), **of_findings(call)}
    shunt_fitted = fitted(call, "shunt_fitted")
    conditions |= {cause: both(shunt_fitted, holds) for cause, holds in by_shunt.items()}
    claims = [
        ("conditions is exact", tells(call.after("conditions"), conditions)),
        *_count_wheel(call, unpulsed),
    ]
    some_held = either(unequal(call.of("conditions"), 0), terms.some(*conditions.values()))
    cause: Any = choose(clear, 0, call.of("cause"))
    for number, holds in sorted(conditions.items()):
        name = f"_samples_in_row.{number}"
        before = call.of(name)
        lasted = at_least(add(before, 1), needed_steps(call, number))
        counted = choose(holds, choose(lasted, before, add(before, 1)), 0)
        claims += becomes(call, **{name: choose(some_held, counted, before)})
        cause = choose(every(holds, lasted, equal(cause, 0)), number, cause)
    forgotten = {f"_plausibility.{name}": False if name == "withheld" else 0 for name in FORGOTTEN}
    kept = {name: choose(clear, nothing, call.of(name)) for name, nothing in forgotten.items()}
    return [*claims, *_count_noise(call), *becomes(call, cause=cause, **kept)]


EXACT_FAULTS = (
    exact(
        "Faults.step",
        MODULE,
        {"inputs": INPUTS, "command_mv": (0, 5_000)},
        (
            *(path.removeprefix("faults.") for path in FAULTS),
            *(f"_plausibility.{name}" for name in FORGOTTEN),
        ),
        _step,
    ),
)
