"""`treadle new` on the command line: its options, its questions, and what it says."""

import json
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from textwrap import fill
from typing import Annotated, Any

import typer

from host_sim.bikes.guesses import Answers
from host_sim.cli.options import JsonOption, number
from host_sim.commands.new import SENSORS, NewRequest, NewResult, check_volts, choice, new
from host_sim.errors import RequestError
from host_sim.places.limits import load_place, place_names
from host_sim.textfile import spoken

_NEEDED = ("--volts", "--watts", "--sensor", "--pulses", "--place")


def _positive(option: str, text: str) -> float:
    value = number(option, text, "a number above 0")
    if not 0.0 < value < 1e6:
        raise RequestError(f"{option} is {text[:60]!r}, allowed is a number above 0")
    return value


def _pulses(text: str) -> int:
    allowed = "a whole number from 4 to 64"
    value = number("--pulses", text, allowed)
    if not 4 <= value <= 64 or value != int(value):
        raise RequestError(f"--pulses is {text[:60]!r}, allowed is {allowed}")
    return int(value)


def _place(text: str) -> str:
    load_place(text)
    return text


def _yes(option: str, text: str) -> bool:
    if text not in ("yes", "no"):
        raise RequestError(f'{option} is "{text[:60]}", allowed is yes or no')
    return text == "yes"


# Option, question, and how its answer is read. In the order in which they are asked.
_READERS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "--volts": (
        "Nominal voltage of the battery (24, 36, 48, 52)",
        lambda t: check_volts(_positive("--volts", t)),
    ),
    "--watts": (
        "Continuous rated power of the motor in W, from its plate",
        lambda t: _positive("--watts", t),
    ),
    "--sensor": (f"Pedal sensor ({', '.join(SENSORS)})", lambda t: choice("--sensor", t)),
    "--pulses": ("Pulses of one channel in a turn of the crank (count the magnets)", _pulses),
    "--place": (f"Where is it ridden? ({', '.join(place_names())})", _place),
    "--side": ("Side of the crank that the sensor is on (right, left)", lambda t: choice("--side", t)),
    "--controller": ("Kind of motor controller (speed, torque)", lambda t: choice("--controller", t)),
    "--wheel": ("Way of one turn of the wheel, in m", lambda t: _positive("--wheel", t)),
    "--rider": ("Weight of the rider, in kg", lambda t: _positive("--rider", t)),
    "--bicycle": ("Weight of the bicycle with its battery, in kg", lambda t: _positive("--bicycle", t)),
    "--throttle": ("Is there a throttle? (yes, no)", lambda t: _yes("--throttle", t)),
    "--selector": ("Selector (none, potentiometer, or 2 to 6 positions)", lambda t: choice("--selector", t)),
    "--brakes": ("How many brake levers have a switch? (all, some, none)", lambda t: choice("--brakes", t)),
    "--shunt": ("Will battery current be measured? (yes, no)", lambda t: _yes("--shunt", t)),
}


def new_command(
    name: Annotated[
        str, typer.Argument(help="Name of the bike; the file is NAME.toml unless --out is given.")
    ],
    volts: Annotated[str | None, typer.Option(help="Nominal voltage of the battery, 20 to 52.")] = None,
    watts: Annotated[str | None, typer.Option(help="Continuous rated power of the motor.")] = None,
    sensor: Annotated[str | None, typer.Option(help="two-channel, one-channel or duty-coded.")] = None,
    pulses: Annotated[str | None, typer.Option(help="Pulses of one channel in one turn, 4 to 64.")] = None,
    place: Annotated[str | None, typer.Option(help="Whose limits it keeps, as in eu or us_class_2.")] = None,
    side: Annotated[str | None, typer.Option(help="Side of the crank with the sensor: right, left.")] = None,
    controller: Annotated[str | None, typer.Option(help="Motor controller: speed or torque.")] = None,
    wheel: Annotated[str | None, typer.Option(help="Way of one turn of the wheel, in m.")] = None,
    rider: Annotated[str | None, typer.Option(help="Weight of the rider, in kg.")] = None,
    bicycle: Annotated[str | None, typer.Option(help="Weight of the bicycle, in kg.")] = None,
    throttle: Annotated[str | None, typer.Option(help="Throttle fitted: yes or no.")] = None,
    selector: Annotated[str | None, typer.Option(help="none, potentiometer, or 2 to 6 positions.")] = None,
    brakes: Annotated[str | None, typer.Option(help="Levers with a switch: all, some, none.")] = None,
    shunt: Annotated[str | None, typer.Option(help="Battery current measured: yes or no.")] = None,
    title: Annotated[str | None, typer.Option(help="What it is, for people. Default: NAME.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="The file. Default: NAME.toml.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it exists.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a bike file that explains every key, from what you know; it loads and rides at once.

    Asks in a terminal for what the options leave open. What nobody told is a guess: the file marks each with
    GUESS and says how to measure it.

    Example: `treadle new longtail --volts 48 --watts 750 --sensor two-channel --pulses 12 --place us_class_2`
    """
    given = {
        "--volts": volts,
        "--watts": watts,
        "--sensor": sensor,
        "--pulses": pulses,
        "--place": place,
        "--side": side,
        "--controller": controller,
        "--wheel": wheel,
        "--rider": rider,
        "--bicycle": bicycle,
        "--throttle": throttle,
        "--selector": selector,
        "--brakes": brakes,
        "--shunt": shunt,
    }
    told = {option: _READERS[option][1](text) for option, text in given.items() if text is not None}
    missing = [option for option in _NEEDED if option not in told]
    if missing and (as_json or not (sys.stdin.isatty() and sys.stdout.isatty())):
        raise RequestError(
            f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing, allowed is to give "
            f"{'it' if len(missing) == 1 else 'them'}, or to answer questions in a terminal"
        )
    if missing:
        _ask(told)
    result = new(NewRequest(name, _answers(title or name.removesuffix(".toml"), told), out, force))
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_new(result)


def _ask(told: dict[str, Any]) -> None:
    """Ask for what is not told; Enter leaves what is not needed to a guess."""
    for option, (question, read) in _READERS.items():
        while option not in told:
            needed = option in _NEEDED
            try:
                text = input(f"{question}{'' if needed else ', Enter to guess'}: ").strip()
            except EOFError:
                raise RequestError("the questions were not answered, allowed is to give options") from None
            if not text and not needed:
                break
            try:
                told[option] = read(text)
            except RequestError as error:
                print(f"  {error}")


def _answers(title: str, told: dict[str, Any]) -> Answers:
    return Answers(
        title=title,
        place=told["--place"],
        volts=told["--volts"],
        watts=told["--watts"],
        sensor=SENSORS[told["--sensor"]],
        pulses=told["--pulses"],
        side=told.get("--side"),
        controller=told.get("--controller"),
        wheel_m=told.get("--wheel"),
        rider_kg=told.get("--rider"),
        bike_kg=told.get("--bicycle"),
        throttle=told.get("--throttle"),
        selector=told.get("--selector"),
        brakes=told.get("--brakes"),
        shunt=told.get("--shunt"),
    )


def _print_new(result: NewResult) -> None:
    file = spoken(result.file)
    typed = shlex.quote(file)
    print(f"file       {file}: loads and rides on the bench; nothing in it has been measured yet")
    guesses = f"{len(result.guesses)}, marked GUESS, each with how to measure it: " + ", ".join(
        result.guesses
    )
    print(fill(f"guesses    {guesses}", 100, subsequent_indent=" " * 11, break_on_hyphens=False))
    print(f"place      {result.bike.place}: {result.bike.place_profile.warning}")
    print(f"next       treadle ride {typed} --course errand")
    print(f"           treadle bundle --board rpi_pico {typed}   for the wiring sheet")
