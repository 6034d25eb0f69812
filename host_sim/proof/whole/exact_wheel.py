"""Exact contracts of the wheel: from the times of its pulses to a speed, and how well it is known."""

from typing import Any

from host_sim.proof.whole.contract import Call, Claims
from host_sim.proof.whole.exact import becomes, exact, gives, setting, since_us
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
    minimum,
    multiply,
    negate,
    subtract,
)

MODULE = "sense.rotation"
STILL_US, HIGHEST_MM_PER_S, TEN_US_PER_SECOND = 3_000_000, 27_778, 100_000
ROTATION = ("_rotation._last_us", "_rotation._period_us", "_rotation.standing")


def rate(call: Call, path: str, now_us: Any, **given: Any) -> tuple[Any, Any]:
    """Return the rate at a time, of the last period or of the wait since, and whether it stands.

    `given`: values of `_last_us`, `_period_us` and `standing` other than those before the call.
    """
    last_us, period_us, standing = (
        given.get(name, call.of(f"{path}{name}")) for name in ("_last_us", "_period_us", "standing")
    )
    waited_us = since_us(now_us, last_us)
    stands = either(standing, less(call.of(f"{path}_still_us"), waited_us))
    longer_us = choose(less(waited_us, period_us), period_us, waited_us)
    return choose(stands, 0, divide(call.of(f"{path}_scale"), divide(longer_us, 10))), stands


def _rate(call: Call) -> Claims:
    value, stands = rate(call, "", call.of("now_us"))
    return [*gives(call, value), *becomes(call, standing=stands)]


def scale(call: Call) -> Any:
    """Return speed times period of the wheel, the period in tens of microseconds."""
    way = multiply(setting(call, "wheel_circumference_mm"), TEN_US_PER_SECOND)
    return divide(way, setting(call, "wheel_pulses_per_rev"))


def _edge(call: Call) -> Claims:
    """A pulse sooner than any wheel's is a bounce; else a period, from which speed and accuracy follow."""
    time_us, runs = call.of("time_us"), call.of("_running")
    period_us = since_us(time_us, call.of("_last_us"))
    shortest_us = multiply(divide(scale(call), HIGHEST_MM_PER_S), 10)
    rises = equal(call.of("level"), 1)
    counts = both(rises, either(negate(runs), at_least(period_us, shortest_us)))
    measured = both(counts, runs)
    before_us = call.of("_period_us")
    pulse = divide(scale(call), divide(period_us, 10))
    late_ms = divide(multiply(minimum(period_us, STILL_US), 3), 2_000)
    gained = add(multiply(absolute(subtract(pulse, call.of("_pulse_mm_per_s"))), 2), divide(pulse, 16))
    late = minimum(divide(multiply(late_ms, 2_000), 1_000), gained, call.of("_late_unseen_mm_per_s"))
    values = {
        "_last_us": (counts, time_us),
        "_running": (counts, True),
        "pulsed": (counts, True),
        "overdue": (counts, False),
        "_period_us": (measured, period_us),
        "steady": (measured, at_most(absolute(subtract(period_us, before_us)), divide(before_us, 8))),
        "_pulse_mm_per_s": (measured, pulse),
        "late_mm_per_s": (measured, late),
        "_rotation._period_us": (measured, period_us),
        "_rotation._last_us": (measured, time_us),
        "_rotation.standing": (measured, False),
    }
    return becomes(
        call, **{name: choose(when, value, call.of(name)) for name, (when, value) in values.items()}
    )


def _settle(call: Call) -> Claims:
    """The speed now, a pulse that is overdue, and a standstill."""
    runs, now_us = call.of("_running"), call.of("now_us")
    speed, stands = rate(call, "_rotation.", now_us)
    pulse = call.of("_pulse_mm_per_s")
    misses = both(less(call.of("_stoppable_mm_per_s"), pulse), less(multiply(speed, 2), pulse))
    ends = both(stands, less(STILL_US, since_us(now_us, call.of("_last_us"))))
    kept = {
        name: call.of(name)
        for name in (
            "speed_mm_per_s",
            "overdue",
            "steady",
            "_running",
            "_pulse_mm_per_s",
            "_period_us",
            "late_mm_per_s",
        )
    }
    values = {
        "speed_mm_per_s": speed,
        "overdue": either(misses, kept["overdue"]),
        "steady": every(kept["steady"], negate(misses), negate(ends)),
        "_running": negate(ends),
        "_pulse_mm_per_s": choose(ends, 0, pulse),
        "_period_us": choose(ends, 0, kept["_period_us"]),
        "late_mm_per_s": choose(ends, call.of("_late_unseen_mm_per_s"), kept["late_mm_per_s"]),
    }
    claims = becomes(call, **{name: choose(runs, value, kept[name]) for name, value in values.items()})
    standing = choose(runs, stands, call.of("_rotation.standing"))
    return [*claims, *becomes(call, **{"_rotation.standing": standing})]


def _restamp(call: Call) -> Claims:
    return becomes(call, **{"_last_us": call.of("now_us"), "_rotation._last_us": call.of("now_us")})


EXACT_WHEEL = (
    exact("Rotation.rate", MODULE, {"now_us": STAMP}, ("standing",), _rate),
    exact("Rotation.stand", MODULE, {}, ("standing",), lambda call: becomes(call, standing=True)),
    exact("Wheel.begin_step", MODULE, {}, ("pulsed",), lambda call: becomes(call, pulsed=False)),
    exact(
        "Wheel.edge",
        MODULE,
        {"level": (0, 1), "time_us": STAMP},
        (
            "_last_us", "_period_us", "_pulse_mm_per_s", "_running", "late_mm_per_s", "overdue", "pulsed",
            "steady",
            *ROTATION,
        ),
        _edge,
    ),
    exact(
        "Wheel.settle",
        MODULE,
        {"now_us": STAMP},
        (
            "_period_us", "_pulse_mm_per_s", "_running", "late_mm_per_s", "overdue", "speed_mm_per_s",
            "steady", "_rotation.standing",
        ),
        _settle,
    ),
    exact("Wheel.restamp", MODULE, {"now_us": STAMP}, ("_last_us", "_rotation._last_us"), _restamp),
)  # fmt: skip
