"""Every lemma of `treadle prove` by its name, and how it is explored."""

from collections.abc import Callable
from typing import Any

from host_sim.proof import (
    lemmas_decide,
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


def plain(*functions: LemmaFunction) -> tuple[Lemma, ...]:
    """Return a lemma for each function."""
    return tuple(Lemma(function) for function in functions)


def merged(*functions: LemmaFunction) -> tuple[Lemma, ...]:
    """Return a lemma for each function, explored without a fork at every minimum and maximum."""
    return tuple(Lemma(function, merged=True) for function in functions)


LEMMAS: dict[str, Lemma] = {
    lemma.name: lemma
    for lemma in (
        *plain(
            lemmas_sense.ticks,
            lemmas_sense.ticks_forward,
            lemmas_sense.crank_standstill,
            lemmas_sense.rotation,
            lemmas_decide.engagement_table,
            lemmas_whole.derived_crank_numbers,
            lemmas_whole.derived_wheel_numbers,
            lemmas_whole.rest,
            lemmas_wheel.square_roots,
            lemmas_motor.motor_newton_above,
        ),
        *merged(
            lemmas_wheel.wheel_late,
            lemmas_wheel.wheel_overdue,
            lemmas_motor.motor_newton,
            lemmas_motor.feed_forward_seeks,
        ),
        Lemma(lemmas_records.edge_log_record, counted=True),
        Lemma(lemmas_records.edge_log_take, counted=True),
        Lemma(lemmas_records.records_start, counted=True),
        Lemma(lemmas_sense.crank_standstill_too_late, must_fail=True),
    )
}
