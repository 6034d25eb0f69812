"""Contracts of the power loop and the slew limiter."""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import INPUTS, Call, Claims, Contract, Span, nothing
from host_sim.proof.whole.ranges import DRIVE, STAMP
from host_sim.proof.whole.terms import add, at_least, at_most, both, equal, implies, less, multiply, subtract

LOOP = "firmware.drive.power_loop"
MICROVOLTS: Span = (0, 5_000_000)
LOOP_STATE: dict[str, Span] = {"_integral_uv": MICROVOLTS, "_carry": (0, 199_999), "_last_us": STAMP}


def _loop_needs(call: Call) -> Claims:
    return [
        ("an integral in its range", at_most(call.of("_integral_uv"), call.of("_range_uv"))),
        ("a target in its range", at_most(call.of("_target_uv"), call.of("_range_uv"))),
        ("a rest below its divisor", less(call.of("_carry"), call.of("_integral_units"))),
    ]


def _loop_gives(call: Call) -> Claims:
    target_mv = add(call.of("_start_mv"), terms.divide(call.after("_target_uv"), 1000))
    return [
        ("an integral in its range", at_most(call.after("_integral_uv"), call.of("_range_uv"))),
        ("a target in its range", at_most(call.after("_target_uv"), call.of("_range_uv"))),
        ("a rest below its divisor", less(call.after("_carry"), call.of("_integral_units"))),
        ("the target of its microvolts", equal(call.after("target_mv"), target_mv)),
        ("what it returns", equal(call.result, target_mv)),
        ("its own time or that of the call", _own_time(call)),
    ]


def _own_time(call: Call) -> Any:
    return terms.either(
        equal(call.after("_last_us"), call.of("now_us")), equal(call.after("_last_us"), call.of("_last_us"))
    )


def _follow_gives(call: Call) -> Claims:
    return [
        ("its own time or that of the call", _own_time(call)),
        ("an integral in its range", at_most(call.after("_integral_uv"), call.of("_range_uv"))),
        ("a rest below its divisor", less(call.after("_carry"), call.of("_integral_units"))),
    ]


def _move_gives(call: Call) -> Claims:
    command_mv, before_mv, target_mv = call.after("command_mv"), call.of("command_mv"), call.of("target_mv")
    span_us = terms.maximum(terms.minimum(subtract(call.of("now_us"), call.of("_last_us")), 100_000), 0)
    budget_nv = add(call.of("_carry_nv"), terms.spread(call.of("rate_mv_per_s"), span_us))
    risen_nv = multiply(subtract(command_mv, before_mv), 1_000_000)
    return [
        ("no faster than the rate", at_most(risen_nv, budget_nv)),
        (
            "no rest that was not there",
            implies(less(before_mv, command_mv), at_most(add(risen_nv, call.after("_carry_nv")), budget_nv)),
        ),
        (
            "not past the target from below",
            implies(
                at_most(before_mv, target_mv),
                both(at_least(command_mv, before_mv), at_most(command_mv, target_mv)),
            ),
        ),
        (
            "not past the target from above",
            implies(
                at_least(before_mv, target_mv),
                both(at_most(command_mv, before_mv), at_least(command_mv, target_mv)),
            ),
        ),
        ("what it returns", equal(call.result, command_mv)),
        ("the time of the call", equal(call.after("_last_us"), call.of("now_us"))),
    ]


def _search_keeps(call: Call, of: Callable[[str], Any]) -> Claims:
    highest_mv = add(call.of("_model._start_mv"), call.of("_model._span_mv"))
    speed = both(call.of("_model.known"), call.of("_model.speed_kind"))
    return [
        ("it seeks a command in its range", at_most(of("seek_mv"), highest_mv)),
        ("no faster than its rate", at_most(of("rise_mv_per_s"), call.of("_rate_mv_per_s"))),
        ("on a known motor of the speed kind only", implies(less(0, of("seek_mv")), speed)),
    ]


CONTRACTS = (
    Contract(
        "FeedForward.step",
        "firmware.drive.feed_forward",
        {"inputs": INPUTS, "command_mv": (0, 5_000)},
        {path.removeprefix("feed_forward."): span for path, span in DRIVE.items() if path.startswith("feed")},
        None,
        lambda call: _search_keeps(call, call.of),
        lambda call: _search_keeps(call, call.after),
    ),
    Contract(
        "PowerLoop.step",
        LOOP,
        {"allowed_w": (1, 1_500), "power_w": (0, 10_000), "applied_mv": (0, 5_000), "now_us": STAMP},
        {**LOOP_STATE, "_target_uv": MICROVOLTS, "target_mv": (0, 5_000)},
        (0, 5_000),
        _loop_needs,
        _loop_gives,
    ),
    Contract(
        "PowerLoop._follow",
        LOOP,
        {"applied_mv": (0, 5_000), "now_us": STAMP},
        LOOP_STATE,
        None,
        _loop_needs,
        _follow_gives,
    ),
    Contract(
        "SlewLimiter._move",
        "firmware.drive.slew_limiter",
        {"target_mv": (0, 5_000), "rate_mv_per_s": (1, 10_000), "now_us": STAMP},
        {"command_mv": (0, 5_000), "_carry_nv": (0, 999_999), "_last_us": STAMP},
        (0, 5_000),
        nothing,
        _move_gives,
    ),
)
