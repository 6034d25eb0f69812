"""Lemmas about time and the crank: ticks, the standstill of a crank, and how fast something turns."""

from firmware.sense.crank import BEHIND_MAX, PITCH_MAX_US, RUN_MAX, Crank
from firmware.sense.rotation import Rotation
from firmware.settings import TWO_CHANNELS, Settings
from firmware.ticks import TICKS_MAX_US, ticks_add_us, ticks_diff_us
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers

PERIOD_US = TICKS_MAX_US + 1


# What the constructor can derive from legal settings; `derived_numbers` shows it for all of them.
SHORTEST_PITCH_US = (3_750, 60_000)


STANDSTILL_US = (515_889, 4_250_000)


EDGE_GAP_MAX_US = 5_000_000  # Between two edges of a moving crank: its standstill time and one step.


def ticks(ex: Numbers) -> None:
    """Any two times."""
    later_us = ex.integer("later", 0, TICKS_MAX_US)
    earlier_us = ex.integer("earlier", 0, TICKS_MAX_US)
    difference_us = ticks_diff_us(later_us, earlier_us)
    ex.check(difference_us >= -(1 << 29), "a difference is not below -2**29")
    ex.check(difference_us < (1 << 29), "a difference is below 2**29")
    wrapped = (ex.wide(later_us) - earlier_us - difference_us) % PERIOD_US
    ex.check(wrapped == 0, "a difference is the true one but for whole periods")
    ex.outcome(difference=difference_us)


def ticks_forward(ex: Numbers) -> None:
    """Any time and any span up to half the period."""
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    span_us = ex.integer("span", 0, (1 << 29) - 1)
    later_us = ticks_add_us(time_us, span_us)
    ex.check(later_us >= 0, "a time is not negative")
    ex.check(later_us <= TICKS_MAX_US, "a time stays below the period")
    ex.check(
        ticks_diff_us(later_us, time_us) == span_us, "what was added is what is measured, across the wrap"
    )
    ex.outcome(later=later_us)


def any_crank(ex: Numbers, kind: int) -> Crank:
    """Return a crank in any state that its invariant allows."""
    crank = Crank(Settings({"sensor_kind": kind}), 0)
    inner = Inside(crank)
    inner.shortest_pitch_us = ex.integer("shortest", SHORTEST_PITCH_US[0], SHORTEST_PITCH_US[1])
    inner.glitch_us = ex.integer("glitch", SHORTEST_PITCH_US[0] // 16, SHORTEST_PITCH_US[1] // 16)
    inner.standstill_us = ex.integer("standstill", STANDSTILL_US[0], STANDSTILL_US[1])
    if kind == TWO_CHANNELS:
        inner.backward_step = 1 if ex.boolean("b_leads") else 3
        crank.levels = ex.integer("levels", 0, 3)
        inner.last_position = ex.integer("position", 0, 3)
    else:
        crank.levels = ex.integer("levels", 0, 1)
    inner.started = ex.boolean("started")
    crank.standing = ex.boolean("standing")
    inner.behind = ex.integer("behind", 0, BEHIND_MAX)
    crank.forward_run = ex.integer("forward_run", 0, RUN_MAX)
    crank.backward_run = ex.integer("backward_run", 0, RUN_MAX)
    crank.rejected = ex.integer("rejected", 0, 0xFFFF)
    return crank


def check_crank(ex: Numbers, crank: Crank) -> None:
    """Check the invariant of a crank."""
    ex.check(Inside(crank).behind >= 0, "the debt of edges is not negative")
    ex.check(Inside(crank).behind <= BEHIND_MAX, "the debt of edges is bounded")
    ex.check(crank.forward_run >= 0, "a run is not negative")
    ex.check(crank.forward_run <= RUN_MAX, "a forward run is bounded")
    ex.check(crank.backward_run <= RUN_MAX, "a backward run is bounded")
    ex.check(crank.pitch_us <= PITCH_MAX_US, "a pitch is bounded")
    ex.check(crank.rejected <= 0xFFFF, "the count of rejected edges wraps")
    both = crank.forward_run > 0 and crank.backward_run > 0
    ex.check(not both, "a crank never runs both ways")


def one_way(ex: Numbers, crank: Crank) -> None:
    """A crank never has runs in both directions: part of its invariant."""
    if crank.forward_run > 0:
        ex.assume(crank.backward_run == 0)


def crank_standstill(ex: Numbers) -> None:
    """Any quiet crank, checked after any gap up to the longest permitted one."""
    _quiet_crank(ex, LONGEST_STEP_GAP_US)


def crank_standstill_too_late(ex: Numbers) -> None:
    """The same with a gap one microsecond longer: this must fail, or the bound would not be exact."""
    _quiet_crank(ex, LONGEST_STEP_GAP_US + 1)


def _quiet_crank(ex: Numbers, longest_gap_us: int) -> None:
    crank = any_crank(ex, TWO_CHANNELS)
    inner = Inside(crank)
    one_way(ex, crank)
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    quiet_us = ex.integer("quiet", 0, STANDSTILL_US[1])
    gap_us = ex.integer("step_gap", 0, longest_gap_us)
    inner.last_edge_us = last_us
    standing = crank.standing
    if not standing:
        ex.assume(quiet_us <= inner.standstill_us)
    forward_run, backward_run = crank.forward_run, crank.backward_run
    if standing:
        ex.assume(forward_run == 0)
        ex.assume(backward_run == 0)
    # The gap in two halves: the whole may exceed the range of ticks_add_us.
    half_us = gap_us // 2
    now_us = ticks_add_us(ticks_add_us(last_us, quiet_us), half_us)
    crank.settle(ticks_add_us(now_us, gap_us - half_us))
    check_crank(ex, crank)
    if standing:
        ex.check(crank.standing, "only an edge ends a standstill")
    elif ex.wide(quiet_us) + gap_us > inner.standstill_us:
        ex.check(crank.standing, "a crank that has been quiet too long stands")
        ex.check(crank.forward_run == 0, "a standing crank has no run")
    else:
        ex.check(not crank.standing, "a crank is not taken to stand before its time")
        ex.check(crank.forward_run == forward_run, "looking changes no run")
    ex.outcome(standing=crank.standing, forward=crank.forward_run)


# The longest permitted gap between two steps: half the clock's period less the longest standstill time.
LONGEST_STEP_GAP_US = (1 << 29) - 1 - STANDSTILL_US[1]


def rotation(ex: Numbers) -> None:
    """Any rate, any time since the last period."""
    turning = Rotation(ex.integer("scale", 1, 300_000_000), ex.integer("still", 10, 4_000_000))
    inner = Inside(turning)
    turning.standing = ex.boolean("standing")
    inner.period_us = ex.integer("period", 10, 4_000_000)
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    inner.last_us = last_us
    waited_us = ex.integer("waited", 0, (1 << 29) - 1)
    was_standing = turning.standing
    rate = turning.rate(ticks_add_us(last_us, waited_us))
    ex.check(rate >= 0, "a rate is not negative")
    if was_standing or waited_us > inner.still_us:
        ex.check(rate == 0, "what stands or has waited too long has no rate")
        ex.check(turning.standing, "and the standstill is latched")
    ex.outcome(rate=rate)
