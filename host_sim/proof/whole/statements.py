"""What is said of the whole step, for all legal settings: each a premise and a claim over `Controller.step`.

Every statement is shown for each kind of sensor, from any state that the invariant allows, with one crank
edge and one wheel edge pending at raw times, or on one component by itself where `alone` names it.
"""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.alone import AloneRun
from host_sim.proof.whole.induction import LONGEST_GAP_US, Run
from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.terms import (
    add,
    at_least,
    at_most,
    both,
    either,
    equal,
    every,
    implies,
    less,
    multiply,
    negate,
    subtract,
)

FORWARD_US = (0, LONGEST_GAP_US)
BACK_US = (-(1 << 29) + 10_000_000, -1)
ALL_KINDS = (0, 1, 2)
ASSISTING = 2


class Statement:
    """`name`, `sentence`, `kinds`; `claims` of a run; `gaps_us`; `edges` pending; or `alone`."""

    def __init__(
        self,
        name: str,
        sentence: str,
        claims: Callable[[Any], list[Clause]],
        kinds: tuple[int, ...] = ALL_KINDS,
        gaps_us: tuple[int, int] = FORWARD_US,
        edges: int = 1,
        alone: tuple[str, str] | None = None,
    ) -> None:
        """Keep the parts."""
        self.name = name
        self.sentence = sentence
        self.claims = claims
        self.kinds = kinds
        self.gaps_us = gaps_us
        self.edges = edges
        self.alone = alone


def _output(run: Run) -> Any:
    return run.after.of("outputs.command_mv")


def _nothing_out(run: Run) -> Any:
    return both(equal(_output(run), 0), negate(run.after.of("outputs.drive_enabled")))


def _drives(run: Run, state: int) -> Any:
    return equal(run.after.of("engagement.state"), state)


def cut(run: Run) -> list[Clause]:
    """Fault, brake, expired inputs."""
    age_us = subtract(run.now_us, run.sampled_us)
    recent = both(less(age_us, 1 << 29), at_most(-(1 << 29), age_us))
    return [
        (
            "a latched cause leaves no output in the same step",
            implies(less(0, run.after.of("faults.cause")), _nothing_out(run)),
        ),
        ("a pulled brake leaves no output", implies(run.inputs_of("brake_pulled"), _nothing_out(run))),
        (
            "inputs that are older than 50 ms, or lie ahead, leave no output",
            implies(both(recent, either(less(50_000, age_us), less(age_us, 0))), _nothing_out(run)),
        ),
    ]


def rise(run: Run) -> list[Clause]:
    """The rise of the output above the dead band."""
    before_mv, after_mv = run.before.of("outputs.command_mv"), _output(run)
    span_us = terms.minimum(run.now_us, 100_000)
    risen_nv = multiply(subtract(after_mv, before_mv), 1_000_000)
    rising = both(less(before_mv, after_mv), less(run.setting("command_start_mv"), after_mv))
    slow = add(multiply(run.setting("rise_mv_per_s"), span_us), 999_999)
    seeks = less(0, run.after.of("feed_forward.seek_mv"))
    return [
        (
            "above the dead band the output rises no faster than the rise rate, where it does not seek",
            implies(both(rising, negate(seeks)), at_most(risen_nv, slow)),
        ),
        (
            "the rate of the search is at most the one that is set",
            at_most(run.after.of("feed_forward.rise_mv_per_s"), run.setting("seek_mv_per_s")),
        ),
        (
            "it seeks on a motor of the speed kind with a shunt only",
            implies(seeks, both(equal(run.setting("motor_kind"), 2), equal(run.setting("shunt_fitted"), 1))),
        ),
    ]


def backward(run: Run) -> list[Clause]:
    """Backward edges end help."""
    enough = at_least(run.after.of("crank.backward_run"), run.setting("backward_edges"))
    return [("as many backward edges as are set leave no output", implies(enough, _nothing_out(run)))]


def stop(run: Run) -> list[Clause]:
    """The stop gap after the last ground."""
    return [
        (
            "where pedalling has stopped nothing assists",
            implies(run.after.of("pedalling.stopped"), negate(_drives(run, ASSISTING))),
        ),
        (
            "what assists has a cadence of the release cadence at least",
            implies(
                _drives(run, ASSISTING),
                at_least(run.after.of("pedalling.cadence_rpm"), run.setting("release_rpm")),
            ),
        ),
    ]


def cut_off(run: Run) -> list[Clause]:
    """Speed."""
    fast = at_least(run.after.of("wheel.speed_mm_per_s"), run.setting("cutoff_speed_mm_per_s"))
    return [("at and above the cut-off speed there is no output", implies(fast, _nothing_out(run)))]


def doubt(run: Run) -> list[Clause]:
    """Doubt and an impossible stop."""
    return [
        (
            "while help is withheld there is no output",
            implies(run.after.of("plausibility.withheld"), _nothing_out(run)),
        ),
        (
            "while a wheel pulse is overdue there is no output",
            implies(run.after.of("wheel.overdue"), _nothing_out(run)),
        ),
        (
            "an overdue pulse stays overdue until a pulse",
            implies(
                both(run.before.of("wheel.overdue"), negate(run.after.of("wheel.pulsed"))),
                run.after.of("wheel.overdue"),
            ),
        ),
    ]


def levers(run: Run) -> list[Clause]:
    """Shares of both levers, for a selector of any kind."""
    claims = []
    for lever in ("selector", "throttle"):
        share = run.after.of(f"{lever}.share_permille")
        within = both(at_least(share, 0), at_most(share, 1_000))
        claims.append((f"the share of the {lever} is from 0 to 1000 permille", within))
    return claims


def stall(run: Run) -> list[Clause]:
    """A step that comes too late."""
    return [
        (
            "after a gap of more than 50 ms the output begins from nothing",
            implies(less(50_000, run.now_us), _nothing_out(run)),
        )
    ]


def clock_back(run: Run) -> list[Clause]:
    """A time before that of the last step."""
    return [
        ("a time that goes back leaves no output", _nothing_out(run)),
        ("pedalling has stopped", run.after.of("pedalling.stopped")),
        ("the gate takes no crank to turn", negate(run.after.of("guard._turning"))),
        ("there is no run of edges", equal(run.after.of("crank.forward_run"), 0)),
    ]


def edge_two_channels(run: AloneRun) -> list[Clause]:
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
            implies(both(started, back), equal(after.of("crank.backward_run"), more)),
        ),
        ("and ends the forward run", implies(both(started, back), equal(after.of("crank.forward_run"), 0))),
        ("only an edge along the lead gains ground", implies(gained, both(started, forward))),
        (
            "the first edge along the lead with nothing to make up gains ground",
            implies(
                every(
                    started,
                    forward,
                    less(before.of("crank.forward_run"), 4),
                    equal(before.of("crank._behind"), 0),
                ),
                after.of("crank.ground_gained"),
            ),
        ),
    ]


def edge_duty(run: AloneRun) -> list[Clause]:
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
            implies(every(rising, recent, negate(forward)), negate(gained)),
        ),
        (
            "nor does it leave a forward run",
            implies(every(rising, recent, negate(forward)), equal(after.of("crank.forward_run"), 0)),
        ),
        ("a falling edge gains no ground", implies(equal(run.levels, 0), negate(gained))),
    ]


def guard_two_channels(run: AloneRun) -> list[Clause]:
    """An edge as the gate sees it, two channels."""
    before, after = run.before, run.after
    moved = run.moved("guard._levels", run.levels)
    back = equal(moved, terms.choose(equal(run.setting("lead"), 1), 1, 3))
    turned = both(after.of("guard._turning"), negate(before.of("guard._turning")))
    return [
        (
            "an edge against the lead is a debt",
            implies(
                back, equal(after.of("guard._behind"), terms.minimum(add(before.of("guard._behind"), 1), 4))
            ),
        ),
        (
            "and lets no crank turn",
            implies(negate(equal(moved, terms.choose(equal(run.setting("lead"), 1), 3, 1))), negate(turned)),
        ),
    ]


def guard_duty(run: AloneRun) -> list[Clause]:
    """A rising edge as the gate sees it, duty-coded."""
    before, after = run.before, run.after
    level = terms.choose(equal(run.setting("lead"), 1), run.bit(1), run.bit(0))
    high_us = subtract(before.of("guard._fall_us"), before.of("guard._rise_us"))
    low_us = subtract(run.time_us, before.of("guard._fall_us"))
    forward = terms.same(less(low_us, high_us), equal(run.setting("forward_duty_high"), 1))
    turned = both(after.of("guard._turning"), negate(before.of("guard._turning")))
    recent = every(less(0, high_us), less(0, low_us), at_most(high_us, 1 << 28), at_most(low_us, 1 << 28))
    return [
        (
            "a pitch whose larger share is the backward one lets no crank turn",
            implies(every(recent, level, negate(forward)), negate(turned)),
        ),
        ("nor does a falling edge", implies(negate(level), negate(turned))),
    ]


def guard_wheel(run: AloneRun) -> list[Clause]:
    """A wheel edge as the gate sees it."""
    before, after = run.before, run.after
    period_us = subtract(run.time_us, before.of("guard._wheel_us"))
    pulsed = both(before.of("guard._wheel_seen"), run.bit(0))
    short = less(period_us, terms.divide(after.of("guard._cutoff_period_us"), 4))
    return [
        (
            "a pulse after a possible period is the wheel's period",
            implies(
                every(pulsed, at_least(period_us, 0), negate(short)),
                both(
                    equal(after.of("guard._wheel_period_us"), period_us),
                    equal(after.of("guard._wheel_us"), run.time_us),
                ),
            ),
        ),
        (
            "a pulse four times too quick changes nothing",
            implies(
                every(pulsed, at_least(period_us, 0), short),
                equal(after.of("guard._wheel_period_us"), before.of("guard._wheel_period_us")),
            ),
        ),
    ]


STATEMENTS: dict[str, Statement] = {
    one.name: one
    for one in (
        Statement("step cut", "fault, brake and expired inputs leave no output in the same step", cut),
        Statement("step rise", "the output rises no faster than the settings say", rise),
        Statement("step backward", "enough backward edges leave no output", backward, (0, 2)),
        Statement("step stop", "after the stop gap nothing assists", stop),
        Statement("step cut-off", "at the cut-off speed there is no output", cut_off),
        Statement("step doubt", "doubt and overdue pulses leave no output", doubt),
        Statement("step levers", "shares are from 0 to 1000 permille", levers, edges=0),
        Statement("step stall", "a late step begins from nothing", stall, edges=0),
        Statement(
            "step clock back", "a time that goes back is a stall", clock_back, gaps_us=BACK_US, edges=0
        ),
        Statement(
            "edge two channels",
            "direction by the setting `lead`",
            edge_two_channels,
            (0,),
            alone=("crank", "_accept"),
        ),
        Statement(
            "edge duty",
            "direction by the setting `forward_duty_high`",
            edge_duty,
            (2,),
            alone=("crank", "_accept"),
        ),
        Statement(
            "gate two channels",
            "direction at the gate",
            guard_two_channels,
            (0,),
            alone=("guard", "crank_edge"),
        ),
        Statement(
            "gate duty", "direction at the gate, duty-coded", guard_duty, (2,), alone=("guard", "crank_edge")
        ),
        Statement("gate wheel", "wheel pulses at the gate", guard_wheel, (0,), alone=("guard", "wheel_edge")),
    )
}
