"""Statements about what any step puts out, for all legal settings, from settings, readings and raw times."""

from typing import Any

from firmware.guard.plausibility import (
    LASTING_STEPS,
    MOTOR_SILENT,
    SILENT_STEPS,
    SUSPICIONS_MAX,
    WHEEL_SUSPICIONS_MAX,
)
from host_sim.proof.whole import terms
from host_sim.proof.whole.induction import Run
from host_sim.proof.whole.statement import BACK, Said, Statement
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
    some,
    subtract,
)

ASSISTING, THROTTLING = 2, 3


def _output(run: Run) -> Any:
    return run.after.of("outputs.command_mv")


def _nothing_out(run: Run) -> Any:
    return both(equal(_output(run), 0), negate(run.after.of("outputs.drive_enabled")))


def _state(run: Run, state: int) -> Any:
    return equal(run.after.of("engagement.state"), state)


def cut(run: Run) -> list[Said]:
    """Fault, brake, expired inputs."""
    age_us = subtract(run.now_us, run.sampled_us)
    recent = both(less(age_us, 1 << 29), at_most(-(1 << 29), age_us))
    latched = less(0, run.after.of("faults.cause"))
    expired = both(recent, either(less(50_000, age_us), less(age_us, 0)))
    return [
        ("a latched cause leaves no output in the same step", latched, _nothing_out(run)),
        ("a pulled brake leaves no output", run.inputs_of("brake_pulled"), _nothing_out(run)),
        ("inputs older than 50 ms, or ahead of the step, leave no output", expired, _nothing_out(run)),
    ]


def reach(run: Run) -> list[Said]:
    """The range of the output."""
    return [
        ("the output is at least nothing", True, at_least(_output(run), 0)),
        ("and at most the highest command", True, at_most(_output(run), run.setting("command_max_mv"))),
        (
            "drive is enabled with an output and with none else",
            True,
            terms.same(run.after.of("outputs.drive_enabled"), less(0, _output(run))),
        ),
    ]


def rise(run: Run) -> list[Said]:
    """The rise of the output above the dead band."""
    before_mv, after_mv = run.before.of("outputs.command_mv"), _output(run)
    span_us = terms.minimum(run.now_us, 100_000)
    risen_nv = multiply(subtract(after_mv, before_mv), 1_000_000)
    rising = both(less(before_mv, after_mv), less(run.setting("command_start_mv"), after_mv))
    slow = add(multiply(run.setting("rise_mv_per_s"), span_us), 999_999)
    seeks = less(0, run.after.of("feed_forward.seek_mv"))
    search_mv_per_s = run.after.of("feed_forward.rise_mv_per_s")
    higher = terms.maximum(search_mv_per_s, run.setting("rise_mv_per_s"))
    quick = add(terms.spread(higher, span_us), 999_999)
    return [
        (
            "above the dead band the output rises no faster than the rise rate, where it does not seek",
            both(rising, negate(seeks)),
            at_most(risen_nv, slow),
        ),
        (
            "where it seeks, no faster than the rate of the search or the rise rate, whichever is higher",
            both(rising, seeks),
            at_most(risen_nv, quick),
        ),
        (
            "the rate of the search is at most the one that is set",
            True,
            at_most(search_mv_per_s, run.setting("seek_mv_per_s")),
        ),
        (
            "it seeks on a motor of the speed kind with a shunt only",
            seeks,
            both(equal(run.setting("motor_kind"), 2), equal(run.setting("shunt_fitted"), 1)),
        ),
    ]


def ceiling(run: Run) -> list[Said]:
    """The model's ceiling on a motor of the torque kind."""
    after_mv, start_mv = _output(run), run.setting("command_start_mv")
    torque = both(equal(run.setting("motor_kind"), 1), equal(run.setting("shunt_fitted"), 1))
    rising = both(less(run.before.of("outputs.command_mv"), after_mv), less(start_mv, after_mv))
    span_mv = subtract(run.setting("command_max_mv"), start_mv)
    of_current_mv = terms.divide(
        multiply(run.after.of("motor_model._ceiling_ma"), span_mv), run.setting("motor_current_limit_ma")
    )
    return [
        (
            "on a torque motor the output never rises above the command of the ceiling's current",
            both(torque, rising),
            at_most(after_mv, add(start_mv, of_current_mv)),
        )
    ]


def backward(run: Run) -> list[Said]:
    """Backward edges end help."""
    enough = at_least(run.after.of("crank.backward_run"), run.setting("backward_edges"))
    return [("as many backward edges as are set leave no output", enough, _nothing_out(run))]


def stop(run: Run) -> list[Said]:
    """The stop gap after the last ground."""
    since_us = subtract(run.now_us, _last_forward_us(run))
    pitch_us = terms.divide(60_000_000, multiply(run.setting("pulses_per_rev"), run.setting("release_rpm")))
    no_help = negate(_state(run, ASSISTING))
    return [
        (
            "later than the stop gap after the last forward edge nothing assists",
            less(run.after.of("pedalling.stop_gap_us"), since_us),
            no_help,
        ),
        (
            "the stop gap is at most a pitch at the release cadence",
            True,
            at_most(run.after.of("pedalling.stop_gap_us"), pitch_us),
        ),
        ("where pedalling has stopped nothing assists", run.after.of("pedalling.stopped"), no_help),
        (
            "what assists has a cadence of the release cadence at least",
            _state(run, ASSISTING),
            at_least(run.after.of("pedalling.cadence_rpm"), run.setting("release_rpm")),
        ),
        (
            "what does not assist and does not throttle has no output",
            both(no_help, negate(_state(run, THROTTLING))),
            _nothing_out(run),
        ),
    ]


def _last_forward_us(run: Run) -> Any:
    """Return when ground was last gained, as an offset from the last step."""
    return add(run.after.of("crank.last_forward_us"), run.now_us)


def cut_off(run: Run) -> list[Said]:
    """Speed."""
    fast = at_least(run.after.of("wheel.speed_mm_per_s"), run.setting("cutoff_speed_mm_per_s"))
    return [("at and above the cut-off speed there is no output", fast, _nothing_out(run))]


def doubt(run: Run) -> list[Said]:
    """Help is withheld; a contradiction that lasts is suspected, and repeated suspicion is a fault."""

    def before(name: str) -> Any:
        return run.before.of(f"plausibility.{name}")

    def after(name: str) -> Any:
        return run.after.of(f"plausibility.{name}")

    kept = negate(run.inputs_of("clear_requested"))
    lasted = both(less(0, after("_contradiction")), equal(after("_lasting_steps"), 0))
    is_new = both(run.after.of("motor_model.known"), lasted)  # Also where the count begins again.
    silent = equal(after("_contradiction"), MOTOR_SILENT)
    same = equal(before("_contradiction"), after("_contradiction"))
    now = {
        name: both(after(name), negate(before(name))) for name in ("motor_silent", "power_low", "wheel_slow")
    }
    return [
        ("while help is withheld there is no output", after("withheld"), _nothing_out(run)),
        ("with every new suspicion help is withheld", both(is_new, kept), after("withheld")),
        (
            "a suspicion comes after its steps in a row with one and the same contradiction",
            is_new,
            both(
                same,
                at_least(add(before("_lasting_steps"), 1), terms.choose(silent, SILENT_STEPS, LASTING_STEPS)),
            ),
        ),
        (
            "the steps in a row grow by one at most, and begin again with another contradiction",
            True,
            at_most(after("_lasting_steps"), add(terms.choose(same, before("_lasting_steps"), 0), 1)),
        ),
        (
            "the motor is a fault from the second suspicion on",
            both(either(now["motor_silent"], now["power_low"]), kept),
            at_least(after("_suspicions"), SUSPICIONS_MAX),
        ),
        (
            "the wheel is a fault from the third suspicion on",
            both(now["wheel_slow"], kept),
            at_least(after("_suspicions"), WHEEL_SUSPICIONS_MAX),
        ),
    ]


def overdue(run: Run) -> list[Said]:
    """An impossible stop of wheel pulses."""
    pulse = run.after.of("wheel._pulse_mm_per_s")
    missed = every(
        run.after.of("wheel._running"),
        less(run.after.of("wheel._stoppable_mm_per_s"), pulse),
        less(multiply(run.after.of("wheel.speed_mm_per_s"), 2), pulse),
    )
    return [
        (
            "less than half the speed from which no brake stops is overdue",
            missed,
            run.after.of("wheel.overdue"),
        ),
        (
            "while a wheel pulse is overdue there is no output",
            run.after.of("wheel.overdue"),
            _nothing_out(run),
        ),
        (
            "an overdue pulse stays overdue through a step",
            run.before.of("wheel.overdue"),
            run.after.of("wheel.overdue"),
        ),
    ]


def levers(run: Run) -> list[Said]:
    """Shares of both levers, for a selector of any kind."""
    said: list[Said] = []
    for lever in ("selector", "throttle"):
        share = run.after.of(f"{lever}.share_permille")
        within = both(at_least(share, 0), at_most(share, 1_000))
        said.append((f"the share of the {lever} is from 0 to 1000 permille", True, within))
    return said


def throttle(run: Run) -> list[Said]:
    """What the throttle may do without pedalling."""
    reading_mv = run.inputs_of("throttle_mv")
    alone = _state(run, THROTTLING)
    no_drive = both(negate(alone), equal(run.after.of("throttle.share_permille"), 0))
    fitted = equal(run.setting("throttle_fitted"), 1)
    below = both(
        equal(run.setting("throttle_unpedalled"), 1),
        less(run.after.of("wheel.speed_mm_per_s"), run.setting("startup_speed_mm_per_s")),
    )
    outside = some(
        less(reading_mv, run.setting("throttle_open_mv")),
        less(run.setting("throttle_short_mv"), reading_mv),
        at_most(reading_mv, run.setting("throttle_rest_mv")),
    )
    seen = run.after.of("throttle.rest_seen")
    return [
        ("a throttle that was never at rest drives nothing", negate(seen), no_drive),
        ("one that is not fitted drives nothing", negate(fitted), no_drive),
        ("at rest and outside its window it drives nothing", both(fitted, outside), no_drive),
        (
            "the throttle alone drives where the settings let it",
            alone,
            either(equal(run.setting("throttle_unpedalled"), 2), below),
        ),
    ]


def latch(run: Run) -> list[Said]:
    """A latched fault."""
    before, after = run.before.of("faults.cause"), run.after.of("faults.cause")
    latched = less(0, before)
    return [
        (
            "a latched cause stays, unless clearing is requested",
            both(latched, negate(run.inputs_of("clear_requested"))),
            equal(after, before),
        ),
        (
            "every fault that the readings together show is latched in the same step",
            both(
                equal(run.setting("shunt_fitted"), 1),
                some(
                    *(
                        run.after.of(f"plausibility.{name}")
                        for name in ("shunt_stuck", "shunt_dead", "motor_silent", "power_low", "wheel_slow")
                    )
                ),
            ),
            less(0, after),
        ),
    ]


def stall(run: Run) -> list[Said]:
    """A step that comes too late."""
    return [
        (
            "after a gap of more than 50 ms the output begins from nothing",
            less(50_000, run.now_us),
            _nothing_out(run),
        )
    ]


def clock_back(run: Run) -> list[Said]:
    """A time before that of the last step."""
    return [
        ("a time that goes back leaves no output", True, _nothing_out(run)),
        ("pedalling has stopped", True, run.after.of("pedalling.stopped")),
        ("the gate takes no crank to turn", True, negate(run.after.of("guard._turning"))),
        ("there is no run of edges", True, equal(run.after.of("crank.forward_run"), 0)),
    ]


STEP_STATEMENTS = (
    Statement("step cut", "fault, brake and expired inputs leave no output in the same step", cut),
    Statement("step range", "the output is in its range", reach),
    Statement("step rise", "the output rises no faster than the settings say", rise),
    Statement("step ceiling", "on a torque motor no rise goes above the model's ceiling", ceiling),
    Statement("step backward", "enough backward edges leave no output", backward, (0, 2)),
    Statement("step stop", "after the stop gap nothing assists", stop),
    Statement("step cut-off", "at the cut-off speed there is no output", cut_off),
    Statement("step doubt", "doubt leaves no output", doubt),
    Statement("step overdue", "an overdue wheel pulse leaves no output", overdue),
    Statement("step levers", "shares are from 0 to 1000 permille", levers),
    Statement("step throttle", "the throttle drives where and when it may", throttle),
    Statement("step latch", "a latched fault stays", latch),
    Statement("step stall", "a late step begins from nothing", stall),
    Statement("step clock back", "a time that goes back is a stall", clock_back, way=BACK),
)
