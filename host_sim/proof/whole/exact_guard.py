"""Exact contracts of the gate: what it takes for progress of the crank, and what it forgets when."""

from typing import Any

from host_sim.proof.whole.contract import Call, Claims
from host_sim.proof.whole.exact import becomes, exact, fitted, gives, setting, since_us
from host_sim.proof.whole.ranges import STAMP
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
    multiply,
    negate,
    some,
    subtract,
    unequal,
)

MODULE = "guard.output_guard"
STILL_US, MARGIN_US, LONGEST_US, BEHIND_MAX, NEVER_US = 3_000_000, 15_000, 10_000_000, 4, (1 << 30) - 1
Values = dict[str, Any]


def _forward(call: Call, edges: Any, time_us: Any) -> Values:
    owes = less(0, call.of("_behind"))
    return {
        "_behind": choose(owes, maximum(subtract(call.of("_behind"), edges), 0), call.of("_behind")),
        "_turning": either(negate(owes), call.of("_turning")),
        "_forward_us": choose(owes, call.of("_forward_us"), time_us),
    }


def _where(call: Call, condition: Any, values: Values) -> Values:
    return {name: choose(condition, value, call.of(name)) for name, value in values.items()}


def _duty(call: Call) -> Claims:
    """A rise ends a pitch: its larger share tells the direction, where it is clearly the larger one."""
    time_us, rises = call.of("time_us"), unequal(call.of("high"), 0)
    high_us = since_us(call.of("_fall_us"), call.of("_rise_us"))
    low_us = since_us(time_us, call.of("_fall_us"))
    pitch_us = add(high_us, low_us)
    size_us = absolute(subtract(high_us, low_us))
    clear = both(less(divide(pitch_us, 8), size_us), less(size_us, subtract(pitch_us, divide(pitch_us, 4))))
    forward = equal(choose(less(low_us, high_us), 1, 0), setting(call, "forward_duty_high"))
    ends = every(rises, call.of("_rise_seen"), clear)
    gained = _forward(call, 2, time_us)
    owed = {
        **{name: call.of(name) for name in gained},
        "_behind": minimum(add(call.of("_behind"), 2), BEHIND_MAX),
    }
    moved = {name: choose(forward, gained[name], owed[name]) for name in gained}
    return becomes(
        call,
        **_where(call, ends, moved),
        _fall_us=choose(rises, call.of("_fall_us"), time_us),
        _rise_us=choose(rises, time_us, call.of("_rise_us")),
        _rise_seen=either(rises, call.of("_rise_seen")),
    )


def _noted(call: Call, high: Any, time_us: Any) -> Values:
    """Return what an edge leaves of the times of edges."""
    return {
        "_before_us": choose(high, call.of("_rise_us"), call.of("_fall_us")),
        "_rise_us": choose(high, time_us, call.of("_rise_us")),
        "_fall_us": choose(high, call.of("_fall_us"), time_us),
        "_rise_seen": either(high, call.of("_rise_seen")),
        "_fall_seen": either(negate(high), call.of("_fall_seen")),
    }


def _pulse(call: Call) -> Claims:
    """An edge of one channel counts unless its pulse is a glitch, or no magnet of an even ring."""
    time_us, high = call.of("time_us"), unequal(call.of("high"), 0)
    since_fall_us, since_rise_us = (
        since_us(time_us, call.of("_fall_us")),
        since_us(time_us, call.of("_rise_us")),
    )
    pulse_us, pitch_us = (
        choose(high, since_fall_us, since_rise_us),
        choose(high, since_rise_us, since_fall_us),
    )
    seen = both(call.of("_rise_seen"), call.of("_fall_seen"))
    glitch = both(seen, less(pulse_us, divide(15_000, setting(call, "pulses_per_rev"))))
    eighth_us = divide(pitch_us, 8)
    even = both(at_most(eighth_us, pulse_us), at_most(pulse_us, subtract(pitch_us, eighth_us)))
    taken_back = {
        "_fall_us": choose(high, call.of("_before_us"), call.of("_fall_us")),
        "_rise_us": choose(high, call.of("_rise_us"), call.of("_before_us")),
    }
    noted = _noted(call, high, time_us)
    times = {
        name: choose(glitch, taken_back.get(name, call.of(name)), value) for name, value in noted.items()
    }
    counts = every(seen, negate(glitch), even)
    return becomes(call, **times, **_where(call, counts, _forward(call, 1, time_us)))


def cutoff_pulses_percent(call: Call) -> Any:
    """Return the hundredths of wheel pulses in the cut-off distance, rounded up."""
    percent = multiply(
        multiply(setting(call, "cutoff_distance_mm"), 100), setting(call, "wheel_pulses_per_rev")
    )
    return add(1, divide(percent, setting(call, "wheel_circumference_mm")))


def _distance_us(call: Call, period_us: Any) -> Any:
    percent = cutoff_pulses_percent(call)
    shorter_us = minimum(period_us, divide(LONGEST_US * 100, percent))
    return choose(at_least(period_us, STILL_US), LONGEST_US, divide(multiply(shorter_us, percent), 100))


def longest_us(call: Call) -> Any:
    """Return how long the crank may give no progress."""
    pulses_rpm = multiply(setting(call, "pulses_per_rev"), setting(call, "release_rpm"))
    return add(divide(60_000_000, pulses_rpm), MARGIN_US)


def _forgets(call: Call) -> Claims:
    """What is over: the crank's turning, and after a rest a debt or a pitch half seen."""
    now_us, period_us = call.of("now_us"), call.of("period_us")
    gap_us = since_us(now_us, call.of("_forward_us"))
    turns = both(
        at_most(gap_us, longest_us(call)), at_most(gap_us, add(_distance_us(call, period_us), MARGIN_US))
    )
    unfinished = some(unequal(call.of("_behind"), 0), call.of("_rise_seen"), call.of("_fall_seen"))
    rested = both(unfinished, less(longest_us(call), since_us(now_us, call.of("_edge_us"))))
    return becomes(
        call,
        _turning=both(call.of("_turning"), turns),
        _behind=choose(rested, 0, call.of("_behind")),
        _rise_seen=both(call.of("_rise_seen"), negate(rested)),
        _fall_seen=both(call.of("_fall_seen"), negate(rested)),
    )


def _slowest(call: Call) -> Claims:
    waited_us = since_us(call.of("now_us"), call.of("_wheel_us"))
    seen = call.of("_wheel_seen")
    stands = both(seen, less(STILL_US, waited_us))
    period_us = choose(stands, STILL_US, call.of("_wheel_period_us"))
    return [
        *gives(call, choose(seen, maximum(period_us, waited_us), STILL_US)),
        *becomes(call, _wheel_seen=both(seen, negate(stands)), _wheel_period_us=period_us),
    ]


def _way(call: Call) -> Any:
    way = multiply(setting(call, "wheel_circumference_mm"), 100_000)
    return divide(way, setting(call, "wheel_pulses_per_rev"))


def cutoff_period_us(call: Call) -> Any:
    """Return the wheel's period at the cut-off speed."""
    return multiply(divide(_way(call), setting(call, "cutoff_speed_mm_per_s")), 10)


def startup_period_us(call: Call) -> Any:
    """Return the wheel's period at the start-up speed, or one that is never reached."""
    startup = setting(call, "startup_speed_mm_per_s")
    period_us = multiply(minimum(divide(_way(call), startup), divide(STILL_US, 10)), 10)
    return choose(less(0, startup), period_us, NEVER_US)


def _wheel_edge(call: Call) -> Claims:
    time_us, rises = call.of("time_us"), unequal(call.of("level"), 0)
    period_us = since_us(time_us, call.of("_wheel_us"))
    bounces = both(call.of("_wheel_seen"), less(period_us, divide(cutoff_period_us(call), 4)))
    counts = both(rises, negate(bounces))
    return becomes(
        call,
        _wheel_seen=either(counts, call.of("_wheel_seen")),
        _wheel_us=choose(counts, time_us, call.of("_wheel_us")),
        _wheel_period_us=choose(both(counts, call.of("_wheel_seen")), period_us, call.of("_wheel_period_us")),
    )


def _clock(call: Call) -> Claims:
    now_us = call.of("now_us")
    back = less(since_us(now_us, call.of("_now_us")), 0)
    truths = ("_turning", "_rise_seen", "_fall_seen")
    values = {**dict.fromkeys(truths, False), **dict.fromkeys(("_fall_us", "_edge_us", "_wheel_us"), now_us)}
    return [*gives(call, back), *becomes(call, **_where(call, back, values), _now_us=now_us)]


def _throttle(call: Call) -> Claims:
    reading_mv, unpedalled = call.of("throttle_mv"), setting(call, "throttle_unpedalled")
    slow = at_least(call.of("period_us"), startup_period_us(call))
    open_ = both(
        less(setting(call, "throttle_rest_mv"), reading_mv),
        at_most(reading_mv, setting(call, "throttle_short_mv")),
    )
    may = either(equal(unpedalled, 2), both(equal(unpedalled, 1), slow))
    ready = both(fitted(call, "throttle_fitted"), call.of("_throttle_rest_seen"))
    return gives(call, every(ready, open_, may))


def _rest(call: Call) -> Claims:
    reading_mv = call.of("throttle_mv")
    rests = both(
        at_most(setting(call, "throttle_open_mv"), reading_mv),
        at_most(reading_mv, setting(call, "throttle_rest_mv")),
    )
    return becomes(call, _throttle_rest_seen=rests)


PERIOD = (0, (1 << 29) - 1)
SEEN = ("_before_us", "_fall_seen", "_fall_us", "_rise_seen", "_rise_us")
PROGRESS = ("_behind", "_forward_us", "_turning")
EXACT_GUARD = (
    exact(
        "OutputGuard._go_forward",
        MODULE,
        {"edges": (1, 2), "time_us": STAMP},
        PROGRESS,
        lambda call: becomes(call, **_forward(call, call.of("edges"), call.of("time_us"))),
    ),
    exact("OutputGuard._see_duty", MODULE, {"high": (0, 1), "time_us": STAMP}, (*SEEN, *PROGRESS), _duty),
    exact("OutputGuard._see_pulse", MODULE, {"high": (0, 1), "time_us": STAMP}, (*SEEN, *PROGRESS), _pulse),
    exact(
        "OutputGuard._forget_the_old",
        MODULE,
        {"period_us": PERIOD, "now_us": STAMP},
        ("_behind", "_fall_seen", "_rise_seen", "_turning"),
        _forgets,
    ),
    exact(
        "OutputGuard._slowest_period_us",
        MODULE,
        {"now_us": STAMP},
        ("_wheel_period_us", "_wheel_seen"),
        _slowest,
    ),
    exact(
        "OutputGuard.wheel_edge",
        MODULE,
        {"level": (0, 1), "time_us": STAMP},
        ("_wheel_period_us", "_wheel_seen", "_wheel_us"),
        _wheel_edge,
    ),
    exact(
        "OutputGuard._clock_went_back",
        MODULE,
        {"now_us": STAMP},
        ("_edge_us", "_fall_seen", "_fall_us", "_now_us", "_rise_seen", "_turning", "_wheel_us"),
        _clock,
    ),
    exact(
        "OutputGuard._throttle_may_drive",
        MODULE,
        {"throttle_mv": (0, 5_000), "period_us": PERIOD},
        (),
        _throttle,
    ),
    exact("OutputGuard._look_for_rest", MODULE, {"throttle_mv": (0, 5_000)}, ("_throttle_rest_seen",), _rest),
)
