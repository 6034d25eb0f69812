"""`treadle verify --faults`: the fault matrix of a bike, judged by the true values, with its picture."""

import sys
from dataclasses import dataclass
from os import cpu_count
from pathlib import Path
from typing import Any

from host_sim.bikes.load import load_bike
from host_sim.cli.printing import print_files, print_json, print_wrapped
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder, write_json
from host_sim.progress import progress_bar
from host_sim.refusals import closest
from host_sim.rules.fault_matrix import (
    BRAKED_S,
    FAILS,
    HOLDS,
    OVER_POWER_J,
    OVER_SPEED_J,
    UNSEEN,
    Cell,
    Limits,
    Matrix,
    fault_matrix,
)
from host_sim.rules.fault_rides import bounds_of
from host_sim.rules.fault_rows import rows_for
from host_sim.rules.hazards import HazardTable, load_hazards
from host_sim.rules.judge import Done, Say
from host_sim.units import KM_PER_H_PER_M_PER_S

REPORT = "faults.json"
PICTURE = "faults.png"
WORKERS_MAX = 8
WORDS = {HOLDS: "holds", FAILS: "FAILS", UNSEEN: "unseen"}


class FaultsRequest:
    """The bike, one row or all, the first seed and the output folder."""

    def __init__(self, bike: str, row: str | None, seed: int, out: Path | None, force: bool) -> None:
        """Check and load everything before the first ride; RequestError says what is wrong."""
        self.bike_given = bike
        self.bike = load_bike(bike)
        names = [one.name for one in rows_for(self.bike)]
        if row is not None and row not in names:
            raise RequestError(
                f'--rule "{row[:60]}" is not a row of the fault matrix of this bike, {closest(row, names)}'
            )
        self.row = row
        self.seed = seed
        self.out = out or fresh_folder("treadle-faults")
        self.force = force


@dataclass(slots=True)
class FaultsResult:
    """The matrix, the hazard table used to judge it, and the files written."""

    request: FaultsRequest
    table: HazardTable
    matrix: Matrix
    files: list[Path]

    def as_json(self) -> dict[str, Any]:
        """Return the limits, every cell, and the hazards of the cells that software can't see."""
        bike = self.matrix.bike
        limits = Limits(bike)
        bounds = bounds_of(bike)
        cited = {cell.hazard for cell in self.matrix.cells if cell.hazard}
        return {
            "bike": bike.name,
            "seed": self.request.seed,
            "holds": self.matrix.holds,
            "limits": {
                "battery_power_w": round(bounds.power_w, 1),
                "over_power_j": OVER_POWER_J,
                "drive_km_per_h": round(bounds.speed_m_per_s * KM_PER_H_PER_M_PER_S, 2),
                "over_speed_j": OVER_SPEED_J,
                "unpedalled_s": round(limits.run_on_s, 3),
                "unpedalled_m": round(limits.run_on_m, 3),
                "braked_s": BRAKED_S,
            },
            "cells": [cell.as_json() for cell in self.matrix.cells],
            "hazards": [
                {"name": hazard.name, "left": hazard.left, "covered_by": hazard.covered_by}
                for hazard in self.table.hazard
                if hazard.name in cited
            ],
        }


def verify_faults(request: FaultsRequest, done: Done, say: Say) -> FaultsResult:
    """Ride and judge all cells in worker processes, write the report and the picture."""
    from host_sim.compiled.workers import Workers
    from host_sim.report.fault_matrix_figure import draw_fault_matrix

    table = load_hazards()
    with Delivery(request.out, (REPORT, PICTURE), request.force) as delivery:
        with Workers(min(cpu_count() or 1, WORKERS_MAX), say=say) as workers:
            if workers.notice:
                say(workers.notice)
            matrix = fault_matrix(request.bike, table, request.seed, workers.map, done, request.row)
        result = FaultsResult(request, table, matrix, [])
        write_json(delivery.place(REPORT), result.as_json())
        draw_fault_matrix(matrix, delivery.place(PICTURE))
        result.files = delivery.deliver()
    return result


def worst_of_rows(matrix: Matrix, verdict: str) -> list[Cell]:
    """Return the worst cell of every row whose worst verdict is this one, in order of the rows."""
    worst = [matrix.worst(row) for row in matrix.rows]
    return [cell for cell in worst if cell.verdict == verdict]


def verify_faults_command(request: FaultsRequest, as_json: bool) -> bool:
    """Ride, print and return whether no cell fails."""
    with progress_bar("riding faults") as done:
        result = verify_faults(request, done, lambda sentence: print(sentence, file=sys.stderr))
    if as_json:
        print_json(result.as_json())
    else:
        _print(result)
    return result.matrix.holds


def _print(result: FaultsResult) -> None:
    matrix = result.matrix
    for line in table_lines(matrix):
        print(line)
    failing = worst_of_rows(matrix, FAILS)
    if failing:
        print("\nRows that fail, with their worst case:")
    for cell in failing:
        again = f'treadle verify {result.request.bike_given} --faults --rule "{cell.row}"'
        print_wrapped(
            f"{cell.row}, {cell.situation} at {cell.speed_km_per_h:g} km/h: {'; '.join(cell.why)}", "  "
        )
        print(f"    repeat: {again}")
    unseen = worst_of_rows(matrix, UNSEEN)
    if unseen:
        print("\nNo software can see these; host_sim/rules/HAZARDS.md says what covers them:")
    for cell in unseen:
        print_wrapped(f'{cell.row}: {"; ".join(cell.why)} (see "{cell.hazard}")', "  ")
    counts = {verdict: sum(cell.verdict == verdict for cell in matrix.cells) for verdict in WORDS}
    print(
        f"\n{len(matrix.cells)} cells: {counts[HOLDS]} hold, {counts[FAILS]} fail, "
        f"{counts[UNSEEN]} can't be seen."
    )
    print_wrapped("Simulation is not approval: what holds here may fail on the road. Try it carefully.")
    print_files(result.files)


def table_lines(matrix: Matrix) -> list[str]:
    """Return the table: a row for each fault, the worst verdict of all situations at each speed."""
    name_width = max(len(row) for row in (*matrix.rows, "fault"))
    heads = [f"{speed_km_per_h:g}" for speed_km_per_h in matrix.columns_km_per_h]
    lines = [f"{'fault, km/h':<{name_width}}" + "".join(f"{head:>7}" for head in heads)]
    for row in matrix.rows:
        words = [WORDS[matrix.worst(row, speed).verdict] for speed in matrix.columns_km_per_h]
        lines.append(f"{row:<{name_width}}" + "".join(f"{word:>7}" for word in words))
    return lines
