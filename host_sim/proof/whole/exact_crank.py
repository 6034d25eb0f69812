"""Exact contracts of the crank: an edge that waits, a standstill, a clock that went back."""

from typing import Any

from host_sim.proof.whole.contract import Call, Claims
from host_sim.proof.whole.exact import becomes, exact, setting, since_us
from host_sim.proof.whole.exact_edges import ALL, MODULE
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.terms import (
    add,
    both,
    choose,
    divide,
    either,
    equal,
    less,
    modulo,
    multiply,
    negate,
    unequal,
)

STILL_MORE_US = 500_000


def standstill_us(call: Call) -> Any:
    """Return after how long without an edge the crank stands."""
    pulses_rpm = multiply(setting(call, "pulses_per_rev"), setting(call, "release_rpm"))
    return add(divide(60_000_000, pulses_rpm), STILL_MORE_US)


def _settled(call: Call) -> Claims:
    """A crank that gives no edge for long stands: nothing is half seen and nothing owed."""
    waited_us = since_us(call.of("now_us"), call.of("_last_edge_us"))
    stands = both(negate(call.of("standing")), less(standstill_us(call), waited_us))
    zero = dict.fromkeys(("_behind", "one_sided_run", "pitch_us", "backward_run", "forward_run"), 0)
    return becomes(
        call,
        standing=either(stands, call.of("standing")),
        _rise_seen=both(call.of("_rise_seen"), negate(stands)),
        **{name: choose(stands, value, call.of(name)) for name, value in zero.items()},
    )


def _nothing_pending(call: Call) -> Claims:
    return [("nothing is pending", negate(call.of("_pending")))]


def seen_levels(call: Call) -> Any:
    """Return the levels of an edge, or of one wire its own, which may be on B."""
    levels = call.of("levels")
    on_b = equal(setting(call, "lead"), 1)
    wire = choose(on_b, divide(levels, 2), modulo(levels, 2))
    return choose(equal(setting(call, "sensor_kind"), 0), levels, wire)


def _edge(call: Call) -> Claims:
    """An edge that changes the levels, or the first, waits until it has lasted; a lone wire may be on B."""
    seen = seen_levels(call)
    waits = either(unequal(seen, call.store[call.key_of("levels")]), negate(call.of("_started")))
    return becomes(
        call,
        _pending=waits,
        _pending_levels=choose(waits, seen, call.of("_pending_levels")),
        _pending_us=choose(waits, call.of("time_us"), call.of("_pending_us")),
    )


def restamped(now_us: Any) -> dict[str, Any]:
    """Return what is left when the clock went back: every time counts from now."""
    stamps = ("last_forward_us", "_fall_us", "_pending_us", "_last_edge_us")
    truths = ("ground_gained", "pitch_measured", "_rise_seen")
    zero = ("forward_run", "pitch_us")
    return {**dict.fromkeys(stamps, now_us), **dict.fromkeys(truths, False), **dict.fromkeys(zero, 0)}


EXACT_CRANK = (
    exact(
        "Crank.settle",
        MODULE,
        {"now_us": STAMP},
        ALL,
        _settled,
        _nothing_pending,
    ),
    exact("Crank.edge", MODULE, {"levels": (0, 3), "time_us": STAMP}, ALL, _edge, _nothing_pending),
    exact(
        "Crank.restamp",
        MODULE,
        {"now_us": STAMP},
        tuple(restamped(0)),
        lambda call: becomes(call, **restamped(call.of("now_us"))),
    ),
    exact(
        "Crank.begin_step",
        MODULE,
        {},
        ("ground_gained", "pitch_measured"),
        lambda call: becomes(call, ground_gained=False, pitch_measured=False),
    ),
)
