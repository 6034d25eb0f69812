"""What every step keeps, by component: assumed before a step, shown after it and of the constructor.

Each function takes a `State` and yields a sentence and a truth. Together with the ranges in `ranges.py` this
is all that is known of what was remembered. Stamps are offsets from the last step.
"""

from collections.abc import Iterator
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.ranges import RANGES, SPEED_MAX_MM_PER_S, STAMP
from host_sim.proof.whole.terms import at_least, at_most, both, either, equal, every, implies, less, negate

Clause = tuple[str, Any]


class State:
    """What the controller remembers at one time: `of` a path gives a term, of a stamp its offset."""

    def __init__(self, situation: Any, origin_us: Any = 0, wraps: bool = False) -> None:
        """Look at a situation as it is now; with `wraps` a stamp that lies ahead counts as an old one."""
        self.situation = situation
        self.store = dict(situation.interpreter.store)
        self.origin_us = origin_us
        self.wraps = wraps

    def of(self, path: str) -> Any:
        """Return a field by its path."""
        found = self.store[self.situation.keys[path]]
        if RANGES.get(path) == STAMP and isinstance(found, int):
            # A constructor that writes 0 for a time: it may lie anywhere.
            return terms.integer(f"any time for {path}", -(1 << 30) + 1, 0)
        if not hasattr(found, "offset"):
            return found
        offset_us = terms.subtract(found.offset, self.origin_us)
        if self.wraps:
            ahead = terms.more(offset_us, 5_000)
            return terms.choose(ahead, terms.subtract(offset_us, 1 << 30), offset_us)
        return offset_us

    def setting(self, name: str) -> Any:
        """Return a setting."""
        return self.situation.setting(name)


def not_older(now: State, path: str, age_us: Any) -> Any:
    """Tell whether a stamp lies at most so long before the last step."""
    return at_least(now.of(path), terms.subtract(0, age_us))


def of_crank(now: State) -> Iterator[Clause]:
    """Runs, standstill, what is pending."""
    standing = now.of("crank.standing")
    yield (
        "a crank that does not stand gave an edge within its standstill time",
        either(standing, not_older(now, "crank._last_edge_us", now.of("crank._standstill_us"))),
    )
    yield (
        "a standing crank has no run, no pitch and no debt",
        implies(
            standing,
            every(
                *(
                    equal(now.of(f"crank.{one}"), 0)
                    for one in ("forward_run", "backward_run", "pitch_us", "_behind")
                )
            ),
        ),
    )
    yield "a standing crank has seen no rise", implies(standing, negate(now.of("crank._rise_seen")))
    yield (
        "a crank never runs both ways",
        either(equal(now.of("crank.forward_run"), 0), equal(now.of("crank.backward_run"), 0)),
    )
    yield (
        "what is pending came within the glitch time",
        implies(now.of("crank._pending"), not_older(now, "crank._pending_us", now.of("crank._glitch_us"))),
    )
    yield (
        "what is pending came after the last edge",
        implies(
            now.of("crank._pending"), at_least(now.of("crank._pending_us"), now.of("crank._last_edge_us"))
        ),
    )
    unknown = negate(now.of("crank._started"))
    other = negate(equal(now.of("crank._pending_levels"), now.of("crank.levels")))
    yield "what is pending is a change", implies(now.of("crank._pending"), either(unknown, other))
    yield "who has seen a rise knows the levels", either(negate(now.of("crank._rise_seen")), negate(unknown))
    kind = now.situation.kind
    if kind == 0:
        levels = now.of("crank.levels")
        position = terms.bitwise("^", levels, terms.bits((terms.bits_of(levels) or ())[1:]))
        yield "the last position is that of the levels", equal(now.of("crank._last_position"), position)
    else:
        yield "one wire never tells of one side alone", equal(now.of("crank.one_sided_run"), 0)
        if kind == 2:
            yield from _duty_coded(now)
        if kind == 1:
            yield "one channel never runs backward", equal(now.of("crank.backward_run"), 0)


def _duty_coded(now: State) -> Iterator[Clause]:
    """A pitch that is half seen."""
    seen = now.of("crank._rise_seen")
    high = equal(now.of("crank.levels"), 1)
    last_us, fall_us, rise_us = (now.of(f"crank.{one}") for one in ("_last_edge_us", "_fall_us", "_rise_us"))
    yield (
        "a rise that is seen is the last edge while the level is high",
        implies(both(seen, high), equal(rise_us, last_us)),
    )
    yield (
        "a fall after it is the last edge while the level is low",
        implies(both(seen, negate(high)), equal(fall_us, last_us)),
    )
    since_us = terms.subtract(fall_us, rise_us)
    yield (
        "and came within a gap and a standstill",
        implies(both(seen, negate(high)), both(at_least(since_us, 0), at_most(since_us, 70_000_000))),
    )


def of_wheel(now: State) -> Iterator[Clause]:
    """Standstills are latched before a stamp could wrap."""
    yield (
        "a wheel that turns gave a period within its standstill time",
        either(now.of("wheel._rotation.standing"), not_older(now, "wheel._rotation._last_us", 3_000_000)),
    )
    yield (
        "a wheel whose pulses run gave one within its standstill time",
        implies(
            both(now.of("wheel._running"), now.of("wheel._rotation.standing")),
            not_older(now, "wheel._last_us", 3_000_000),
        ),
    )
    yield (
        "a wheel that turns is one whose pulses run",
        either(now.of("wheel._rotation.standing"), now.of("wheel._running")),
    )
    yield (
        "the last pulse is that of the last period",
        either(
            now.of("wheel._rotation.standing"),
            equal(now.of("wheel._last_us"), now.of("wheel._rotation._last_us")),
        ),
    )
    tens = terms.divide(now.of("wheel._rotation._period_us"), 10)
    yield (
        "a measured period is no shorter than any wheel's",
        either(
            now.of("wheel._rotation.standing"),
            at_most(now.of("wheel._rotation._scale"), terms.multiply(tens, SPEED_MAX_MM_PER_S)),
        ),
    )
    yield (
        "the speed is late by no more than two pulses from a standstill",
        at_most(now.of("wheel.late_mm_per_s"), now.of("wheel._late_unseen_mm_per_s")),
    )


def of_pedalling(now: State) -> Iterator[Clause]:
    """The stop is latched before the stamp of the last progress could wrap."""
    yield (
        "who has not stopped made progress within the release gap",
        either(
            now.of("pedalling.stopped"),
            not_older(now, "crank.last_forward_us", now.of("pedalling._release_gap_us")),
        ),
    )
    yield (
        "a cadence that is known is within its standstill time",
        either(
            now.of("pedalling._cadence.standing"),
            not_older(now, "pedalling._cadence._last_us", now.of("pedalling._cadence._still_us")),
        ),
    )
    yield (
        "a period of the cadence is no shorter than any pitch",
        either(
            now.of("pedalling._cadence.standing"),
            at_least(now.of("pedalling._cadence._period_us"), now.of("crank._shortest_pitch_us")),
        ),
    )
    yield (
        "a pitch is none, or no shorter than any legs give",
        either(
            equal(now.of("crank.pitch_us"), 0),
            at_least(now.of("crank.pitch_us"), now.of("crank._shortest_pitch_us")),
        ),
    )


def of_guard(now: State) -> Iterator[Clause]:
    """What the gate has seen is forgotten before a stamp could wrap."""
    longest_us = now.of("guard._longest_us")
    yield (
        "a turning crank made progress within the longest gap",
        implies(now.of("guard._turning"), not_older(now, "guard._forward_us", longest_us)),
    )
    unfinished = terms.some(
        negate(equal(now.of("guard._behind"), 0)), now.of("guard._rise_seen"), now.of("guard._fall_seen")
    )
    yield (
        "a pitch half seen is within the longest gap",
        implies(unfinished, not_older(now, "guard._edge_us", longest_us)),
    )
    yield (
        "a wheel that was seen gave a pulse within its standstill time",
        implies(now.of("guard._wheel_seen"), not_older(now, "guard._wheel_us", 3_000_000)),
    )
    yield "the gate looked at the last step", equal(now.of("guard._now_us"), now.of("_last_us"))


def of_faults(now: State) -> Iterator[Clause]:
    """Counts stay below what latches."""
    yield (
        "noise is counted up to its limit",
        at_most(now.of("faults._noise_level"), now.setting("noise_limit")),
    )
    yield "noise is forgiven in time", less(now.of("faults._noise_steps"), 20)
    yield (
        "missing pulses are counted up to their limit",
        at_most(now.of("faults._unpulsed_samples"), now.of("faults._wheel_lost_samples")),
    )


def of_plausibility(now: State) -> Iterator[Clause]:
    """Counts of suspicions."""
    yield (
        "a silent motor is counted more narrowly",
        implies(
            equal(now.of("plausibility._contradiction"), 1), less(now.of("plausibility._lasting_steps"), 40)
        ),
    )
    yield (
        "help is withheld as long as it is counted",
        terms.same(now.of("plausibility.withheld"), less(0, now.of("plausibility._withheld_steps"))),
    )
    slow = equal(now.of("plausibility._suspected"), 3)
    yield (
        "as many suspicions as make a fault are one",
        either(
            less(now.of("plausibility._suspicions"), terms.choose(slow, 3, 2)),
            less(0, now.of("faults.cause")),
        ),
    )
    yield (
        "of a motor that is not known there is none",
        either(now.of("motor_model.known"), equal(now.of("plausibility._suspicions"), 0)),
    )


def of_drive(now: State) -> Iterator[Clause]:
    """Command, integral and target stay in the motor controller's range."""
    highest_mv = now.setting("command_max_mv")
    for path in (
        "outputs.command_mv",
        "slew_limiter.command_mv",
        "power_loop.target_mv",
        "feed_forward.seek_mv",
    ):
        yield f"{path} is at most the highest command", at_most(now.of(path), highest_mv)
    yield (
        "the slew limiter goes on from what was put out",
        equal(now.of("slew_limiter.command_mv"), now.of("outputs.command_mv")),
    )
    for path in ("power_loop._integral_uv", "power_loop._target_uv"):
        yield (
            f"{path} is at most the range of the command",
            at_most(now.of(path), now.of("power_loop._range_uv")),
        )
    yield (
        "the rest of the integral is less than its divisor",
        less(now.of("power_loop._carry"), now.of("power_loop._integral_units")),
    )
    yield (
        "the target is that of its microvolts",
        either(
            equal(now.of("power_loop.target_mv"), 0),
            equal(
                now.of("power_loop.target_mv"),
                terms.add(
                    now.of("power_loop._start_mv"), terms.divide(now.of("power_loop._target_uv"), 1000)
                ),
            ),
        ),
    )
    yield (
        "the slew limiter's time is that of the last step",
        equal(now.of("slew_limiter._last_us"), now.of("_last_us")),
    )
    yield (
        "the seek rate is at most the one that is set",
        at_most(now.of("feed_forward.rise_mv_per_s"), now.setting("seek_mv_per_s")),
    )
    yield (
        "it seeks on a motor of the speed kind with a shunt only",
        implies(
            less(0, now.of("feed_forward.seek_mv")),
            both(equal(now.setting("motor_kind"), 2), equal(now.setting("shunt_fitted"), 1)),
        ),
    )


def of_sensing(now: State) -> Iterator[Clause]:
    """Levers, supply and motor."""
    yield (
        "an open throttle is one that is fitted and was at rest",
        implies(
            less(0, now.of("throttle.share_permille")),
            both(now.of("throttle.rest_seen"), equal(now.setting("throttle_fitted"), 1)),
        ),
    )
    yield (
        "a position of the selector is one that it has",
        either(
            equal(now.of("selector.position"), 0),
            less(now.of("selector.position"), now.setting("selector_positions")),
        ),
    )
    yield (
        "the winding's current is at most its limit",
        at_most(now.of("motor_model.current_ma"), now.setting("motor_current_limit_ma")),
    )
    yield (
        "and so is the one of the ceiling",
        at_most(now.of("motor_model._ceiling_ma"), now.setting("motor_current_limit_ma")),
    )
    yield (
        "what was learned is what is used",
        equal(now.of("motor_model.learned_permille"), terms.divide(now.of("motor_model._learned"), 512)),
    )


def of_decisions(now: State) -> Iterator[Clause]:
    """What the outputs say is what was decided."""
    yield (
        "a motor that drives has a command",
        terms.same(now.of("outputs.drive_enabled"), less(0, now.of("outputs.command_mv"))),
    )
    yield (
        "the fault that is shown is the one that is latched",
        equal(now.of("outputs.fault_cause"), now.of("faults.cause")),
    )
    yield (
        "with a latched fault the state is the fault's",
        implies(less(0, now.of("faults.cause")), equal(now.of("engagement.state"), 5)),
    )
    drives = either(equal(now.of("engagement.state"), 2), equal(now.of("engagement.state"), 3))
    yield "what commands is a state that drives", implies(less(0, now.of("outputs.command_mv")), drives)
    yield (
        "what commands has a ceiling",
        implies(less(0, now.of("outputs.command_mv")), less(0, now.of("ceilings.ceiling_w"))),
    )


COMPONENTS = {
    "crank": of_crank,
    "wheel": of_wheel,
    "pedalling": of_pedalling,
    "guard": of_guard,
    "faults": of_faults,
    "plausibility": of_plausibility,
    "drive": of_drive,
    "sensing": of_sensing,
    "decisions": of_decisions,
}


def invariant(now: State) -> list[Clause]:
    """Return every clause of every component, with the component's name before its sentence."""
    return [(f"{name}: {what}", claim) for name, of in COMPONENTS.items() for what, claim in of(now)]
