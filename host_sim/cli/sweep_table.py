"""What `treadle sweep` prints: a table of the measures, verdicts of rules, and counts. 80 columns."""

from typing import Any

from host_sim.cli.printing import print_files, print_wrapped, table_lines
from host_sim.sweeping.metrics import LESS, MEASURES, NEITHER
from host_sim.sweeping.words import short_name, unit_of

ENDS = ("bike", "lowest", "median", "highest")
FEW_RIDES = 100  # With fewer rides the speed would mostly show how long processes take to start.


def print_sweep(numbers: dict[str, Any]) -> None:
    """Print the results of a sweep, given as in `SweepResult.as_json`."""
    spreads = numbers["measures"]
    moving = [name for name, spread in spreads.items() if spread["moves"]]
    _print_measures({name: spreads[name] for name in moving})
    _print_best({name: spreads[name] for name in moving})
    flat = [
        f"{_words(name)} {spread['median']:.3g}" for name, spread in spreads.items() if name not in moving
    ]
    if flat:
        print_wrapped("Flat, within noise or 1 %: " + ", ".join(flat) + ".")
    print()
    _print_rules(numbers["rules"])
    print_wrapped(_how_it_went(numbers))
    for reason, count in numbers["not_ridden"].items():
        print_wrapped(f"not ridden, {count} times: {reason}")
    print_wrapped("Simulation is not approval: try a better number carefully.")
    print_files(numbers["files"])


def _print_measures(spreads: dict[str, dict[str, Any]]) -> None:
    rows: list[tuple[str, ...]] = [("measure", *ENDS)]
    for name, spread in spreads.items():
        rows.append((_words(name), *("" if spread[end] is None else f"{spread[end]:.3g}" for end in ENDS)))
    if len(rows) == 1:
        return
    print("\n".join(table_lines(rows, to_the_right=range(1, len(rows[0])))))


def _print_best(spreads: dict[str, dict[str, Any]]) -> None:
    """Say where each measure with a good direction is best."""
    for name, spread in spreads.items():
        good = MEASURES[name].good
        if good != NEITHER:
            end = "lowest" if good == LESS else "highest"
            at = ", ".join(
                f"{short_name(key)} {value:g} {unit_of(key)}".rstrip()
                for key, value in spread[f"{end}_at"].items()
                if key != "number"
            )
            print_wrapped(f"{MEASURES[name].title}: {end} at {at}")


def _print_rules(rules: dict[str, dict[str, Any]]) -> None:
    if not rules:
        print_wrapped("No rule was checked; --rule NAME checks a rule of `treadle verify` at every point.")
    for rule, told in rules.items():
        of_all = told["fails"] + told["holds"] + told["not_shown"]
        words = f'The rule "{rule}" fails at {told["fails"]} of {of_all} points'
        if told["not_shown"]:
            words += f", was not shown or doesn't apply at {told['not_shown']}"
        if "worst" in told:
            words += f"; worst {told['worst']:.4g}, limit {told['limit']:.4g}"
        print_wrapped(words + ".")


def _how_it_went(numbers: dict[str, Any]) -> str:
    rides = numbers["rides"] - numbers["already_there"]
    words = f"{numbers['ridden']} of {numbers['points']} points ridden"
    if rides == 0:
        return f"{words}; all rides were done already."
    words += f", {rides} rides in {numbers['riding_s']:.1f} s"
    if rides < FEW_RIDES or numbers["riding_s"] <= 0.0 or numbers["rules"]:
        return words + "."
    return f"{words}: {numbers['seconds'] * rides / numbers['riding_s']:.0f} times real time."


def _words(name: str) -> str:
    measure = MEASURES[name]
    return f"{measure.title} ({measure.unit})"
