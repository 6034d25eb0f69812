"""Lemmas about how well the wheel's speed is known: how late it is, when a pulse is overdue."""

from firmware.integers import square_root
from firmware.sense.rotation import BRAKING_MM_PER_S2, Wheel
from firmware.ticks import TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import SPEED_MAX_MM_PER_S
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers

# What the constructor can derive from legal settings; `derived_wheel_numbers` shows it for all of them.
LATE_UNSEEN_MM_PER_S = (89, 4_898)
STOPPABLE_MM_PER_S = (141, 7_745)
PERIOD_MAX_US = (1 << 29) - 1  # A difference of times: pulses of a wheel that was at rest are far apart.
ROOT_MAX = 23_170  # Of 2**29.


def square_roots(ex: Numbers) -> None:
    """Every value up to 2**29: two values between the same squares compare alike with every square."""
    count = 0
    for root in range(ROOT_MAX):
        lowest, highest = root * root, (root + 1) * (root + 1) - 1
        if square_root(lowest) != root or square_root(highest) != root:
            ex.check(False, "a root is the whole part of the true one")
        count += 1
    ex.check(square_root(1 << 29) == ROOT_MAX, "the root of 2**29 is the whole part of the true one")
    # The highest root that is tried has all its bits set.
    ex.check(((1 << 15) - 1) * ((1 << 15) - 1) < 1 << 30, "every square that is compared is a small integer")
    ex.outcome(count=count)


def _any_wheel(ex: Numbers) -> Wheel:
    """Return a wheel in any state that its invariant allows."""
    roll = Wheel(500, 64)
    inner = Inside(roll)
    rotation = Inside(inner.rotation)
    rotation.scale = ex.integer("scale", 781_250, 300_000_000)
    inner.shortest_us = ex.integer("shortest", 280, 108_000)
    ex.assume(inner.shortest_us == (rotation.scale // 27_778) * 10)
    inner.late_unseen_mm_per_s = ex.integer("unseen", LATE_UNSEEN_MM_PER_S[0], LATE_UNSEEN_MM_PER_S[1])
    inner.stoppable_mm_per_s = ex.integer("stoppable", STOPPABLE_MM_PER_S[0], STOPPABLE_MM_PER_S[1])
    inner.period_us = ex.integer("period", 0, PERIOD_MAX_US)
    inner.pulse_mm_per_s = ex.integer("pulse_speed", 0, SPEED_MAX_MM_PER_S)
    inner.running = ex.boolean("running")
    inner.last_us = ex.integer("last", 0, TICKS_MAX_US)
    roll.late_mm_per_s = ex.integer("late", 0, LATE_UNSEEN_MM_PER_S[1])
    ex.assume(roll.late_mm_per_s <= inner.late_unseen_mm_per_s)
    roll.overdue = ex.boolean("overdue")
    roll.steady = ex.boolean("steady")
    return roll


def wheel_late(ex: Numbers) -> None:
    """Any pulse, after any time."""
    roll = _any_wheel(ex)
    inner = Inside(roll)
    time_us = ticks_add_us(inner.last_us, ex.integer("gap", 0, PERIOD_MAX_US))
    roll.begin_step()
    roll.edge(1, time_us)
    ex.check(roll.late_mm_per_s >= 0, "a speed is not late by less than nothing")
    ex.check(roll.late_mm_per_s <= inner.late_unseen_mm_per_s, "nor by more than two pulses from a stop")
    ex.check(inner.pulse_mm_per_s >= 0, "the speed at a pulse is not negative")
    ex.check(inner.pulse_mm_per_s <= SPEED_MAX_MM_PER_S, "the speed at a pulse is bounded")
    ex.check(0 <= inner.period_us <= PERIOD_MAX_US, "a period is bounded")
    if roll.pulsed:
        ex.check(not roll.overdue, "a pulse is overdue no longer than until it comes")
    ex.outcome(late=roll.late_mm_per_s, speed=inner.pulse_mm_per_s, steady=roll.steady)


def wheel_overdue(ex: Numbers) -> None:
    """Any wheel, checked after any time without a pulse."""
    roll = _any_wheel(ex)
    in_roll = Inside(roll)
    spacing_mm = ex.integer("spacing", 1, 3_000)
    # As `square_roots` shows for the constructor's argument.
    beyond = in_roll.stoppable_mm_per_s + 1
    ex.assume(beyond * beyond > 2 * BRAKING_MM_PER_S2 * spacing_mm)
    rotation = in_roll.rotation
    in_rotation = Inside(rotation)
    rotation.standing = ex.boolean("standing")
    in_rotation.period_us = ex.integer("measured", 280, PERIOD_MAX_US)
    ex.assume(in_rotation.period_us >= in_roll.shortest_us)
    in_rotation.last_us = in_roll.last_us
    was_overdue, was_running, pulse_mm_per_s = roll.overdue, in_roll.running, in_roll.pulse_mm_per_s
    roll.begin_step()
    roll.settle(ticks_add_us(in_roll.last_us, ex.integer("waited", 0, PERIOD_MAX_US)))
    ex.check(
        roll.late_mm_per_s <= in_roll.late_unseen_mm_per_s, "waiting makes a speed no later than bounded"
    )
    if was_overdue:
        ex.check(roll.overdue, "what is overdue stays so until a pulse")
    elif was_running and pulse_mm_per_s >= beyond and 2 * roll.speed_mm_per_s < pulse_mm_per_s:
        ex.check(roll.overdue, "what no brake can have stopped is overdue")
    else:
        ex.check(not roll.overdue, "nothing else is overdue")
    if roll.overdue and not was_overdue:
        ex.check(not roll.steady, "what is overdue is not steady")
        ex.show(pulse_mm_per_s >= beyond, "only a speed above the stoppable one is missed")
        ex.show(
            ex.wide(pulse_mm_per_s) * pulse_mm_per_s >= ex.wide(beyond) * beyond, "so its square lies above"
        )
        braked = ex.wide(pulse_mm_per_s) * pulse_mm_per_s > 2 * BRAKING_MM_PER_S2 * ex.wide(spacing_mm)
        ex.check(braked, "from the speed of the last pulse no brake stops before the next one")
        ex.check(2 * roll.speed_mm_per_s < pulse_mm_per_s, "and less than half of that speed is left")
    ex.outcome(overdue=roll.overdue, speed=roll.speed_mm_per_s, late=roll.late_mm_per_s)
