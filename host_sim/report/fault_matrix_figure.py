"""The picture of the fault matrix: rows are faults, columns speeds, one block for each situation.

Pale cells hold. Dark red ones with a cross fail. Yellow ones with a number can't be seen by any software; the
number leads to the hazard below. So failures are visible in grey too.
"""

from itertools import pairwise
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from host_sim.report.ring_drawing import QUIET
from host_sim.report.svg import INK
from host_sim.rules.fault_matrix import FAILS, HOLDS, UNSEEN, Cell, Matrix

COLOURS = {HOLDS: "#dfe9e4", FAILS: "#a0252f", UNSEEN: "#f2c14e"}
CROSS: dict[str, Any] = {"marker": "x", "color": "white", "markersize": 5, "markeredgewidth": 1.5}
ROW_IN = 0.2
CELL = 0.86  # Of the pitch: the rest is white between cells.
BLOCK_GAP = 0.7
NOTE_LONGEST = 46


def draw_fault_matrix(matrix: Matrix, path: Path) -> None:
    """Draw `matrix` into a PNG file."""
    hazards = _hazards(matrix)
    columns = len(matrix.columns_km_per_h)
    rows = len(matrix.rows)
    head_in, foot_in = 1.55, 0.3 + 0.22 * (len(hazards) + 1)
    height_in = head_in + ROW_IN * (rows + _groups(matrix) * 0.5) + foot_in
    figure = Figure(figsize=(13.0, height_in), dpi=110, facecolor="white")
    figure.text(
        0.02, 1.0 - 0.2 / height_in, _title(matrix), fontsize=15, fontweight="bold", va="top", color=INK
    )
    figure.text(0.02, 1.0 - 0.55 / height_in, _subtitle(matrix), fontsize=10, va="top", color=QUIET)
    axes = figure.add_axes(
        (0.235, foot_in / height_in, 0.755, 1.0 - (head_in + foot_in) / height_in), frameon=False
    )
    blocks = len(matrix.situations)
    width = blocks * columns + (blocks - 1) * BLOCK_GAP
    axes.set(xlim=(0.0, width + 17.0), ylim=(rows + 0.5 * _groups(matrix), 0.0), xticks=[], yticks=[])
    _draw_heads(axes, matrix)
    _draw_rows(axes, matrix, hazards, width)
    _draw_key(figure, height_in)
    _draw_hazards(figure, hazards, height_in)
    figure.savefig(path)


def _title(matrix: Matrix) -> str:
    failing = sum(matrix.worst(row).verdict == FAILS for row in matrix.rows)
    said = "no fault fails unseen" if failing == 0 else f"{failing} of {len(matrix.rows) - 1} faults fail"
    return f"{matrix.bike.title}: {said}"


def _subtitle(matrix: Matrix) -> str:
    return (
        "Each cell is one ride with one fault, judged by true battery power, true speed and the true crank. "
        "Bench only, not an approval."
    )


def _hazards(matrix: Matrix) -> dict[str, int]:
    """Return a number for every hazard that a cell refers to, in order of the rows."""
    names: dict[str, int] = {}
    for cell in matrix.cells:
        if cell.verdict == UNSEEN:
            names.setdefault(cell.hazard, len(names) + 1)
    return names


def _groups(matrix: Matrix) -> int:
    """Return how often the input changes from row to row."""
    inputs = [row.split(":")[0] for row in matrix.rows]
    return sum(one != two for one, two in pairwise(inputs))


def _left(matrix: Matrix, situation: str, speed_km_per_h: float) -> float:
    columns = len(matrix.columns_km_per_h)
    block = matrix.situations.index(situation)
    return block * (columns + BLOCK_GAP) + matrix.columns_km_per_h.index(speed_km_per_h)


def _draw_heads(axes: Axes, matrix: Matrix) -> None:
    columns = len(matrix.columns_km_per_h)
    for situation in matrix.situations:
        left = _left(matrix, situation, matrix.columns_km_per_h[0])
        axes.text(left, -1.5, situation, fontsize=11, fontweight="bold", color=INK, va="bottom")
        for speed_km_per_h in matrix.columns_km_per_h:
            x = _left(matrix, situation, speed_km_per_h) + 0.43
            axes.text(x, -0.25, f"{speed_km_per_h:g}", fontsize=8.5, color=QUIET, ha="center", va="bottom")
        axes.plot([left, left + columns - 0.14], [-0.12, -0.12], color=QUIET, linewidth=0.8, clip_on=False)
    axes.text(-0.4, -0.25, "km/h", fontsize=8.5, color=QUIET, ha="right", va="bottom")


def _draw_rows(axes: Axes, matrix: Matrix, hazards: dict[str, int], width: float) -> None:
    y = 0.0
    before = matrix.rows[0].split(":")[0]
    cells = {(cell.row, cell.situation, cell.speed_km_per_h): cell for cell in matrix.cells}
    for row in matrix.rows:
        of_input = row.split(":")[0]
        y += 0.5 if of_input != before else 0.0
        before = of_input
        worst = matrix.worst(row)
        fails = worst.verdict == FAILS
        axes.text(
            -0.4, y + 0.43, row, fontsize=8.5, ha="right", va="center",
            color=COLOURS[FAILS] if fails else INK, fontweight="bold" if fails else "normal",
        )  # fmt: skip
        for situation in matrix.situations:
            for speed_km_per_h in matrix.columns_km_per_h:
                cell = cells.get((row, situation, speed_km_per_h))
                if cell is not None:
                    _draw_cell(axes, _left(matrix, situation, speed_km_per_h), y, cell, hazards)
        if worst.why:
            colour = COLOURS[FAILS] if fails else QUIET
            axes.text(width + 0.4, y + 0.43, _note(worst), fontsize=8, va="center", color=colour)
        y += 1.0


def _draw_cell(axes: Axes, x: float, y: float, cell: Cell, hazards: dict[str, int]) -> None:
    axes.add_patch(Rectangle((x, y), CELL, CELL, facecolor=COLOURS[cell.verdict], edgecolor="none"))
    if cell.verdict == FAILS:
        axes.plot(x + 0.43, y + 0.43, **CROSS)
    elif cell.verdict == UNSEEN:
        number = str(hazards[cell.hazard])
        axes.text(x + 0.43, y + 0.47, number, fontsize=7.5, color=INK, ha="center", va="center")


def _note(cell: Cell) -> str:
    """Describe the worst case of a row in a few words."""
    text = cell.why[0]
    return text if len(text) <= NOTE_LONGEST else text[: text.rfind(",")]


def _draw_key(figure: Figure, height_in: float) -> None:
    """Draw the legend above the columns."""
    axes = figure.add_axes((0.02, 1.0 - 1.02 / height_in, 0.96, 0.2 / height_in), frameon=False)
    axes.set(xlim=(0.0, 62.4), ylim=(1.0, 0.0), xticks=[], yticks=[])
    words = {
        HOLDS: "holds: any excess stays within the limits",
        FAILS: "fails: too much power, speed or help for too long",
        UNSEEN: "can't be seen by software: number of the hazard below",
    }
    for number, (verdict, text) in enumerate(words.items()):
        x = 20.5 * number
        axes.add_patch(Rectangle((x, 0.0), 1.0, 1.0, facecolor=COLOURS[verdict], edgecolor="none"))
        if verdict == FAILS:
            axes.plot(x + 0.5, 0.5, **CROSS)
        elif verdict == UNSEEN:
            axes.text(x + 0.5, 0.5, "1", fontsize=9, color=INK, ha="center", va="center")
        axes.text(x + 1.4, 0.5, text, fontsize=9.5, color=INK, va="center")


def _draw_hazards(figure: Figure, hazards: dict[str, int], height_in: float) -> None:
    y_in = 0.22 * (len(hazards) + 1)
    for name, number in hazards.items():
        figure.text(0.02, y_in / height_in, f"{number}  {name}", fontsize=9, color=INK, va="top")
        y_in -= 0.22
    if hazards:
        figure.text(
            0.3, 0.22 * (len(hazards) + 1) / height_in,
            "What covers each of them, and how large it may be: host_sim/rules/HAZARDS.md",
            fontsize=9, color=QUIET, va="top",
        )  # fmt: skip
