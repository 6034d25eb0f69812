"""Contracts of the comparison of readings and of the fault latch."""

from typing import Any

from firmware.guard.plausibility import LASTING_STEPS, MOTOR_SILENT, SILENT_STEPS
from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import INPUTS, Call, Claims, Contract, Span
from host_sim.proof.whole.ranges import FAULTS, MODEL, PLAUSIBILITY
from host_sim.proof.whole.terms import at_most, both, equal, every, implies, less, negate, some

SUSPECTED = ("_suspected", "_suspicions", "_unsuspected_steps", "_withheld_steps", "withheld")
FLAGS = ("shunt_stuck", "shunt_dead", "motor_silent", "power_low", "wheel_slow")
FOUND = FLAGS[2:]
JUDGED: dict[str, Span] = {path.removeprefix("plausibility."): span for path, span in PLAUSIBILITY.items()}
COUNTED: dict[str, Span] = {path.removeprefix("faults."): span for path, span in FAULTS.items()}
LEARNED = {f"_model.{name}": MODEL[f"motor_model.{name}"] for name in ("_learned", "learned_permille")}


def make_a_fault(suspected: Any) -> Any:
    """Return how many suspicions in a row make a fault: three of the wheel, two of the motor."""
    return terms.choose(equal(suspected, 3), 3, 2)


def _judge_needs(call: Call) -> Claims:
    few = less(call.of("_suspicions"), make_a_fault(call.of("_suspected")))
    return [
        (
            "fewer suspicions than make a fault, or no command",
            terms.either(few, at_most(call.of("command_mv"), call.of("_start_mv"))),
        ),
        (
            "a silent motor is counted more narrowly",
            implies(equal(call.of("_contradiction"), 1), less(call.of("_lasting_steps"), 40)),
        ),
        (
            "help is withheld as long as it is counted",
            terms.same(call.of("withheld"), less(0, call.of("_withheld_steps"))),
        ),
    ]


def _suspects(call: Call) -> Claims:
    """Return what a suspicion needs, and what follows from it."""
    lasted = both(less(0, call.after("_contradiction")), equal(call.after("_lasting_steps"), 0))
    is_new = both(call.of("_model.known"), lasted)  # Also where the count begins again.
    same = equal(call.of("_contradiction"), call.after("_contradiction"))
    enough = terms.choose(equal(call.after("_contradiction"), MOTOR_SILENT), SILENT_STEPS, LASTING_STEPS)
    steps = terms.add(call.of("_lasting_steps"), 1)
    now = {name: both(call.after(name), negate(call.of(name))) for name in FOUND}
    of_motor = terms.either(now["motor_silent"], now["power_low"])
    return [
        ("every new suspicion withholds help", implies(is_new, call.after("withheld"))),
        (
            "it comes after its steps in a row with one contradiction",
            implies(is_new, both(same, at_most(enough, steps))),
        ),
        (
            "the steps grow by one at most, and begin again with another contradiction",
            at_most(call.after("_lasting_steps"), terms.choose(same, steps, 1)),
        ),
        ("the motor is a fault from the second on", implies(of_motor, less(1, call.after("_suspicions")))),
        (
            "the wheel is a fault from the third on",
            implies(now["wheel_slow"], less(2, call.after("_suspicions"))),
        ),
    ]


def _judge_gives(call: Call) -> Claims:
    few = less(call.after("_suspicions"), make_a_fault(call.after("_suspected")))
    unsuspected = every(*(call.is_kept(name) for name in ("_suspected", "_suspicions")))
    idle = both(at_most(call.of("command_mv"), call.of("_start_mv")), unsuspected)
    return [
        (
            "a motor that is not known is not judged",
            implies(negate(call.of("_model.known")), every(*(call.is_kept(name) for name in JUDGED))),
        ),
        (
            "as many suspicions as make a fault set its flag",
            some(few, idle, *(call.after(name) for name in FOUND)),
        ),
        (
            "a silent motor is counted more narrowly",
            implies(equal(call.after("_contradiction"), 1), less(call.after("_lasting_steps"), 40)),
        ),
        (
            "help is withheld as long as it is counted",
            terms.same(call.after("withheld"), less(0, call.after("_withheld_steps"))),
        ),
        (
            "what was learned is what is used",
            implies(
                equal(call.of("_model.learned_permille"), terms.divide(call.of("_model._learned"), 512)),
                equal(
                    call.after("_model.learned_permille"), terms.divide(call.after("_model._learned"), 512)
                ),
            ),
        ),
        *_suspects(call),
    ]


def _latch_needs(call: Call) -> Claims:
    return [
        ("noise up to its limit", at_most(call.of("_noise_level"), call.of("_noise_limit"))),
        ("noise forgiven in time", less(call.of("_noise_steps"), 20)),
        (
            "missing pulses up to their limit",
            at_most(call.of("_unpulsed_samples"), call.of("_wheel_lost_samples")),
        ),
    ]


def _latch_gives(call: Call) -> Claims:
    inputs = call.arguments["inputs"]
    clear = call.store[inputs.number, "clear_requested"]
    left = terms.choose(clear, 0, call.of("cause"))
    latched = less(0, call.after("cause"))
    flags = some(*(call.of(f"_plausibility.{name}") for name in FLAGS))
    forgotten = every(
        *(equal(call.after(f"_plausibility.{name}"), 0) for name in SUSPECTED[:-1]),
        negate(call.after("_plausibility.withheld")),
    )
    return [
        ("what it returns", equal(call.result, call.after("cause"))),
        ("a cause stays until it is asked to go", implies(less(0, left), equal(call.after("cause"), left))),
        ("a flag of the readings latches", implies(both(call.of("_shunt_fitted"), flags), latched)),
        ("clearing forgets what was suspected", implies(clear, forgotten)),
        (
            "without it that stays",
            terms.either(clear, every(*(call.is_kept(f"_plausibility.{name}") for name in SUSPECTED))),
        ),
        ("noise up to its limit", at_most(call.after("_noise_level"), call.of("_noise_limit"))),
        ("noise forgiven in time", less(call.after("_noise_steps"), 20)),
        (
            "missing pulses up to their limit",
            at_most(call.after("_unpulsed_samples"), call.of("_wheel_lost_samples")),
        ),
    ]


CONTRACTS = (
    Contract(
        "Plausibility.step",
        "firmware.guard.plausibility",
        {"command_mv": (0, 5_000)},
        {**JUDGED, **LEARNED},
        None,
        _judge_needs,
        _judge_gives,
    ),
    Contract(
        "Faults.step",
        "firmware.guard.faults",
        {"inputs": INPUTS, "command_mv": (0, 5_000)},
        {**COUNTED, **{f"_plausibility.{name}": JUDGED[name] for name in SUSPECTED}},
        (0, 17),
        _latch_needs,
        _latch_gives,
    ),
)
