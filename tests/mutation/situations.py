"""States and calls in which a changed method is compared with the plain one."""

from typing import Any

from firmware import integers
from firmware.drive.slew_limiter import RATE_MAX_MV_PER_S, SlewLimiter
from firmware.records import Inputs
from firmware.sense.rotation import Rotation
from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from firmware.ticks import TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import COMMAND_MAX_MV, SPEED_MAX_MM_PER_S
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_sense import EDGE_GAP_MAX_US, PERIOD_US, any_crank
from tests.mutation.equivalence import Situation
from tests.paths.decide import any_pedalling
from tests.paths.guard import any_guard

Called = tuple[Any, str, tuple[Any, ...]]


def _ago(ex: Any, time_us: Any, name: str, longest_us: int) -> Any:
    """Return any time up to `longest_us` before `time_us`."""
    return ticks_add_us(time_us, PERIOD_US - 1 - ex.integer(name, 0, longest_us))


def _duty_coded_accept(ex: Any) -> Called:
    """The rest of an edge: what `edge` and `settle` have in common."""
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    crank = any_crank(ex, DUTY_CODED)
    inner = Inside(crank)
    inner.forward_duty_high = ex.boolean("high_is_forward")
    inner.rise_seen = ex.boolean("rise_seen")
    inner.rise_us = _ago(ex, time_us, "rise_age", 2 * EDGE_GAP_MAX_US)
    inner.fall_us = _ago(ex, time_us, "fall_age", 3 * EDGE_GAP_MAX_US)
    return crank, "_accept", (1 - crank.levels, time_us)


def _guard_edge(kind: int) -> Situation:
    def situation(ex: Any) -> Called:
        guard = any_guard(ex, kind)
        inner = Inside(guard)
        if kind == ONE_CHANNEL:
            inner.behind = 0  # One channel never goes backward, so it never owes an edge.
        time_us = ex.integer("time", 0, TICKS_MAX_US)
        inner.rise_seen = ex.boolean("rise_seen")
        inner.fall_seen = ex.boolean("fall_seen")
        inner.rise_us = _ago(ex, time_us, "rise_age", 2 * EDGE_GAP_MAX_US)
        inner.fall_us = _ago(ex, time_us, "fall_age", 3 * EDGE_GAP_MAX_US)
        return guard, "crank_edge", (ex.integer("after", 0, 3), time_us)

    return situation


def _guard_of_nothing(ex: Any) -> Called:
    """A permission asked for a command of 0, at any time; whatever is forgotten on the way agrees."""
    guard = any_guard(ex, TWO_CHANNELS)
    inner = Inside(guard)
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    inner.turning = False
    inner.wheel_seen = False
    inner.edge_us = now_us
    inputs = Inputs()
    inputs.brake_pulled = ex.boolean("brake")
    inputs.throttle_mv = ex.integer("throttle", 0, 5000)
    inputs.sampled_us = ex.integer("sampled", 0, TICKS_MAX_US)
    return guard, "permit", (0, inputs, now_us)


def _stop_gap(ex: Any) -> Called:
    legs = any_pedalling(ex)
    # No shorter pitch is ever measured: 60 s / (64 pulses * 250 rpm).
    pitch_us = ex.integer("pitch", 0, 4_000_000)
    ex.assume(pitch_us == 0 or pitch_us >= 3_750)
    return legs, "_stop_gap_us", (pitch_us, ex.integer("speed", 0, SPEED_MAX_MM_PER_S))


def _line(name: str) -> Situation:
    def situation(ex: Any) -> Called:
        start, end = ex.integer("start", -500, 100_000), ex.integer("end", -500, 1_000_000)
        ex.assume(start < end)
        return integers, name, (ex.integer("value", -(1 << 19), 1 << 20), start, end)

    return situation


def _clamp(ex: Any) -> Called:
    span = 1 << 20
    numbers = [ex.integer(name, -span, span) for name in ("value", "lowest", "highest")]
    ex.assume(numbers[1] <= numbers[2])
    return integers, "clamp", tuple(numbers)


def _slew(ex: Any) -> Called:
    limiter = SlewLimiter(1, 1, 0)
    inner = Inside(limiter)
    inner.rise_mv_per_s = ex.integer("rise", 1, RATE_MAX_MV_PER_S)
    inner.fall_mv_per_s = ex.integer("fall", 1, RATE_MAX_MV_PER_S)
    limiter.command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    inner.carry_nv = ex.integer("carry", 0, 999_999)
    inner.last_us = ex.integer("last", 0, TICKS_MAX_US)
    return limiter, "step", (ex.integer("target", 0, COMMAND_MAX_MV), ex.integer("now", 0, TICKS_MAX_US))


def _rate(ex: Any) -> Called:
    rotation = Rotation(ex.integer("scale", 1, 300_000_000), ex.integer("still", 10, 4_000_000))
    rotation.standing = ex.boolean("standing")
    Inside(rotation).period_us = ex.integer("period", 10, 4_000_000)
    Inside(rotation).last_us = ex.integer("last", 0, TICKS_MAX_US)
    return rotation, "rate", (ex.integer("now", 0, TICKS_MAX_US),)


SITUATIONS: dict[str, tuple[Situation, ...]] = {
    "duty-coded edge of a crank": (_duty_coded_accept,),
    "one-channel edge of the guard": (_guard_edge(ONE_CHANNEL),),
    "duty-coded edge of the guard": (_guard_edge(DUTY_CODED),),
    "a command of nothing": (_guard_of_nothing,),
    "stop gap": (_stop_gap,),
    "a rising line": (_line("rising_permille"),),
    "a fading line": (_line("fading_permille"),),
    "a clamp": (_clamp,),
    "a slewed step": (_slew,),
    "a rate": (_rate,),
}
