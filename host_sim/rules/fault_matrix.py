"""The fault matrix: every input fails in every way, at five speeds, in four situations; true values decide.

A cell holds, fails, or is unseen: then the hazard table says why, and how large the excess may be.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from host_sim.bikes.model import Bike
from host_sim.rules.fault_rides import (
    BY_THROTTLE,
    SITUATIONS,
    Job,
    Measured,
    columns_km_per_h,
    ride_cell,
)
from host_sim.rules.fault_rows import Row, rows_for
from host_sim.rules.hazards import HazardTable, Unseen, unseen_of
from host_sim.rules.stopping import backward_limit_s, distance_limit_m

HOLDS, FAILS, UNSEEN = "holds", "fails", "unseen"
NO_FAULT_ROW = "no fault"

# Overshoot of a working power loop when it starts: healthy rides measure 0 J, a controller that cuts out
# and comes back 6 J. A push of 10 J moves 100 kg by 0.45 m/s from rest, and by 0.02 m/s at 16 km/h.
OVER_POWER_J = 10.0
# 250 W for 2.8 s: until a lost wheel sensor is detected (1 s), or half the pulses are distinguished from a
# tail wind (about 3 s with what is left in the taper). It takes 100 kg from 27.5 to 30.6 km/h without road
# load.
OVER_SPEED_J = 700.0
# At walking pace the way that the place allows takes seconds, so time counts too: what release cadence and
# motor controller need, and in any case a second.
RUN_ON_S = 1.0
RUN_ON_MARGIN_M = 0.05  # The way of one control period at 36 km/h: what the end of a step hides.
# A rider who brakes expects the push to end with the pull; the motor controller takes up to 0.3 s to let go
# (highest motor_lag_ms).
BRAKED_S = 0.5


@dataclass(frozen=True, slots=True)
class Cell:
    """One judged cell; `why` has a phrase for each exceeded limit, `hazard` is "" unless one is known."""

    row: str
    speed_km_per_h: float
    situation: str
    measured: Measured
    verdict: str
    why: list[str]
    hazard: str

    def as_json(self) -> dict[str, Any]:
        """Return everything about the cell."""
        return {
            "row": self.row,
            "km_per_h": self.speed_km_per_h,
            "situation": self.situation,
            "verdict": self.verdict,
            "why": self.why,
            "hazard": self.hazard or None,
            **self.measured.as_json(),
        }


class Limits:
    """The limits of a cell of this bike; larger ones if the hazard table lists an excess."""

    def __init__(self, bike: Bike, events: int = 1, unseen: Unseen | None = None) -> None:
        """Set the ordinary limits, or the sizes that the hazard table states instead."""
        self.power_w = float(bike.firmware_settings.power_limit_w)
        self.over_power_j = OVER_POWER_J * events
        self.over_speed_j = OVER_SPEED_J
        self.run_on_s = max(RUN_ON_S, backward_limit_s(bike))
        self.run_on_m = distance_limit_m(bike) + RUN_ON_MARGIN_M
        self.braked_s = BRAKED_S
        self.peak_w: float | None = None
        self.over_speed_s: float | None = None
        if unseen is not None:
            self._take(unseen)

    def _take(self, unseen: Unseen) -> None:
        if unseen.power_percent is not None:
            self.peak_w = self.power_w * unseen.power_percent / 100.0
            self.over_power_j = float("inf")
        if unseen.over_power_j is not None:
            self.over_power_j = unseen.over_power_j
        if unseen.over_speed_s is not None:
            self.over_speed_s = unseen.over_speed_s
            self.over_speed_j = float("inf")
        if unseen.run_on_s is not None:
            self.run_on_s = unseen.run_on_s
            self.run_on_m = float("inf")
        if unseen.braked_s is not None:
            self.braked_s = unseen.braked_s

    def broken_by(self, measured: Measured) -> list[str]:
        """Return a phrase with the size for each exceeded limit; nothing if all are met."""
        broken: list[str] = []
        too_strong = self.peak_w is not None and measured.peak_power_w > self.peak_w
        if measured.over_power_j > self.over_power_j or too_strong:
            broken.append(
                f"{measured.peak_power_w:.0f} W of {self.power_w:.0f} W, "
                f"{measured.over_power_j:.0f} J too much in {measured.over_power_s:.1f} s"
            )
        too_long = self.over_speed_s is not None and measured.over_speed_s > self.over_speed_s
        if measured.over_speed_j > self.over_speed_j or too_long:
            broken.append(
                f"drive at {measured.peak_drive_km_per_h:.0f} km/h for {measured.over_speed_s:.1f} s, "
                f"{measured.over_speed_j:.0f} J"
            )
        if measured.unpedalled_s > self.run_on_s or measured.unpedalled_m > self.run_on_m:
            broken.append(f"unwanted help for {measured.unpedalled_s:.1f} s, {measured.unpedalled_m:.1f} m")
        if measured.braked_s > self.braked_s:
            broken.append(f"help for {measured.braked_s:.1f} s of braking")
        return broken


class Matrix:
    """All cells of a bike, row by row. Read: `cells`, `rows` (names), `columns_km_per_h`, `situations`."""

    def __init__(self, bike: Bike, rows: Sequence[str], cells: list[Cell]) -> None:
        """Store the judged cells."""
        self.bike = bike
        self.rows = list(rows)
        self.cells = cells
        self.columns_km_per_h = columns_km_per_h(bike)
        self.situations = situations_of(bike)

    @property
    def holds(self) -> bool:
        """Whether no cell fails."""
        return all(cell.verdict != FAILS for cell in self.cells)

    def cell(self, row: str, speed_km_per_h: float, situation: str) -> Cell:
        """Return one cell; KeyError if it was not ridden."""
        for cell in self.cells:
            if (cell.row, cell.speed_km_per_h, cell.situation) == (row, speed_km_per_h, situation):
                return cell
        raise KeyError(f"{row} at {speed_km_per_h:g} km/h, {situation}")

    def worst(self, row: str, speed_km_per_h: float | None = None) -> Cell:
        """Return the worst cell of a row (at one speed or at all): the one furthest beyond its limit."""
        of_row = [
            cell for cell in self.cells if cell.row == row and speed_km_per_h in (None, cell.speed_km_per_h)
        ]
        return max(of_row, key=lambda cell: ((HOLDS, UNSEEN, FAILS).index(cell.verdict), _size(cell)))


def _size(cell: Cell) -> float:
    measured = cell.measured
    return max(
        measured.over_power_j / OVER_POWER_J,
        measured.over_speed_j / OVER_SPEED_J,
        measured.unpedalled_s / RUN_ON_S,
        measured.braked_s / BRAKED_S,
    )


def situations_of(bike: Bike) -> list[str]:
    """Return the situations that this bike can be in."""
    return [name for name in SITUATIONS if name != BY_THROTTLE or bike.throttle.fitted]


def judged(bike: Bike, table: HazardTable, row: Row | None, job: Job, measured: Measured) -> Cell:
    """Return the verdict on one ride; `row` is None for the ride without a fault."""
    name = NO_FAULT_ROW if row is None else row.name
    events = 1 if row is None else row.events
    place = (name, job[2], job[3], measured)
    why = Limits(bike, events).broken_by(measured)
    if not why:
        return Cell(*place, HOLDS, [], "")
    known = None if row is None else unseen_of(table, name, bike, job[2], job[3])
    if known is None:
        return Cell(*place, FAILS, why, "")
    hazard, unseen = known
    beyond = Limits(bike, events, unseen).broken_by(measured)
    if beyond:
        return Cell(*place, FAILS, [f"{one}: more than stated" for one in beyond], hazard.name)
    return Cell(*place, UNSEEN, why, hazard.name)


MapJobs = Callable[[Callable[[Job], Measured], Iterable[Job]], Iterator[Measured]]
Done = Callable[[int, int], None]


def fault_matrix(
    bike: Bike, table: HazardTable, seed: int, map_jobs: MapJobs, done: Done, only: str | None = None
) -> Matrix:
    """Ride and judge every cell of a bike, or those of the row named `only`.

    `map_jobs(function, jobs)` rides them in order, in this process or in others; `done(ridden, all)` is
    called as the work goes on.
    """
    rows: list[Row | None] = [None, *rows_for(bike)]
    if only is not None:
        rows = [row for row in rows if row is not None and row.name == only]
    jobs = [
        (row, (bike, "" if row is None else row.name, speed_km_per_h, situation, seed))
        for row in rows
        for situation in situations_of(bike)
        for speed_km_per_h in columns_km_per_h(bike)
    ]
    cells = []
    for (row, job), measured in zip(jobs, map_jobs(ride_cell, [job for _, job in jobs]), strict=True):
        cells.append(judged(bike, table, row, job, measured))
        done(len(cells), len(jobs))
    return Matrix(bike, [NO_FAULT_ROW if row is None else row.name for row in rows], cells)
