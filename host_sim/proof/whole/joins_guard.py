"""What the gate should do with an edge of the crank, and when it lets a command pass."""

from typing import Any

from host_sim.proof.whole.contract import INPUTS
from host_sim.proof.whole.exact import reading, setting, since_us
from host_sim.proof.whole.exact_guard import BEHIND_MAX, cutoff_period_us
from host_sim.proof.whole.joining import Case, Joined, Joining, always
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.terms import (
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
    minimum,
    modulo,
    multiply,
    negate,
    subtract,
    unequal,
)


def _moved(call: Joined) -> Any:
    """Return by how many of the four positions of a ring, in the order none, A, both, B, the gate's moved."""
    places = []
    for levels in (call.of("levels"), call.of("_levels")):
        high, low = divide(levels, 2), modulo(levels, 2)
        places.append(add(multiply(high, 2), choose(equal(high, low), 0, 1)))
    return modulo(subtract(*places), 4)


def _along(call: Joined) -> Any:
    return equal(_moved(call), choose(equal(setting(call, "lead"), 1), 3, 1))


def _against(call: Joined) -> Any:
    return equal(_moved(call), choose(equal(setting(call, "lead"), 1), 1, 3))


def _notes(call: Joined) -> None:
    call.put(_edge_us=call.read("time_us"), _levels=call.read("levels"))


def _turns(call: Joined) -> None:
    call.play("", "_go_forward", 1, call.read("time_us"))
    _notes(call)


def _owes(call: Joined) -> None:
    call.put(_behind=minimum(add(call.of("_behind"), 1), BEHIND_MAX))
    _notes(call)


def _wire(call: Joined, levels: Any) -> Any:
    return choose(equal(setting(call, "lead"), 1), divide(levels, 2), modulo(levels, 2))


def _changes(call: Joined) -> Any:
    """Tell whether the wire's level is another, or none is known yet."""
    unknown = negate(either(call.of("_rise_seen"), call.of("_fall_seen")))
    return either(unequal(_wire(call, call.of("levels")), _wire(call, call.of("_levels"))), unknown)


def _sees(method: str) -> Any:
    def seen(call: Joined) -> None:
        call.play("", method, _wire(call, call.read("levels")), call.read("time_us"))
        _notes(call)

    return seen


def _went_back(call: Joined) -> Any:
    return less(since_us(call.of("now_us"), call.of("_now_us")), 0)


def _shuts(call: Joined) -> int:
    call.play("", "_clock_went_back", call.read("now_us"))
    return 0


def _permits(looks: bool) -> Any:
    def permitted(call: Joined) -> Any:
        now_us, reading_mv, command_mv = (
            call.read("now_us"),
            call.read("inputs.throttle_mv"),
            call.of("command_mv"),
        )
        call.play("", "_clock_went_back", now_us)
        period_us = call.play("", "_slowest_period_us", now_us)
        call.play("", "_forget_the_old", period_us, now_us)
        if looks:
            call.play("", "_look_for_rest", reading_mv)
        age_us = since_us(call.of("now_us"), reading(call, "sampled_us"))
        right = every(
            less(0, command_mv),
            negate(reading(call, "brake_pulled")),
            at_least(age_us, 0),
            at_most(age_us, VALID_US),
            at_least(period_us, cutoff_period_us(call)),
        )
        turns = both(call.now("_turning"), less(call.now("_behind"), setting(call, "backward_edges")))
        may = either(turns, call.play("", "_throttle_may_drive", reading_mv, period_us))
        return choose(both(right, may), minimum(command_mv, setting(call, "command_max_mv")), 0)

    return permitted


VALID_US = 50_000
RUN: dict[str, Any] = {"inputs": INPUTS, "now_us": STAMP}
EDGE: dict[str, Any] = {"levels": (0, 3), "time_us": STAMP}
JOINS_GUARD = (
    Joining(
        "OutputGuard.crank_edge",
        "guard.output_guard",
        EDGE,
        (
            Case("it goes along the lead", _along, _turns),
            Case("it goes against the lead", _against, _owes),
            Case("it does neither", lambda call: negate(either(_along(call), _against(call))), _notes),
        ),
        kinds=(0,),
    ),
    Joining(
        "OutputGuard.crank_edge",
        "guard.output_guard",
        EDGE,
        (
            Case("the wire's level changes", _changes, _sees("_see_pulse")),
            Case("it stays", lambda call: negate(_changes(call)), _notes),
        ),
        kinds=(1,),
    ),
    Joining(
        "OutputGuard.crank_edge",
        "guard.output_guard",
        EDGE,
        (always(_sees("_see_duty")),),
        kinds=(2,),
    ),
    Joining(
        "OutputGuard.permit",
        "guard.output_guard",
        {"command_mv": (0, 5_000), **RUN},
        (
            Case("time went back", _went_back, _shuts),
            Case(
                "the throttle was at rest",
                lambda call: both(negate(_went_back(call)), call.of("_throttle_rest_seen")),
                _permits(False),
            ),
            Case(
                "it was not",
                lambda call: negate(either(_went_back(call), call.of("_throttle_rest_seen"))),
                _permits(True),
            ),
        ),
    ),
)
