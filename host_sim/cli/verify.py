"""`treadle verify` on the command line: its options, and its table of rules."""

import json
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption, OutOption, SeedOption
from host_sim.cli.options import rides as read_rides
from host_sim.cli.verify_faults import verify_faults_command
from host_sim.commands.verify import VerifyRequest, VerifyResult, verify
from host_sim.commands.verify_faults import FaultsRequest
from host_sim.progress import progress_bar
from host_sim.rules.judge import Verdict
from host_sim.textfile import spoken

HEADINGS = ("rule", "worst case", "limit", "margin", "unit", "ride", "holds?")


def verify_command(
    bike: BikeArgument = DEFAULT_BIKE,
    rule: Annotated[str | None, typer.Option(help="Only this rule, by its name in the table.")] = None,
    faults: Annotated[
        bool, typer.Option("--faults", help="The fault matrix instead: every input in every way of failing.")
    ] = False,
    seed: SeedOption = 1,
    rides: Annotated[
        int,
        typer.Option(
            parser=read_rides, metavar="NUMBER", help="Rides of each kind, every one with other draws."
        ),
    ] = 50,
    out: OutOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Hold a bike against the timing and safety rules, healthy and under faults.

    Exit code 0 if every rule holds, 1 if one fails. Writes verify.json, and a picture of the worst case of
    every rule that fails. What holds here is a reason to try carefully, no approval.

    With --faults each input fails in every way, at five speeds, judged by true watts, true speed and true
    crank; writes faults.json and faults.png. Exit code 1 if a cell fails that the hazard table doesn't know.

    Example: `treadle verify folding --rule "steady help" --rides 200`
    """
    if faults:
        if not verify_faults_command(FaultsRequest(bike, rule, seed, out, force), as_json):
            raise typer.Exit(1)
        return
    request = VerifyRequest(bike, rule, seed, rides, out, force)
    with progress_bar("riding") as done:
        result = verify(request, done)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_verdicts(result)
    if not result.holds:
        raise typer.Exit(1)


def _print_verdicts(result: VerifyResult) -> None:
    applying = [verdict for verdict in result.verdicts if verdict.applies]
    rows = [HEADINGS, *(_row(verdict) for verdict in applying)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    for row in rows:
        left, numbers, right = row[:1], row[1:4], row[4:]
        cells = [f"{cell:<{width}}" for cell, width in zip(left, widths[:1], strict=True)]
        cells += [f"{cell:>{width}}" for cell, width in zip(numbers, widths[1:4], strict=True)]
        cells += [f"{cell:<{width}}" for cell, width in zip(right, widths[4:], strict=True)]
        print("  ".join(cells).rstrip())
    failing = [verdict for verdict in applying if not verdict.holds]
    for verdict in failing:
        print(f"\n{verdict.rule.name} fails: {verdict.rule.sentence}")
        print(f"  source: {verdict.rule.source}")
        if verdict.cure:
            print(f"  {verdict.cure}")
        if verdict.seed is not None:
            print(f"  again: {result.repeat(verdict)}")
    skipped = [verdict.rule.name for verdict in result.verdicts if not verdict.applies]
    print(f"\n{len(applying) - len(failing)} rules hold, {len(failing)} fail.", end=" ")
    print(f"Without object on this bike: {', '.join(skipped) or 'none'}.")
    if applying:
        print("A worst case is ridden again by its number:")
        print(f'  treadle verify {result.request.bike_given} --rule "RULE" --seed RIDE --rides 1')
    place = result.request.bike.place_profile
    print(f"Place: {place.title}; {place.warning}.")
    print("files  " + "\n       ".join(spoken(path) for path in result.files))


def _row(verdict: Verdict) -> tuple[str, ...]:
    return (
        verdict.rule.name,
        _short(verdict.measured),
        _short(verdict.limit),
        _short(verdict.margin),
        verdict.rule.unit,
        "" if verdict.seed is None else str(verdict.seed),
        "yes" if verdict.holds else "NO",
    )


def _short(value: float | None) -> str:
    if value is None:
        return "nothing"
    return f"{value:.0f}" if abs(value) >= 100 or value == int(value) else f"{value:.2f}"
