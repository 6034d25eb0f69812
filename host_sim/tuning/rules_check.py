"""Checks a tuned bike file before it is written: every rule, and the whole fault matrix.

A file is written only if tuning breaks no rule, makes no cell of the fault matrix fail, and does nothing
worse than before. A refusal gives the number, and the settings to keep if that cures it. What
the bike fails already, for example because of its sensor, is reported and does not prevent writing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from os import cpu_count
from typing import TYPE_CHECKING

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers
from host_sim.errors import RequestError
from host_sim.rules.catalogue import RULES
from host_sim.rules.fault_matrix import FAILS, HOLDS, UNSEEN, Cell, Matrix, fault_matrix
from host_sim.rules.hazards import load_hazards
from host_sim.rules.judge import Done, Verdict, judge
from host_sim.rules.rule import Rule
from host_sim.tuning.variant import with_settings

if TYPE_CHECKING:
    from host_sim.tuning.recommend import Tuned

RIDES = 50  # Of each kind, as `treadle verify` does.
WORKERS_MOST = 8
# Settings that are kept together in the search for the change that breaks a rule.
GROUPS = (
    ("engage_edges", "engage_rpm"),
    ("release_rpm", "stop_pitch_percent"),
    ("rise_mv_per_s", "fall_mv_per_s"),
    ("gain_uv_per_w", "integral_ms"),
    ("throttle_rest_mv", "throttle_full_mv"),
    ("battery_foldback_mv",),
    ("heat_foldback_decicelsius",),
)


@dataclass(frozen=True, slots=True)
class RulesCheck:
    """Verdicts and matrix of the tuned bike.

    `refusals`: a sentence for each reason not to write it; `as_before`: one for each failure that is no worse
    than before.
    """

    verdicts: list[Verdict]
    matrix: Matrix
    refusals: list[str]
    as_before: list[str]

    @property
    def not_shown(self) -> list[Verdict]:
        """The rules that no ride tested."""
        return [verdict for verdict in self.verdicts if verdict.not_shown]


def check_rules(tuned: "Tuned", seed: int, done: Done) -> RulesCheck:
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
    with Workers(min(cpu_count() or 1, WORKERS_MOST)) as workers:
        return fault_matrix(bike, load_hazards(), seed, workers.map, done, row)


def _nobody_counts(finished: int, count: int) -> None:
    """Show no progress, for the few rides of a second check."""


def _verdict_of(bike: Bike, rule: Rule, seed: int) -> Verdict:
    return judge(bike, [rule], seed, RIDES, _nobody_counts)[0]


def _judge_rule(tuned: "Tuned", verdict: Verdict, seed: int, check: RulesCheck) -> None:
    """Add a refusal for this verdict, or note that it fails as before."""
    rule = verdict.rule
    if verdict.fails:
        number = f"{verdict.measured:.3g} against {verdict.limit:.3g} {rule.unit}"
        before = _verdict_of(tuned.bike, rule, seed)
        if before.fails and _no_worse(verdict, before):
            check.as_before.append(f"{rule.name}, {number}; {before.measured:.3g} before.")
            return
        cure = _cure(tuned, lambda bike: bool(_verdict_of(bike, rule, seed).holds))
        check.refusals.append(f"{rule.name} fails, {number}. {rule.sentence} {cure} {verdict.cure}".rstrip())
    elif verdict.not_shown and _verdict_of(tuned.bike, rule, seed).holds:
        check.refusals.append(
            f"{rule.name} holds now and was not shown for the tuned bike, {verdict.why_not_shown}."
        )


def _no_worse(verdict: Verdict, before: Verdict) -> bool:
    """Return whether a failing rule fails by no more than before."""
    if verdict.margin is None or before.margin is None:
        return False
    return verdict.margin >= before.margin


def _judge_row(tuned: "Tuned", row: str, seed: int, check: RulesCheck) -> None:
    """Add a refusal for the worst cell of a row, or note that it fails as before."""
    cells = [cell for cell in check.matrix.cells if cell.row == row and cell.verdict in (FAILS, UNSEEN)]
    if not cells:
        return
    before = ride_matrix(tuned.bike, seed, _nobody_counts, row)
    new = [cell for cell in cells if cell.verdict == FAILS and _cell_before(before, cell).verdict != FAILS]
    worse = [cell for cell in cells if cell.verdict == UNSEEN and _cell_before(before, cell).verdict == HOLDS]
    if new:
        cure = _cure(tuned, partial(_row_no_worse, before, seed))
        check.refusals.append(f"{_where(new[0])} fails: {'; '.join(new[0].why)}. {cure}".rstrip())
    elif worse:
        check.refusals.append(f"{_where(worse[0])} held before: {'; '.join(worse[0].why)}.")
    elif failing := [cell for cell in cells if cell.verdict == FAILS]:
        check.as_before.append(f"{_where(failing[0])} fails: {'; '.join(failing[0].why)}.")


def _row_no_worse(before: Matrix, seed: int, bike: Bike) -> bool:
    """Return whether every failing cell of a row failed before too."""
    after = ride_matrix(bike, seed, _nobody_counts, before.rows[0])
    return all(cell.verdict != FAILS or _cell_before(before, cell).verdict == FAILS for cell in after.cells)


def _cell_before(before: Matrix, cell: Cell) -> Cell:
    return before.cell(cell.row, cell.speed_km_per_h, cell.situation)


def _where(cell: Cell) -> str:
    return f"Fault matrix: {cell.row} at {cell.speed_km_per_h:g} km/h, {cell.situation},"


def _cure(tuned: "Tuned", holds: Callable[[Bike], bool]) -> str:
    """Return which settings to keep, found by riding; or that keeping none of them alone helps."""
    now = tuned.bike.firmware_settings
    for group in GROUPS:
        kept = {name: getattr(now, name) for name in group if name in tuned.changes}
        if not any(tuned.changes[name] != value for name, value in kept.items()):
            continue
        try:
            bike = with_settings(tuned.tuned, kept)
        except RequestError:
            continue  # Some settings only make sense together.
        if holds(bike):
            words = " and ".join(f"{name} at {value}" for name, value in kept.items())
            options = " ".join(f"--keep {name}" for name in kept)
            return f"It holds with {words}, as now: add {options}."
    return "No change alone is the reason: leave the settings as they are."
