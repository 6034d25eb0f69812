"""The contract of the gate before the output."""

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import INPUTS, Call, Claims, Contract, Span, nothing
from host_sim.proof.whole.ranges import PERIOD_MAX_US, STAMP, TRUTH
from host_sim.proof.whole.terms import at_most, both, equal, implies, less, negate, subtract

GATE: dict[str, Span] = {
    **dict.fromkeys(("_turning", "_rise_seen", "_fall_seen", "_wheel_seen", "_throttle_rest_seen"), TRUTH),
    **dict.fromkeys(("_now_us", "_fall_us", "_edge_us", "_wheel_us"), STAMP),
    "_behind": (0, 4),
    "_wheel_period_us": (0, PERIOD_MAX_US),
}


def _permit_gives(call: Call) -> Claims:
    inputs = call.arguments["inputs"]
    sampled = call.store[inputs.number, "sampled_us"].offset
    age_us = subtract(call.of("now_us"), sampled)
    recent = both(less(age_us, 1 << 29), at_most(-(1 << 29), age_us))
    nothing, command_mv = equal(call.result, 0), call.of("command_mv")
    since_us = subtract(call.of("now_us"), call.of("_now_us"))
    back = both(less(since_us, 0), at_most(-(1 << 29), since_us))
    return [
        ("never more than the command", at_most(call.result, command_mv)),
        ("never more than the highest", at_most(call.result, call.of("_highest_mv"))),
        ("nothing with the brake", implies(call.store[inputs.number, "brake_pulled"], nothing)),
        (
            "nothing from old readings",
            implies(both(recent, terms.either(less(50_000, age_us), less(age_us, 0))), nothing),
        ),
        ("nothing where the clock went back", implies(back, both(nothing, negate(call.after("_turning"))))),
        ("the time of the call", equal(call.after("_now_us"), call.of("now_us"))),
    ]


CONTRACTS = (
    Contract(
        "OutputGuard.permit",
        "firmware.guard.output_guard",
        {"command_mv": (0, 5_000), "inputs": INPUTS, "now_us": STAMP},
        GATE,
        (0, 5_000),
        nothing,
        _permit_gives,
    ),
)
