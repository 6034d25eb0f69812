"""Statements about one edge, of the crank and the gate each alone: one would hide a mistake of the other."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.alone import AloneRun
from host_sim.proof.whole.statement import Said, Statement
from host_sim.proof.whole.terms import (
    add,
    at_least,
    at_most,
    both,
    either,
    equal,
    every,
    less,
    multiply,
    negate,
    subtract,
)


def edge_two_channels(run: AloneRun) -> list[Said]:
    """An accepted edge of a two-channel ring, from the setting `lead`."""
    before, after = run.before, run.after
    moved = run.moved("crank.levels", run.levels)
    forward = equal(moved, terms.choose(equal(run.setting("lead"), 1), 3, 1))
    back = equal(moved, terms.choose(equal(run.setting("lead"), 1), 1, 3))
    started = before.of("crank._started")
    more = terms.minimum(add(before.of("crank.backward_run"), 1), 1000)
    gained = both(after.of("crank.ground_gained"), negate(before.of("crank.ground_gained")))
    return [
        (
            "an edge against the lead lengthens the backward run",
            both(started, back),
            equal(after.of("crank.backward_run"), more),
        ),
        ("and ends the forward run", both(started, back), equal(after.of("crank.forward_run"), 0)),
        ("only an edge along the lead gains ground", gained, both(started, forward)),
        (
            "the first edge along the lead with nothing to make up gains ground",
            every(
                started,
                forward,
                less(before.of("crank.forward_run"), 4),
                equal(before.of("crank._behind"), 0),
            ),
            after.of("crank.ground_gained"),
        ),
    ]


def edge_duty(run: AloneRun) -> list[Said]:
    """A rising edge of a duty-coded ring that ends a pitch of clear direction."""
    before, after = run.before, run.after
    high_us = subtract(before.of("crank._fall_us"), before.of("crank._rise_us"))
    pitch_us = subtract(run.time_us, before.of("crank._rise_us"))
    excess_us = subtract(multiply(high_us, 2), pitch_us)
    larger = less(0, excess_us)
    forward = terms.same(larger, equal(run.setting("forward_duty_high"), 1))
    rising = every(equal(run.levels, 1), before.of("crank._rise_seen"), less(0, high_us), less(0, pitch_us))
    gained = both(after.of("crank.ground_gained"), negate(before.of("crank.ground_gained")))
    recent = both(at_most(pitch_us, 1 << 28), at_most(high_us, pitch_us))
    return [
        (
            "a pitch whose larger share is the backward one gains no ground",
            every(rising, recent, negate(forward)),
            negate(gained),
        ),
        (
            "nor does it leave a forward run",
            every(rising, recent, negate(forward)),
            equal(after.of("crank.forward_run"), 0),
        ),
        ("a falling edge gains no ground", equal(run.levels, 0), negate(gained)),
    ]


def _progress(run: AloneRun) -> Any:
    """Tell whether the gate took an edge for progress of the crank."""
    moved = negate(equal(run.after.of("guard._forward_us"), run.before.of("guard._forward_us")))
    begun = both(run.after.of("guard._turning"), negate(run.before.of("guard._turning")))
    return terms.either(moved, begun)


def _progresses(run: AloneRun) -> Any:
    """Tell whether the gate takes the crank to turn, from the edge on."""
    return both(run.after.of("guard._turning"), equal(run.after.of("guard._forward_us"), run.time_us))


def guard_two_channels(run: AloneRun) -> list[Said]:
    """An edge as the gate sees it, two channels."""
    before, after = run.before, run.after
    moved = run.moved("guard._levels", run.levels)
    back = equal(moved, terms.choose(equal(run.setting("lead"), 1), 1, 3))
    forward = equal(moved, terms.choose(equal(run.setting("lead"), 1), 3, 1))
    turned, owed = _progress(run), before.of("guard._behind")
    return [
        (
            "an edge against the lead is a debt",
            back,
            equal(after.of("guard._behind"), terms.minimum(add(before.of("guard._behind"), 1), 4)),
        ),
        ("and lets no crank turn", negate(forward), negate(turned)),
        (
            "an edge along the lead makes up for one",
            forward,
            equal(after.of("guard._behind"), terms.maximum(subtract(before.of("guard._behind"), 1), 0)),
        ),
        ("and is progress where nothing is owed", both(forward, equal(owed, 0)), _progresses(run)),
        (
            "a double change is neither",
            negate(either(forward, back)),
            equal(after.of("guard._behind"), before.of("guard._behind")),
        ),
    ]


def guard_duty(run: AloneRun) -> list[Said]:
    """A rising edge as the gate sees it, duty-coded."""
    before = run.before
    level = terms.choose(equal(run.setting("lead"), 1), run.bit(1), run.bit(0))
    high_us = subtract(before.of("guard._fall_us"), before.of("guard._rise_us"))
    low_us = subtract(run.time_us, before.of("guard._fall_us"))
    forward = terms.same(less(low_us, high_us), equal(run.setting("forward_duty_high"), 1))
    turned, seen = _progress(run), before.of("guard._rise_seen")
    recent = every(less(0, high_us), less(0, low_us), at_most(high_us, 1 << 28), at_most(low_us, 1 << 28))
    pitch_us, difference_us = add(high_us, low_us), terms.absolute(subtract(high_us, low_us))
    quarter_us = terms.divide(pitch_us, 4)
    clear = both(
        less(terms.divide(pitch_us, 8), difference_us), less(difference_us, subtract(pitch_us, quarter_us))
    )
    return [
        (
            "a pitch whose larger share is the backward one lets no crank turn",
            every(recent, level, negate(forward)),
            negate(turned),
        ),
        ("nor does a falling edge", negate(level), negate(turned)),
        (
            "a pitch of a clear share forward is progress where nothing is owed",
            every(recent, level, seen, forward, clear, equal(before.of("guard._behind"), 0)),
            _progresses(run),
        ),
        (
            "one of a clear share backward is a debt of two edges",
            every(recent, level, seen, negate(forward), clear),
            equal(run.after.of("guard._behind"), terms.minimum(add(before.of("guard._behind"), 2), 4)),
        ),
    ]


def guard_one_channel(run: AloneRun) -> list[Said]:
    """An edge as the gate sees it, one channel: a pulse of under an eighth of a pitch is no magnet."""
    before = run.before
    level = terms.choose(equal(run.setting("lead"), 1), run.bit(1), run.bit(0))
    rise_us, fall_us = before.of("guard._rise_us"), before.of("guard._fall_us")
    pulse_us = subtract(run.time_us, terms.choose(level, fall_us, rise_us))
    pitch_us = subtract(run.time_us, terms.choose(level, rise_us, fall_us))
    seen = both(before.of("guard._rise_seen"), before.of("guard._fall_seen"))
    recent = every(at_least(pulse_us, 0), at_most(pitch_us, 1 << 28), at_most(pulse_us, pitch_us))
    eighth_us = terms.divide(pitch_us, 8)
    between = both(at_most(eighth_us, pulse_us), at_most(pulse_us, subtract(pitch_us, eighth_us)))
    return [
        ("an edge lets no crank turn before a pitch was seen", negate(seen), negate(_progress(run))),
        (
            "nor one that ends a pulse that is no magnet's",
            both(recent, negate(between)),
            negate(_progress(run)),
        ),
    ]


def guard_wheel(run: AloneRun) -> list[Said]:
    """A wheel edge as the gate sees it."""
    before, after = run.before, run.after
    period_us = subtract(run.time_us, before.of("guard._wheel_us"))
    pulsed = both(before.of("guard._wheel_seen"), run.bit(0))
    short = less(period_us, terms.divide(after.of("guard._cutoff_period_us"), 4))
    return [
        (
            "a pulse after a possible period is the wheel's period",
            every(pulsed, at_least(period_us, 0), negate(short)),
            both(
                equal(after.of("guard._wheel_period_us"), period_us),
                equal(after.of("guard._wheel_us"), run.time_us),
            ),
        ),
        (
            "a pulse four times too quick changes nothing",
            every(pulsed, at_least(period_us, 0), short),
            equal(after.of("guard._wheel_period_us"), before.of("guard._wheel_period_us")),
        ),
    ]


def wheel_edge(run: AloneRun) -> list[Said]:
    """A wheel edge as the sensing part sees it."""
    before, after = run.before, run.after
    waited = before.of("wheel.overdue")
    return [
        (
            "what is overdue ends with a pulse only",
            both(waited, negate(after.of("wheel.overdue"))),
            run.bit(0),
        ),
        (
            "and with none that comes sooner than any wheel's",
            both(waited, negate(after.of("wheel.overdue"))),
            after.of("wheel.pulsed"),
        ),
    ]


EDGE_STATEMENTS = (
    Statement(
        "edge two channels",
        "an edge's direction follows from its levels and the setting `lead`",
        edge_two_channels,
        (0,),
        alone=("crank", "_accept"),
    ),
    Statement(
        "edge duty",
        "a pitch's direction follows from its high share and the setting `forward_duty_high`",
        edge_duty,
        (2,),
        alone=("crank", "_accept"),
    ),
    Statement(
        "gate two channels",
        "the gate tells an edge's direction by itself",
        guard_two_channels,
        (0,),
        alone=("guard", "crank_edge"),
    ),
    Statement(
        "gate duty",
        "the gate tells a pitch's direction by itself",
        guard_duty,
        (2,),
        alone=("guard", "crank_edge"),
    ),
    Statement(
        "gate one channel",
        "the gate takes no pulse for a magnet's that is too short or too long for its pitch",
        guard_one_channel,
        (1,),
        alone=("guard", "crank_edge"),
    ),
    Statement(
        "gate wheel",
        "the gate measures the wheel's period by itself",
        guard_wheel,
        (0,),
        alone=("guard", "wheel_edge"),
    ),
    Statement("edge wheel", "only a pulse ends an overdue one", wheel_edge, (0,), alone=("wheel", "edge")),
)
