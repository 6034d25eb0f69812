"""Options that several commands share, and parsing of numbers on the command line."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.errors import RequestError

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


def seed(text: str) -> int:
    """Read --seed."""
    allowed = f"a whole number from 0 to {SEED_MAX}"
    value = number("--seed", text, allowed)
    if not 0 <= value <= SEED_MAX or value != int(value):
        raise RequestError(f"--seed is {text[:60]!r}, allowed is {allowed}")
    return int(value)


def rides(text: str) -> int:
    """Read --rides."""
    allowed = f"a whole number from 1 to {RIDES_MAX}"
    value = number("--rides", text, allowed)
    if not 1 <= value <= RIDES_MAX or value != int(value):
        raise RequestError(f"--rides is {text[:60]!r}, allowed is {allowed}")
    return int(value)


BikeArgument = Annotated[str, typer.Argument(help="Bike file, or the name of an example bike.")]
SeedOption = Annotated[
    int,
    typer.Option(parser=seed, metavar="NUMBER", help="Random seed, 0 or more."),
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
