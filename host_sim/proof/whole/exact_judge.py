"""Exact contracts of the comparison of readings: contradictions, how long they last, what follows."""

from typing import Any

from host_sim.proof.whole.contract import Call, Claims
from host_sim.proof.whole.exact import becomes, exact, setting
from host_sim.proof.whole.exact_motor import is_speed_kind, learned_values, limited, share
from host_sim.proof.whole.exact_sense import knows_the_motor
from host_sim.proof.whole.ranges import PLAUSIBILITY
from host_sim.proof.whole.terms import (
    absolute,
    add,
    at_least,
    at_most,
    both,
    choose,
    divide,
    either,
    equal,
    every,
    less,
    maximum,
    minimum,
    negate,
    subtract,
    unequal,
)

MODULE = "guard.plausibility"
SILENT_MA, SILENT_LEAST_W, TOLERANCE_W, TOLERANCE_MV = 150, 30, 40, 1_500
SILENT_STEPS, LASTING_STEPS, WITHHELD_STEPS, FORGIVEN_STEPS, LEARN_STEPS = 40, 60, 180, 1_000, 100
LEARN_LEAST_W = 60
NONE, SILENT, LOW, SLOW = 0, 1, 2, 3


def _contradiction(call: Call) -> Any:
    """Return what contradicts what now."""
    model, power_w = "_model.", call.of("_supply.power_w")
    silent = at_most(absolute(subtract(call.of("_supply.current_ma"), call.of("_shunt.rest_ma"))), SILENT_MA)
    judged_mm_per_s = divide(setting(call, "cutoff_speed_mm_per_s"), 4)
    judged_mv = share(setting(call, "back_emf_mv_per_m_per_s"), judged_mm_per_s, 1_000)
    highest_mv, drop_mv = call.of("_model.highest_emf_mv"), call.of("_model.drop_mv")
    judged = either(at_least(highest_mv, judged_mv), equal(call.of("_wheel.speed_mm_per_s"), 0))
    allowed_mv = add(add(share(highest_mv, 5, 4), divide(drop_mv, 3)), TOLERANCE_MV)
    quiet = either(
        limited(call, model, power_w), at_most(subtract(call.of("_model.motor_mv"), drop_mv), allowed_mv)
    )
    of_speed = choose(quiet, NONE, choose(silent, SILENT, choose(judged, SLOW, NONE)))
    much = both(judged, less(add(share(call.of("_model.most_w"), 5, 4), TOLERANCE_W), power_w))
    least_w = call.of("_model.least_w")
    little = less(power_w, subtract(share(least_w, 3, 4), TOLERANCE_W))
    asleep = both(silent, at_least(least_w, SILENT_LEAST_W))
    of_torque = choose(much, SLOW, choose(asleep, SILENT, choose(little, LOW, NONE)))
    return choose(is_speed_kind(call), of_speed, of_torque)


def _step(call: Call) -> Claims:
    """Counting down, forgetting, and while the motor drives the shunt's and the model's judgement."""
    left = maximum(subtract(call.of("_withheld_steps"), 1), 0)
    waited = add(call.of("_unsuspected_steps"), 1)
    forgets = at_least(waited, FORGIVEN_STEPS)
    before = {
        "_withheld_steps": left,
        "withheld": less(0, left),
        "_unsuspected_steps": choose(forgets, 0, waited),
        "_suspicions": choose(forgets, 0, call.of("_suspicions")),
    }
    rests = at_most(call.of("command_mv"), setting(call, "command_start_mv"))
    flags = ("motor_silent", "power_low", "wheel_slow", "shunt_dead", "shunt_stuck")
    counts = ("_contradiction", "_lasting_steps", "_driven_steps")
    rest = {**dict.fromkeys(flags, False), **dict.fromkeys(counts, 0)}
    driven = _driven(call, before)
    known = knows_the_motor(call)
    values = {}
    for name in (path.removeprefix("plausibility.") for path in PLAUSIBILITY):
        now = before.get(name, call.of(name))
        values[name] = choose(known, choose(rests, rest.get(name, now), driven.get(name, now)), call.of(name))
    return [*becomes(call, **values), *_learned(call, both(known, negate(rests)))]


def _driven(call: Call, before: dict[str, Any]) -> dict[str, Any]:
    found = _contradiction(call)
    sags, drawn = call.of("_shunt.sags"), call.of("_shunt.drawn")
    doubted = either(call.of("_shunt.fallen"), both(sags, drawn))
    is_same = equal(found, call.of("_contradiction"))
    lasting = add(choose(is_same, call.of("_lasting_steps"), 0), 1)
    enough = at_least(lasting, choose(equal(found, SILENT), SILENT_STEPS, LASTING_STEPS))
    suspects = both(unequal(found, NONE), enough)
    withholds = either(doubted, suspects)
    again = equal(found, call.of("_suspected"))
    suspicions = add(choose(again, before["_suspicions"], 0), 1)
    is_fault = both(suspects, at_least(suspicions, choose(equal(found, SLOW), 3, 2)))
    flags = {"motor_silent": SILENT, "power_low": LOW, "wheel_slow": SLOW}
    counted = choose(
        equal(found, NONE), choose(is_same, call.of("_lasting_steps"), 0), choose(enough, 0, lasting)
    )
    return {
        "_driven_steps": minimum(add(call.of("_driven_steps"), 1), LEARN_STEPS),
        "shunt_stuck": call.of("_shunt.stuck"),
        "shunt_dead": either(call.of("shunt_dead"), every(negate(doubted), sags)),
        "_contradiction": found,
        "_lasting_steps": counted,
        "_withheld_steps": choose(withholds, WITHHELD_STEPS, before["_withheld_steps"]),
        "_unsuspected_steps": choose(withholds, 0, before["_unsuspected_steps"]),
        "withheld": either(withholds, before["withheld"]),
        "_suspected": choose(suspects, found, call.of("_suspected")),
        "_suspicions": choose(suspects, suspicions, before["_suspicions"]),
        **{name: choose(is_fault, equal(found, kind), call.of(name)) for name, kind in flags.items()},
    }


def _learned(call: Call, driven: Any) -> Claims:
    power_w = call.of("_supply.power_w")
    steps = minimum(add(call.of("_driven_steps"), 1), LEARN_STEPS)
    learns = every(
        driven,
        equal(_contradiction(call), NONE),
        equal(steps, LEARN_STEPS),
        call.of("_wheel.steady"),
        less(LEARN_LEAST_W, power_w),
        negate(limited(call, "_model.", power_w)),
    )
    total, permille = learned_values(call, "_model.", power_w)
    return becomes(
        call,
        **{
            "_model._learned": choose(learns, total, call.of("_model._learned")),
            "_model.learned_permille": choose(learns, permille, call.of("_model.learned_permille")),
        },
    )


def _forgets(call: Call) -> Claims:
    counts = ("_suspected", "_suspicions", "_unsuspected_steps", "_withheld_steps")
    return becomes(call, **dict.fromkeys(counts, 0), withheld=False)


EXACT_JUDGE = (
    exact(
        "Plausibility.step",
        MODULE,
        {"command_mv": (0, 5_000)},
        (
            *(path.removeprefix("plausibility.") for path in PLAUSIBILITY),
            "_model._learned",
            "_model.learned_permille",
        ),
        _step,
    ),
    exact(
        "Plausibility.forget",
        MODULE,
        {},
        ("_suspected", "_suspicions", "_unsuspected_steps", "_withheld_steps", "withheld"),
        _forgets,
    ),
)
