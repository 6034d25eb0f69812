"""`treadle verify --faults` on the command line: a table of rows and speeds, at most 80 columns wide."""

import json
import sys
from textwrap import wrap

from host_sim.commands.verify_faults import FaultsRequest, FaultsResult, verify_faults, worst_of_rows
from host_sim.progress import progress_bar
from host_sim.rules.fault_matrix import FAILS, HOLDS, UNSEEN, Matrix
from host_sim.textfile import spoken

WIDTH = 80
WORDS = {HOLDS: "holds", FAILS: "FAILS", UNSEEN: "unseen"}


def verify_faults_command(request: FaultsRequest, as_json: bool) -> bool:
    """Ride, print and return whether no cell fails."""
    with progress_bar("riding faults") as done:
        result = verify_faults(request, done, lambda sentence: print(sentence, file=sys.stderr))
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print(result)
    return result.matrix.holds


def _print(result: FaultsResult) -> None:
    matrix = result.matrix
    for line in table_lines(matrix):
        print(line)
    failing = worst_of_rows(matrix, FAILS)
    if failing:
        print("\nFails, in the worst case of each row:")
    for cell in failing:
        again = f'treadle verify {result.request.bike_given} --faults --rule "{cell.row}"'
        _say(f"{cell.row}, {cell.situation} at {cell.speed_km_per_h:g} km/h: {'; '.join(cell.why)}")
        _say(f"again: {again}", "    ")
    unseen = worst_of_rows(matrix, UNSEEN)
    if unseen:
        print("\nCan't be seen by any software; host_sim/rules/HAZARDS.md says what covers it:")
    for cell in unseen:
        _say(f'{cell.row}: {"; ".join(cell.why)} (see "{cell.hazard}")')
    counts = {verdict: sum(cell.verdict == verdict for cell in matrix.cells) for verdict in WORDS}
    print(
        f"\n{len(matrix.cells)} cells: {counts[HOLDS]} hold, {counts[FAILS]} fail, "
        f"{counts[UNSEEN]} can't be seen."
    )
    _say("What holds here is a reason to try carefully, no approval.", "")
    print("files  " + "\n       ".join(spoken(path) for path in result.files))


def table_lines(matrix: Matrix) -> list[str]:
    """Return the table: a row for each fault, the worst verdict of all situations at each speed."""
    name_width = max(len(row) for row in (*matrix.rows, "fault"))
    heads = [f"{speed_km_per_h:g}" for speed_km_per_h in matrix.columns_km_per_h]
    lines = [f"{'fault, km/h':<{name_width}}" + "".join(f"{head:>7}" for head in heads)]
    for row in matrix.rows:
        words = [WORDS[matrix.worst(row, speed).verdict] for speed in matrix.columns_km_per_h]
        lines.append(f"{row:<{name_width}}" + "".join(f"{word:>7}" for word in words))
    return lines


def _say(text: str, indent: str = "  ") -> None:
    for line in wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  "):
        print(line)
