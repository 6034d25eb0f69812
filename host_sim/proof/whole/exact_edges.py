"""Exact contracts of accepted crank edges, for each kind of ring: runs, ground, debt and pitch."""

from typing import Any

from host_sim.proof.whole.contract import Call, Claims
from host_sim.proof.whole.exact import becomes, exact, setting, since_us
from host_sim.proof.whole.ranges import CRANK, STAMP
from host_sim.proof.whole.terms import (
    absolute,
    add,
    at_least,
    both,
    choose,
    divide,
    either,
    equal,
    less,
    maximum,
    minimum,
    modulo,
    multiply,
    negate,
    subtract,
)

MODULE = "sense.crank"
RUN_MAX, BEHIND_MAX, PITCH_MAX_US, QUICKEST_RPM = 1_000, 4, 4_000_000, 250
Values = dict[str, Any]


def kinds(call: Call) -> Any:
    """Return how many sorts of edges a pitch has."""
    return choose(equal(setting(call, "sensor_kind"), 0), 4, 2)


def shortest_pitch_us(call: Call) -> Any:
    """Return the pitch at the quickest cadence of any legs."""
    return divide(60_000_000, multiply(setting(call, "pulses_per_rev"), QUICKEST_RPM))


def _ground(call: Call, edges: Any, time_us: Any) -> Values:
    """Return what edges forward give: a debt is made up first."""
    owes = less(0, call.of("_behind"))
    return {
        "backward_run": 0,
        "forward_run": minimum(add(call.of("forward_run"), edges), RUN_MAX),
        "_behind": choose(owes, maximum(subtract(call.of("_behind"), edges), 0), call.of("_behind")),
        "last_forward_us": choose(owes, call.of("last_forward_us"), time_us),
        "ground_gained": either(negate(owes), call.of("ground_gained")),
    }


def _back(call: Call, edges: Any) -> Values:
    """Return what edges backward give."""
    return {
        "forward_run": 0,
        "pitch_us": 0,
        "backward_run": minimum(add(call.of("backward_run"), edges), RUN_MAX),
        "_behind": minimum(add(call.of("_behind"), edges), BEHIND_MAX),
    }


def _rejected(call: Call) -> Any:
    return modulo(add(call.of("rejected"), 1), 0x10000)


def _soon(call: Call) -> Values:
    """Return what an edge that comes sooner than any legs gives: a whole pitch is owed."""
    return {"forward_run": 0, "_behind": kinds(call), "rejected": _rejected(call)}


def _pitch(pitch_us: Any, time_us: Any) -> Values:
    return {"pitch_us": minimum(pitch_us, PITCH_MAX_US), "pitch_edge_us": time_us, "pitch_measured": True}


def _chosen(call: Call, *cases: tuple[Any, Values]) -> Values:
    """Return what the first case that holds gives; a field of which it says nothing stays."""
    names = {name for _, values in cases for name in values}
    chosen: Values = {}
    for name in names:
        value = call.of(name)
        for when, values in reversed(cases):
            value = choose(when, values.get(name, call.of(name)), value)
        chosen[name] = value
    return chosen


def _duty_edge(call: Call) -> Claims:
    """An edge of a duty-coded ring: a rise ends a pitch, whose larger share tells the direction."""
    time_us, rises = call.of("time_us"), equal(call.of("high"), 1)
    pitch_us = since_us(time_us, call.of("_rise_us"))
    high_us = since_us(call.of("_fall_us"), call.of("_rise_us"))
    excess_us = subtract(multiply(high_us, 2), pitch_us)
    size_us = absolute(excess_us)
    clear = both(less(divide(pitch_us, 8), size_us), less(size_us, subtract(pitch_us, divide(pitch_us, 4))))
    unclear = either(negate(less(0, high_us)), negate(clear))
    forward = equal(choose(less(0, excess_us), 1, 0), setting(call, "forward_duty_high"))
    ends = both(rises, call.of("_rise_seen"))
    values = _chosen(
        call,
        (negate(ends), {}),
        (less(pitch_us, shortest_pitch_us(call)), _soon(call)),
        (unclear, {"forward_run": 0, "rejected": _rejected(call)}),
        (forward, {**_pitch(pitch_us, time_us), **_ground(call, 2, time_us)}),
        (True, _back(call, 2)),
    )
    values |= {
        "_fall_us": choose(rises, call.of("_fall_us"), time_us),
        "_rise_us": choose(rises, time_us, call.of("_rise_us")),
        "_rise_seen": either(rises, call.of("_rise_seen")),
    }
    return becomes(call, **values)


def _kind_us(call: Call, kind: Any) -> Any:
    """Return when the last edge of a sort came."""
    found = call.of("_kind_us.3")
    for place in range(3):
        found = choose(equal(kind, place), call.of(f"_kind_us.{place}"), found)
    return found


def _along(call: Call, kind: Any, time_us: Any) -> tuple[tuple[Any, Values], ...]:
    """Return the two cases of an edge forward of a sort: sooner than any legs, or ground."""
    known = at_least(call.of("forward_run"), kinds(call))
    pitch_us = since_us(time_us, _kind_us(call, kind))
    soon = both(known, less(pitch_us, shortest_pitch_us(call)))
    pitch = {name: choose(known, value, call.of(name)) for name, value in _pitch(pitch_us, time_us).items()}
    stamps = {
        f"_kind_us.{place}": choose(equal(kind, place), time_us, call.of(f"_kind_us.{place}"))
        for place in range(4)
    }
    return (soon, _soon(call)), (True, {**pitch, **stamps, **_ground(call, 1, time_us)})


def _pulse_edge(call: Call) -> Claims:
    """An edge of one channel: one odd pulse is passed over, a second in a row is noise."""
    high, time_us = call.of("high"), call.of("time_us")
    pitch_us = since_us(time_us, _kind_us(call, high))
    pulse_us = since_us(time_us, _kind_us(call, subtract(1, high)))
    eighth_us = divide(pitch_us, 8)
    uneven = either(less(pulse_us, eighth_us), less(subtract(pitch_us, eighth_us), pulse_us))
    odd = both(uneven, at_least(call.of("forward_run"), kinds(call)))
    over = {
        f"_kind_us.{place}": choose(equal(high, place), time_us, call.of(f"_kind_us.{place}"))
        for place in (0, 1)
    }
    second = both(odd, call.of("_odd_before"))
    values = _chosen(call, (second, _soon(call)), (odd, over), *_along(call, high, time_us))
    return becomes(call, **values, _odd_before=odd)


def _two_edges(call: Call) -> Claims:
    """An edge of two channels: by how many positions it moved, and whether one channel alone changes."""
    levels, time_us = call.of("levels"), call.of("time_us")
    high, low = divide(levels, 2), modulo(levels, 2)
    position = add(multiply(high, 2), choose(equal(high, low), 0, 1))
    moved = modulo(subtract(position, call.of("_last_position")), 4)
    started, changed = call.of("_started"), call.of("changed")
    alone = equal(changed, call.of("_last_changed"))
    backward = equal(moved, choose(equal(setting(call, "lead"), 1), 1, 3))
    values = _chosen(
        call,
        (negate(started), {}),
        (equal(moved, 2), {"forward_run": 0, "backward_run": 0, "rejected": _rejected(call)}),
        (backward, _back(call, 1)),
        *_along(call, position, time_us),
    )
    run = choose(alone, minimum(add(call.of("one_sided_run"), 1), RUN_MAX), 0)
    return becomes(
        call,
        **values,
        _last_position=position,
        one_sided_run=choose(started, run, call.of("one_sided_run")),
        _last_changed=choose(started, changed, call.of("_last_changed")),
    )


GROUND = ("_behind", "backward_run", "forward_run", "ground_gained", "last_forward_us")
PITCH = ("pitch_edge_us", "pitch_measured", "pitch_us")
ALL = tuple(path.removeprefix("crank.") for path in CRANK)
EXACT_EDGES = (
    exact(
        "Crank._gain_ground",
        MODULE,
        {"edges": (1, 2), "time_us": STAMP},
        GROUND,
        lambda call: becomes(call, **_ground(call, call.of("edges"), call.of("time_us"))),
    ),
    exact(
        "Crank._go_backward",
        MODULE,
        {"edges": (1, 2)},
        ("_behind", "backward_run", "forward_run", "pitch_us"),
        lambda call: becomes(call, **_back(call, call.of("edges"))),
    ),
    exact(
        "Crank._too_soon",
        MODULE,
        {},
        ("_behind", "forward_run", "rejected"),
        lambda call: becomes(call, **_soon(call)),
    ),
    exact(
        "Crank._measure",
        MODULE,
        {"pitch_us": (-(1 << 29), (1 << 29) - 1), "time_us": STAMP},
        PITCH,
        lambda call: becomes(call, **_pitch(call.of("pitch_us"), call.of("time_us"))),
    ),
    exact(
        "Crank._duty_coded",
        MODULE,
        {"high": (0, 1), "time_us": STAMP},
        (*GROUND, *PITCH, "_fall_us", "_rise_seen", "_rise_us", "rejected"),
        _duty_edge,
    ),
    exact("Crank._one_channel", MODULE, {"high": (0, 1), "time_us": STAMP}, ALL, _pulse_edge),
    exact(
        "Crank._two_channels",
        MODULE,
        {"levels": (0, 3), "changed": (0, 3), "time_us": STAMP},
        ALL,
        _two_edges,
    ),
)
