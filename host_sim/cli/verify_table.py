"""The table of `treadle verify`: first the rules that fail, then those not shown, then those that hold."""

from typing import TYPE_CHECKING

from host_sim.cli.printing import WIDTH, print_files, print_wrapped, table_lines
from host_sim.rules.judge import FAILS, HOLDS, NOT_SHOWN, Verdict

if TYPE_CHECKING:
    from host_sim.cli.verify import VerifyResult

HEADINGS = ("", "rule", "worst", "limit", "margin", "unit", "ride")
SAID = {FAILS: "FAILS", NOT_SHOWN: "not shown", HOLDS: "holds"}
TO_THE_RIGHT = (2, 3, 4, 6)
# verify.json has the full unit.
SHORT_UNITS = {"% of what is allowed": "%", "% of assist power": "%"}


def print_verdicts(result: "VerifyResult") -> None:
    """Print the table, a paragraph for each rule that doesn't hold, and the closing lines."""
    applying = [verdict for verdict in result.verdicts if verdict.applies]
    by_outcome = {
        outcome: [verdict for verdict in applying if verdict.outcome == outcome]
        for outcome in (FAILS, NOT_SHOWN, HOLDS)
    }
    if applying:
        _print_table([verdict for some in by_outcome.values() for verdict in some])
    for verdict in by_outcome[FAILS]:
        _print_failure(result, verdict)
    for verdict in by_outcome[NOT_SHOWN]:
        print()
        print_wrapped(f"{verdict.rule.name} was not shown: {verdict.why_not_shown}.")
    print()
    print_wrapped(_counts(by_outcome) + " " + _not_applicable(result), more="")
    if by_outcome[HOLDS] or by_outcome[FAILS]:
        print("To repeat the worst ride of a rule:")
        print(f'  treadle verify {result.asked_about} --rule "RULE" --seed RIDE --rides 1')
    place = result.request.bike.place_profile
    print_wrapped(f"Place: {place.title}; {place.warning}.", more="")
    print_files(result.files)


def _print_table(verdicts: list[Verdict]) -> None:
    rows = [HEADINGS, *(_row(verdict) for verdict in verdicts)]
    lines = table_lines(rows, TO_THE_RIGHT, " ")
    if max(map(len, lines)) > WIDTH:  # The ride's number is too long: verify.json has it.
        lines = table_lines([row[:-1] for row in rows], TO_THE_RIGHT, " ")
    print("\n".join(lines))


def _row(verdict: Verdict) -> tuple[str, ...]:
    unit = verdict.rule.unit
    return (
        SAID[verdict.outcome],
        verdict.rule.name,
        _short(verdict.measured),
        _short(verdict.limit),
        _short(verdict.margin),
        SHORT_UNITS.get(unit, unit),
        "" if verdict.seed is None else str(verdict.seed),
    )


def _short(value: float | None) -> str:
    if value is None:
        return "-"
    return f"{value:.0f}" if abs(value) >= 100 or value == int(value) else f"{value:.2f}"


def _print_failure(result: "VerifyResult", verdict: Verdict) -> None:
    print()
    print_wrapped(f"{verdict.rule.name} fails: {verdict.rule.sentence}")
    print_wrapped(f"source: {verdict.rule.source}", "  ")
    if verdict.cure:
        print_wrapped(f"cure: {verdict.cure}", "  ")
    print(f"  repeat: {result.repeat(verdict)}")


def _counts(by_outcome: dict[str, list[Verdict]]) -> str:
    unshown = len(by_outcome[NOT_SHOWN])
    counts = f"{len(by_outcome[HOLDS])} rules hold, {len(by_outcome[FAILS])} fail"
    if unshown:
        counts += f", {unshown} {'was' if unshown == 1 else 'were'} not shown: nothing is known about "
        counts += "it" if unshown == 1 else "them"
    return counts + "."


def _not_applicable(result: "VerifyResult") -> str:
    skipped = [verdict.rule.name for verdict in result.verdicts if not verdict.applies]
    return f"Not applicable to this bike: {', '.join(skipped) or 'none'}."
