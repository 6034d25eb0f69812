"""What `treadle tune` prints: a table of settings, then the reasons, within 80 columns."""

from typing import TYPE_CHECKING

from host_sim.cli import printing
from host_sim.cli.printing import print_files, print_wrapped, wrapped
from host_sim.tuning.rules_check import RIDES

if TYPE_CHECKING:
    from host_sim.cli.tune import TuneResult
    from host_sim.tuning.row import Row

CELL_MOST = 14  # Two of them, the longest setting and the marks fill a line.


def print_rows(rows: "list[Row]") -> None:
    """Print a line for each setting, then the reasons, effects and checks."""
    print("\n".join(table_lines(rows)))
    for row in rows:
        print("\n".join(reason_lines(row)))
    print_wrapped("Check changes with the wheel off the ground first, then slowly on the road.")


def table_lines(rows: "list[Row]") -> list[str]:
    """Return the heading and one line for each setting; changes are marked."""
    cells = [("setting", "now", "recommended", "", "as good")]
    for row in rows:
        changed = "" if row.now == row.recommended else "changed"
        flat = row.spread.partition(";")[0].removeprefix("flat between ").replace(" and ", " to ")
        cells.append(
            (
                row.setting,
                _cell(row.now),
                _cell(row.recommended),
                changed,
                flat if row.spread.startswith("flat") else "",
            )
        )
    return [*printing.table_lines(cells, to_the_right=(1, 2)), ""]


def _cell(found: object) -> str:
    """Return a value for the table; shares too long for it stand below only."""
    words = value(found)
    return words if len(words) <= CELL_MOST else "see below"


def reason_lines(row: "Row") -> list[str]:
    """Return the paragraphs about one setting."""
    why = f"{row.why} ({row.spread})" if row.spread else row.why
    lines = [f"{row.setting}: {value(row.now)} → {value(row.recommended)}"]
    lines += wrapped(f"why: {why}", "  ")
    if effect := effects(row):
        lines += wrapped(f"effect: {'; '.join(effect)}", "  ")
    if row.now != row.recommended:
        lines += wrapped(f"check: {row.check}", "  ")
        lines += wrapped(f"assumed: {row.assumes}", "  ")
    return [*lines, ""]


def effects(row: "Row") -> list[str]:
    """Return each number before and after, if known."""
    found = []
    for name, before in row.before.items():
        after = row.after.get(name)
        if before is not None and after is not None:
            found.append(f"{name} {before:.3g} → {after:.3g}" if before != after else f"{name} {after:.3g}")
    return found


def value(found: object) -> str:
    """Return a setting's value, or shares, as people write them."""
    if isinstance(found, list):
        return " ".join(f"{share:g}" for share in found)
    return str(found)


def print_result(result: "TuneResult") -> None:
    """Print the settings with their reasons, then what they come to and what the rules say."""
    print_rows(result.rows)
    tuned = result.tuned
    if tuned.loop is not None:
        print_wrapped(tuned.loop.surge.sentence(tuned.bike))
    print_wrapped(result.given_up)
    before, after = tuned.before.scores.total, tuned.after.scores.total
    print(f"Score, lower is better: {before:.2f} now, {after:.2f} recommended ({tuned.priority.name}).")
    if result.uncertain is not None:
        for sentence in result.uncertain.sentences():
            print_wrapped(f"{sentence[0].upper()}{sentence[1:]}.")
    elif result.request.uncertain:
        print_wrapped("Uncertain: no current sensor is fitted, so there is no loop with a margin.")
    if result.held_back:
        print_wrapped(result.held_back)
    for refusal in result.failing:
        print_wrapped(f"{'Refused' if result.request.write is None else 'Not written'}: {refusal}")
    for sentence in result.as_before:
        print_wrapped(f"Fails as it did before: {sentence}")
    for verdict in result.not_shown:
        print_wrapped(f"Not shown either way: {verdict.rule.name}, {verdict.why_not_shown}.")
    if not result.failing:
        which = "The other rules" if result.not_shown or result.as_before else "The rules"
        print_wrapped(
            f"{which} hold over {RIDES} rides of each kind, and no cell of the fault matrix is worse."
        )
    print_files(result.files)
