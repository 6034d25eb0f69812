"""Options that several commands share, and parsing of numbers on the command line."""

from collections.abc import Callable, Iterable, Sequence
from math import inf
from pathlib import Path
from typing import Annotated

import typer

from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder
from host_sim.refusals import closest
from host_sim.textfile import spoken

DEFAULT_BIKE = "cargo_trike"
SEED_MAX = 2**32 - 1
RIDES_MAX = 100_000


def number(name: str, text: str, allowed: str) -> float:
    """Parse a number; RequestError names the option, the text and what is allowed."""
    try:
        return float(text)
    except ValueError:
        raise RequestError(f"{name} is {text[:60]!r}, allowed is {allowed}") from None


def seconds(text: str) -> float:
    """Read --seconds."""
    return number("--seconds", text, "a number of seconds, 1 or more")


def whole(name: str, text: str, allowed: str, least: float = -inf, most: float = inf) -> int:
    """Parse a whole number from `least` to `most`; RequestError as for `number`."""
    value = number(name, text, allowed)
    if not least <= value <= most or value % 1 != 0:
        raise RequestError(f"{name} is {text[:60]!r}, allowed is {allowed}")
    return int(value)


def whole_number(name: str, least: int, most: int, what: str = "a whole number") -> Callable[[str], int]:
    """Return the parser of an option that takes a whole number from `least` to `most`."""
    return lambda text: whole(name, text, f"{what} from {least} to {most}", least, most)


def check_range(name: str, value: float, allowed: tuple[float, float], unit: str = "s") -> None:
    """Raise RequestError unless `value` is in the range `allowed`, whose ends belong to it."""
    low, high = allowed
    if not low <= value <= high:
        raise RequestError(f"{name} is {value:g}, allowed is {low:g} to {high:g} ({unit})")


def check_names(option: str, names: Iterable[str], known: Sequence[str]) -> tuple[str, ...]:
    """Return the names given with a repeatable option; RequestError unless all of them are known."""
    given = tuple(names)
    for name in given:
        if name not in known:
            raise RequestError(f'{option} is "{name[:60]}", {closest(name, list(known))}')
    return given


def check_out(path: Path, ending: str) -> None:
    """Raise RequestError unless the file of --out ends in `ending` and its folder exists."""
    if path.suffix != ending:
        raise RequestError(f"--out is {spoken(path)}, allowed is a file that ends in {ending}")
    refuse_missing_folder(path, "--out")


BikeArgument = Annotated[str, typer.Argument(help="Bike file, or the name of an example bike.")]
SeedOption = Annotated[
    int,
    typer.Option(
        parser=whole_number("--seed", 0, SEED_MAX), metavar="NUMBER", help="Random seed, 0 or more."
    ),
]
ControllerOption = Annotated[
    str | None,
    typer.Option(
        metavar="PLACE:CLASS",
        help="Use your own controller: module_or_file:Class, for example mine.py:Mine.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace files that exist in --out.")]
OutOption = Annotated[Path | None, typer.Option(help="Folder for the results. Default: a new one here.")]
