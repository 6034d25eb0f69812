"""Checks a tuned bike file before it is written: every rule, and the whole fault matrix.

A file is written only if tuning breaks no rule, makes no cell of the fault matrix fail, and makes nothing
worse than before. A refusal has the number, and can test whether another bike cures it (`back_off` searches
for one). What fails already before tuning, for example because of the sensor, is reported and does not
prevent writing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers, usual_count
from host_sim.rules.catalogue import RULES
from host_sim.rules.fault_matrix import FAILS, HOLDS, UNSEEN, Cell, Matrix, fault_matrix
from host_sim.rules.hazards import load_hazards
from host_sim.rules.judge import Done, Verdict, judge
from host_sim.rules.rule import Rule
from host_sim.tuning.recommend import Tuned

RIDES = 50  # Of each kind, as `treadle verify` does.


@dataclass(frozen=True, slots=True)
class Refusal:
    """A reason not to write the file: `sentence`, and `holds`, which rides only that with another bike."""

    sentence: str
    holds: Callable[[Bike], bool]


@dataclass(frozen=True, slots=True)
class RulesCheck:
    """Verdicts and matrix of the tuned bike.

    `refused`: every reason not to write its file; `as_before`: a sentence for everything that fails by no
    more than before.
    """

    verdicts: list[Verdict]
    matrix: Matrix
    refused: list[Refusal]
    as_before: list[str]

    @property
    def refusals(self) -> list[str]:
        """A sentence for every reason not to write the file."""
        return [refusal.sentence for refusal in self.refused]

    @property
    def not_shown(self) -> list[Verdict]:
        """The rules that no ride tested."""
        return [verdict for verdict in self.verdicts if verdict.not_shown]


def check_rules(tuned: Tuned, seed: int, done: Done) -> RulesCheck:
    """Ride everything that `treadle verify` and `treadle verify --faults` ride, on the tuned bike."""
    verdicts = judge(tuned.tuned, RULES, seed, RIDES, done)
    matrix = ride_matrix(tuned.tuned, seed, done)
    check = RulesCheck(verdicts, matrix, [], [])
    for verdict in verdicts:
        _judge_rule(tuned, verdict, seed, check)
    for row in matrix.rows:
        _judge_row(tuned, row, seed, check)
    return check


def ride_matrix(bike: Bike, seed: int, done: Done, row: str | None = None) -> Matrix:
    """Return the fault matrix of a bike, or one row of it."""
    with Workers(usual_count()) as workers:
        return fault_matrix(bike, load_hazards(), seed, workers.map, done, row)


def _nobody_counts(finished: int, count: int) -> None:
    """Show no progress, for the few rides of a second check."""


def _verdict_of(bike: Bike, rule: Rule, seed: int) -> Verdict:
    return judge(bike, [rule], seed, RIDES, _nobody_counts)[0]


def _judge_rule(tuned: Tuned, verdict: Verdict, seed: int, check: RulesCheck) -> None:
    """Add a refusal for this verdict, or note that it fails as before."""
    rule = verdict.rule
    if verdict.fails:
        number = f"{verdict.measured:.3g} against {verdict.limit:.3g} {rule.unit}"
        before = _verdict_of(tuned.bike, rule, seed)
        if before.fails and _no_worse(verdict, before):
            check.as_before.append(f"{rule.name}, {number}; {before.measured:.3g} before.")
            return
        sentence = f"{rule.name} fails, {number}. {rule.sentence} {verdict.cure}".rstrip()
        check.refused.append(Refusal(sentence, partial(_rule_no_worse, before, seed)))
    elif verdict.not_shown and (before := _verdict_of(tuned.bike, rule, seed)).holds:
        sentence = f"{rule.name} holds now and was not shown for the tuned bike, {verdict.why_not_shown}."
        check.refused.append(Refusal(sentence, partial(_rule_no_worse, before, seed)))


def _rule_no_worse(before: Verdict, seed: int, bike: Bike) -> bool:
    """Tell whether a bike does no worse than before in a rule."""
    after = _verdict_of(bike, before.rule, seed)
    return bool(after.holds) or (not before.holds and (after.not_shown or _no_worse(after, before)))


def _no_worse(verdict: Verdict, before: Verdict) -> bool:
    """Return whether a failing rule fails by no more than before."""
    return verdict.margin is not None and before.margin is not None and verdict.margin >= before.margin


def _judge_row(tuned: Tuned, row: str, seed: int, check: RulesCheck) -> None:
    """Add a refusal for the worst cell of a row, or note that it fails as before."""
    cells = [cell for cell in check.matrix.cells if cell.row == row and cell.verdict in (FAILS, UNSEEN)]
    if not cells:
        return
    before = ride_matrix(tuned.bike, seed, _nobody_counts, row)
    new = [cell for cell in cells if cell.verdict == FAILS and _cell_before(before, cell).verdict != FAILS]
    worse = [cell for cell in cells if cell.verdict == UNSEEN and _cell_before(before, cell).verdict == HOLDS]
    if bad := new or worse:
        fails = "fails" if new else "held before"
        sentence = f"{_where(bad[0])} {fails}: {'; '.join(bad[0].why)}."
        check.refused.append(Refusal(sentence, partial(_row_no_worse, before, seed)))
    elif failing := [cell for cell in cells if cell.verdict == FAILS]:
        check.as_before.append(f"{_where(failing[0])} fails: {'; '.join(failing[0].why)}.")


def _row_no_worse(before: Matrix, seed: int, bike: Bike) -> bool:
    """Tell whether no cell of a row does worse than before."""
    after = ride_matrix(bike, seed, _nobody_counts, before.rows[0])
    return not any(_worse(before, cell) for cell in after.cells)


def _worse(before: Matrix, cell: Cell) -> bool:
    was = _cell_before(before, cell).verdict
    return (cell.verdict == FAILS and was != FAILS) or (cell.verdict == UNSEEN and was == HOLDS)


def _cell_before(before: Matrix, cell: Cell) -> Cell:
    return before.cell(cell.row, cell.speed_km_per_h, cell.situation)


def _where(cell: Cell) -> str:
    return f"Fault matrix: {cell.row} at {cell.speed_km_per_h:g} km/h, {cell.situation},"
