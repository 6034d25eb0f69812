"""Every lemma by its name, and how it is explored."""

from collections.abc import Callable
from typing import Any

from host_sim.proof import (
    lemmas_decide,
    lemmas_doubt,
    lemmas_drive,
    lemmas_faults,
    lemmas_follow,
    lemmas_guard,
    lemmas_motor,
    lemmas_records,
    lemmas_sense,
    lemmas_wheel,
    lemmas_whole,
)

LemmaFunction = Callable[[Any], None]


class Lemma:
    """One function to explore.

    `must_fail`: it shows that a bound is exact, so a counterexample is expected. `merged`: the minimum and
    the maximum of two values are one term, not a fork; see merging.py. `counted`: it has no symbols and tries
    numbers one by one, so there is no path to replay on other runtimes.
    """

    __slots__ = ("counted", "merged", "must_fail", "name", "run")

    def __init__(
        self, run: LemmaFunction, must_fail: bool = False, merged: bool = False, counted: bool = False
    ) -> None:
        """Name the lemma after its function."""
        self.counted = counted
        self.run = run
        self.name = run.__name__
        self.must_fail = must_fail
        self.merged = merged


def _lemmas(*functions: LemmaFunction) -> tuple[Lemma, ...]:
    return tuple(Lemma(function) for function in functions)


def _merged(*functions: LemmaFunction) -> tuple[Lemma, ...]:
    return tuple(Lemma(function, merged=True) for function in functions)


LEMMAS: dict[str, Lemma] = {
    lemma.name: lemma
    for lemma in (
        *_lemmas(
            lemmas_sense.ticks,
            lemmas_sense.ticks_forward,
            lemmas_sense.crank_two_channels,
            lemmas_sense.crank_one_channel,
            lemmas_sense.crank_duty_coded,
            lemmas_sense.crank_glitch,
            lemmas_sense.crank_standstill,
            lemmas_sense.rotation,
            lemmas_sense.wheel,
            lemmas_sense.throttle,
            lemmas_sense.selector,
            lemmas_sense.supply,
            lemmas_decide.stop_gap,
            lemmas_decide.pedalling,
            lemmas_decide.events,
            lemmas_decide.engagement_table,
            lemmas_drive.slew_limiter,
            lemmas_drive.power_loop,
            lemmas_drive.open_map,
            lemmas_drive.request,
            lemmas_drive.ceilings,
            lemmas_faults.fault_latch,
            lemmas_faults.fault_step,
            lemmas_faults.fault_readings,
            lemmas_faults.fault_noise,
            lemmas_faults.fault_plausibility,
            lemmas_guard.guard_permit,
            lemmas_guard.guard_clock_back,
            lemmas_guard.guard_two_channels,
            lemmas_guard.guard_one_channel,
            lemmas_guard.guard_duty_coded,
            lemmas_guard.controller_drive,
            lemmas_guard.controller_clock_back,
            lemmas_guard.controller_outputs,
            lemmas_guard.fault_ends_drive,
            lemmas_guard.brake_ends_drive,
            lemmas_whole.derived_crank_numbers,
            lemmas_whole.derived_wheel_numbers,
            lemmas_whole.derived_motor_numbers,
            lemmas_whole.rest,
            lemmas_wheel.square_roots,
            lemmas_motor.motor_command_for,
            lemmas_motor.motor_newton_above,
        ),
        *_merged(
            lemmas_wheel.wheel_late,
            lemmas_wheel.wheel_overdue,
            lemmas_motor.motor_lags,
            lemmas_motor.motor_emf_torque,
            lemmas_motor.motor_emf_speed,
            lemmas_motor.motor_newton,
            lemmas_motor.motor_voltage,
            lemmas_motor.motor_power,
            lemmas_motor.motor_limited,
            lemmas_motor.motor_learn_torque,
            lemmas_motor.motor_learn_speed,
            lemmas_motor.motor_changes,
            lemmas_motor.motor_ceiling,
            lemmas_motor.motor_step,
            lemmas_doubt.shunt_sag,
            lemmas_doubt.shunt_standstill,
            lemmas_doubt.shunt_fall,
            lemmas_doubt.shunt_rest,
            lemmas_doubt.judge_torque,
            lemmas_doubt.judge_speed,
            lemmas_doubt.judge_learns,
            lemmas_doubt.judge_shunt,
            lemmas_doubt.judge_forgets,
            lemmas_doubt.doubt_ends_drive,
            lemmas_follow.slew_seek,
            lemmas_follow.loop_moves,
            lemmas_follow.feed_forward_seeks,
            lemmas_follow.feed_forward_follows,
            lemmas_follow.drive_torque,
            lemmas_follow.drive_speed,
        ),
        Lemma(lemmas_records.edge_log_record, counted=True),
        Lemma(lemmas_records.edge_log_take, counted=True),
        Lemma(lemmas_records.records_start, counted=True),
        Lemma(lemmas_sense.crank_standstill_too_late, must_fail=True),
    )
}
