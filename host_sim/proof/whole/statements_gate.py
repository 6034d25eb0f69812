"""Statements about what the gate lets through, from raw times and readings, whatever was decided before."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.gate import PERMIT, GateRun
from host_sim.proof.whole.statement import Said, Statement
from host_sim.proof.whole.terms import (
    add,
    at_least,
    at_most,
    both,
    divide,
    either,
    equal,
    every,
    less,
    multiply,
    negate,
    some,
    subtract,
)

MARGIN_US = 15_000
STILL_US = 3_000_000
NEVER, BELOW_STARTUP, FREELY = 0, 1, 2


def _waited_us(run: GateRun) -> Any:
    return subtract(run.now_us, run.before.of("guard._wheel_us"))


def _period_us(run: GateRun) -> Any:
    """Return the wheel's last period, or the wait since its last pulse if that is longer."""
    return terms.maximum(run.before.of("guard._wheel_period_us"), _waited_us(run))


def _turns(run: GateRun) -> Any:
    """Tell whether the wheel turns: a pulse was seen within its standstill time."""
    return both(run.before.of("guard._wheel_seen"), at_most(_waited_us(run), STILL_US))


def _way(run: GateRun) -> Any:
    """Return the way between two pulses of the wheel, in hundredths of a millimetre and tenths of that."""
    return divide(
        multiply(run.setting("wheel_circumference_mm"), 100_000), run.setting("wheel_pulses_per_rev")
    )


def _cutoff_us(run: GateRun) -> Any:
    return multiply(divide(_way(run), run.setting("cutoff_speed_mm_per_s")), 10)


def _longest_us(run: GateRun) -> Any:
    pulses = multiply(run.setting("pulses_per_rev"), run.setting("release_rpm"))
    return add(divide(60_000_000, pulses), MARGIN_US)


def _gap_us(run: GateRun) -> Any:
    return subtract(run.now_us, run.before.of("guard._forward_us"))


def _throttle_may(run: GateRun) -> Any:
    """Tell whether the throttle may drive alone, as far as the readings and settings tell."""
    reading_mv = run.inputs_of("throttle_mv")
    within = both(
        less(run.setting("throttle_rest_mv"), reading_mv),
        at_most(reading_mv, run.setting("throttle_short_mv")),
    )
    where = negate(equal(run.setting("throttle_unpedalled"), NEVER))
    return every(
        equal(run.setting("throttle_fitted"), 1), run.after.of("guard._throttle_rest_seen"), within, where
    )


def _distance_us(run: GateRun) -> Any:
    """Return the cut-off distance as a time at the wheel's speed: hundredths of pulses, rounded up."""
    hundredths = multiply(
        multiply(run.setting("cutoff_distance_mm"), 100), run.setting("wheel_pulses_per_rev")
    )
    pulses_percent = add(divide(hundredths, run.setting("wheel_circumference_mm")), 1)
    return divide(multiply(_period_us(run), pulses_percent), 100)


def gate_stops(run: GateRun) -> list[Said]:
    """What the gate does not let through."""
    nothing, no_throttle = equal(run.permitted_mv, 0), negate(_throttle_may(run))
    age_us = subtract(run.now_us, run.inputs_of("sampled_us"))
    recent = both(less(age_us, 1 << 29), at_most(-(1 << 29), age_us))
    owes = at_least(run.after.of("guard._behind"), run.setting("backward_edges"))
    return [
        ("never more than the command", True, at_most(run.permitted_mv, run.command_mv)),
        ("nor than the highest command", True, at_most(run.permitted_mv, run.setting("command_max_mv"))),
        ("nothing with the brake pulled", run.inputs_of("brake_pulled"), nothing),
        (
            "nothing from readings older than 50 ms or ahead of the call",
            both(recent, either(less(50_000, age_us), less(age_us, 0))),
            nothing,
        ),
        (
            "nothing while the wheel's period is shorter than at the cut-off speed",
            both(_turns(run), less(_period_us(run), _cutoff_us(run))),
            nothing,
        ),
        (
            "later than a pitch at the release cadence and 15 ms after the last progress of the crank the"
            " throttle alone may drive",
            both(no_throttle, less(_longest_us(run), _gap_us(run))),
            nothing,
        ),
        (
            "so it is later than the cut-off distance takes at the wheel's speed, and 15 ms",
            every(
                no_throttle,
                _turns(run),
                less(_period_us(run), STILL_US),
                less(add(_distance_us(run), MARGIN_US), _gap_us(run)),
            ),
            nothing,
        ),
        (
            "nor may anything else where no progress was seen",
            both(no_throttle, negate(run.before.of("guard._turning"))),
            nothing,
        ),
        ("nor while as many edges are owed as are set", both(no_throttle, owes), nothing),
    ]


def gate_startup(run: GateRun) -> list[Said]:
    """The throttle above the start-up speed."""
    startup_us = multiply(divide(_way(run), run.setting("startup_speed_mm_per_s")), 10)
    quick = every(
        equal(run.setting("throttle_unpedalled"), BELOW_STARTUP),
        less(0, run.setting("startup_speed_mm_per_s")),
        _turns(run),
        less(_period_us(run), terms.minimum(startup_us, STILL_US)),
        negate(run.before.of("guard._turning")),
    )
    rest = both(
        negate(run.before.of("guard._throttle_rest_seen")),
        some(
            less(run.inputs_of("throttle_mv"), run.setting("throttle_open_mv")),
            less(run.setting("throttle_rest_mv"), run.inputs_of("throttle_mv")),
        ),
    )
    return [
        ("above the start-up speed the throttle alone drives nothing", quick, equal(run.permitted_mv, 0)),
        (
            "a throttle is at rest only with a reading from the open wire's limit to the rest voltage",
            rest,
            negate(run.after.of("guard._throttle_rest_seen")),
        ),
    ]


def gate_opens(run: GateRun) -> list[Said]:
    """What the gate must let through: else nothing would be shown by a gate that is always shut."""
    age_us = subtract(run.now_us, run.inputs_of("sampled_us"))
    right = every(
        negate(run.inputs_of("brake_pulled")),
        at_least(age_us, 0),
        at_most(age_us, 50_000),
        either(negate(_turns(run)), at_least(_period_us(run), _cutoff_us(run))),
    )
    pedalled = every(
        run.before.of("guard._turning"),
        at_most(_gap_us(run), MARGIN_US),
        less(run.before.of("guard._behind"), run.setting("backward_edges")),
    )
    freely = both(_throttle_may(run), equal(run.setting("throttle_unpedalled"), FREELY))
    whole = terms.minimum(run.command_mv, run.setting("command_max_mv"))
    return [
        (
            "a command passes while a crank turns forward",
            both(right, pedalled),
            equal(run.permitted_mv, whole),
        ),
        ("and by a throttle that may drive freely", both(right, freely), equal(run.permitted_mv, whole)),
    ]


GATE_STATEMENTS = (
    Statement(
        "gate stops",
        "the gate by itself stops a command for brake, old readings, speed, a crank that rests or owes edges",
        gate_stops,
        alone=PERMIT,
    ),
    Statement(
        "gate throttle",
        "the gate by itself stops a throttle above the start-up speed, or one that was not at rest",
        gate_startup,
        alone=PERMIT,
    ),
    Statement("gate opens", "the gate lets a command pass where nothing is wrong", gate_opens, alone=PERMIT),
)
