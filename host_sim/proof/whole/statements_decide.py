"""Statements about what a step decides before the gate, which would hide a mistake made there."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.induction import Run
from host_sim.proof.whole.statement import Said, Statement
from host_sim.proof.whole.terms import at_least, at_most, both, either, equal, every, less, negate, some

WAITING, ASSISTING, THROTTLING, BRAKED, FAULTED = 0, 2, 3, 4, 5


def _state(run: Run, state: int) -> Any:
    return equal(run.after.of("engagement.state"), state)


def decides(run: Run) -> list[Said]:
    """State, ceiling and command before the gate."""
    drives = either(_state(run, ASSISTING), _state(run, THROTTLING))
    no_ceiling = equal(run.after.of("ceilings.ceiling_w"), 0)
    fast = at_least(run.after.of("wheel.speed_mm_per_s"), run.setting("cutoff_speed_mm_per_s"))
    doubted = either(run.after.of("plausibility.withheld"), run.after.of("wheel.overdue"))
    backward = at_least(run.after.of("crank.backward_run"), run.setting("backward_edges"))
    return [
        ("a latched cause is the fault's state", less(0, run.after.of("faults.cause")), _state(run, FAULTED)),
        ("no state that drives with the brake pulled", run.inputs_of("brake_pulled"), negate(drives)),
        # A single channel tells no direction.
        *(
            []
            if run.situation.kind == 1
            else [("nor with as many backward edges as are set", backward, negate(drives))]
        ),
        ("no watts are allowed at the cut-off speed", fast, no_ceiling),
        ("nor while help is withheld or a wheel pulse is overdue", doubted, no_ceiling),
        (
            "no more watts are allowed than the power limit",
            True,
            at_most(run.after.of("ceilings.ceiling_w"), run.setting("power_limit_w")),
        ),
        (
            "what does not drive, or may not, commands nothing",
            either(negate(drives), no_ceiling),
            equal(run.after.of("slew_limiter.command_mv"), 0),
        ),
    ]


def begins(run: Run) -> list[Said]:
    """How pedalling begins to drive."""
    begun = both(negate(equal(run.before.of("engagement.state"), ASSISTING)), _state(run, ASSISTING))
    return [
        (
            "pedalling begins to drive with as many forward edges, cadence and speed as are set",
            begun,
            every(
                at_least(run.after.of("crank.forward_run"), run.setting("engage_edges")),
                at_least(run.after.of("pedalling.cadence_rpm"), run.setting("engage_rpm")),
                at_least(run.after.of("wheel.speed_mm_per_s"), run.setting("engage_speed_mm_per_s")),
            ),
        ),
        (
            "no state that drives comes next after waiting for rest, a brake or a fault",
            some(*(equal(run.before.of("engagement.state"), state) for state in (WAITING, BRAKED, FAULTED))),
            negate(either(_state(run, ASSISTING), _state(run, THROTTLING))),
        ),
    ]


def shares(run: Run) -> list[Said]:
    """What the levers' shares are, from readings and settings."""
    reading_mv, share = run.inputs_of("throttle_mv"), run.after.of("throttle.share_permille")
    fitted = equal(run.setting("throttle_fitted"), 1)
    in_window = at_most(reading_mv, run.setting("throttle_short_mv"))
    full = every(
        fitted,
        run.before.of("throttle.rest_seen"),
        at_least(reading_mv, run.setting("throttle_full_mv")),
        in_window,
    )
    selector_mv, turned = run.inputs_of("selector_mv"), run.after.of("selector.share_permille")
    outside = either(
        less(selector_mv, run.setting("selector_open_mv")),
        less(run.setting("selector_short_mv"), selector_mv),
    )
    proportional = equal(run.setting("selector_positions"), 1)
    inside = both(proportional, negate(outside))
    return [
        ("a throttle at its full voltage gives all", full, equal(share, 1_000)),
        (
            "a selector whose wire is broken or touches its supply gives nothing",
            both(terms.unequal(run.setting("selector_positions"), 0), outside),
            equal(turned, 0),
        ),
        (
            "a potentiometer at its lowest voltage gives nothing",
            both(inside, at_most(selector_mv, run.setting("selector_low_mv"))),
            equal(turned, 0),
        ),
        (
            "and at its highest all",
            both(inside, at_least(selector_mv, run.setting("selector_high_mv"))),
            equal(turned, 1_000),
        ),
    ]


DECIDE_STATEMENTS = (
    Statement("step decides", "state, ceiling and command end help before the gate", decides),
    Statement(
        "step begins", "pedalling begins to drive with the edges, cadence and speed that are set", begins
    ),
    Statement("step shares", "the levers' shares at the ends of their ranges", shares),
)
