"""`treadle new`: writes a bike file from little information; it loads and rides at once."""

import shlex
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from textwrap import fill
from typing import Annotated, Any

import typer

from host_sim.bikes.guesses import VOLTS_LEAST, VOLTS_MOST, Answers
from host_sim.bikes.load import example_names, load_bike
from host_sim.bikes.model import Bike
from host_sim.bikes.new_file import guessed_keys, new_text
from host_sim.cli.options import JsonOption, check_out, check_range, number, whole_number
from host_sim.cli.printing import print_json
from host_sim.errors import RequestError
from host_sim.outputs import whole_file
from host_sim.places.limits import load_place, place_names
from host_sim.refusals import closest
from host_sim.rules.stopping import shows_steady_pedalling, sparse_ring
from host_sim.textfile import spoken

SENSORS = {"two-channel": "two channels", "one-channel": "one channel", "duty-coded": "duty-coded"}
SELECTORS = ("none", "potentiometer", "2", "3", "4", "5", "6")
CHOICES: dict[str, tuple[str, ...]] = {
    "--sensor": tuple(SENSORS),
    "--side": ("right", "left"),
    "--controller": ("speed", "torque"),
    "--selector": SELECTORS,
    "--brakes": ("all", "some", "none"),
}
# Fields of `Answers` that are not called like their option.
_FIELDS = {"--wheel": "wheel_m", "--rider": "rider_kg", "--bicycle": "bike_kg"}
_NEEDED = ("--volts", "--watts", "--sensor", "--pulses", "--place")


def choice(option: str, text: str) -> str:
    """Return one of the words that an option allows; RequestError names the closest."""
    words = CHOICES[option]
    if text not in words:
        near = closest(text, list(words))
        allowed = f"allowed is {', '.join(words)}"
        hint = "" if near.startswith("allowed") else f", {near}"
        raise RequestError(f'{option} is "{text[:60]}", {allowed}{hint}')
    return text


class NewRequest:
    """The answers and the file to write, checked before anything is written."""

    def __init__(self, name: str, answers: Answers, out: Path | None, force: bool) -> None:
        """Check everything that must be refused in terms of the options; RequestError says what is wrong."""
        if Path(name).name != name:
            raise RequestError(
                f'NAME is "{spoken(name)}", allowed is a name without a folder, which --out may have'
            )
        if not name or name[0] in ".-" or not name.isprintable() or name.isspace():
            raise RequestError(
                f'NAME is "{spoken(name)}", allowed is a name that begins with a letter or digit'
            )
        name = name.removesuffix(".toml")
        self.out = out or Path(f"{name}.toml")
        check_out(self.out, ".toml")
        if name in example_names() and out is None:
            raise RequestError(f'NAME is "{name}", which is an example bike, allowed is another name')
        _check_volts(answers.volts)
        self.place = load_place(answers.place)
        limit_w = self.place.power_limit_w
        if answers.watts > limit_w or (self.place.power_strict and answers.watts == limit_w):
            allowed = f"{'below' if self.place.power_strict else 'up to'} {limit_w:g} (W) in {answers.place}"
            raise RequestError(f"--watts is {answers.watts:g}, allowed is {allowed}")
        self.answers = answers
        self.force = force


@dataclass(frozen=True, slots=True)
class NewResult:
    """The file, its bike, and which values are guesses."""

    file: Path
    bike: Bike
    guesses: list[str]

    @property
    def caution(self) -> str:
        """Why help can't be steady on this bike, and what would help; "" if nothing is known against it."""
        return "" if shows_steady_pedalling(self.bike) else sparse_ring(self.bike)

    def as_json(self) -> dict[str, Any]:
        """Return what was written, under the documented keys."""
        return {
            "file": str(self.file),
            "title": self.bike.title,
            "place": self.bike.place,
            "guesses": self.guesses,
            "caution": self.caution,
        }


def new(request: NewRequest) -> NewResult:
    """Write the complete file or none; it is loaded as a test before it takes its place."""
    with whole_file(request.out, request.force) as place:
        place.write_text(new_text(request.answers, request.place), encoding="utf-8")
        bike = load_bike(place)
    return NewResult(request.out, bike, guessed_keys(request.answers, request.place))


def _positive(option: str, text: str) -> float:
    value = number(option, text, "a number above 0")
    if not 0.0 < value < 1e6:
        raise RequestError(f"{option} is {text[:60]!r}, allowed is a number above 0")
    return value


def _check_volts(volts: float) -> None:
    check_range("--volts", volts, (VOLTS_LEAST, VOLTS_MOST), "V, nominal")


def _volts(text: str) -> float:
    """Read --volts; it is checked here, so that a wrong answer is asked for again."""
    volts = _positive("--volts", text)
    _check_volts(volts)
    return volts


def _place(text: str) -> str:
    load_place(text)
    return text


def _yes(option: str, text: str) -> bool:
    if text not in ("yes", "no"):
        raise RequestError(f'{option} is "{text[:60]}", allowed is yes or no')
    return text == "yes"


# Option, question, and how its answer is parsed, in the order of the questions.
_READERS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "--volts": ("Nominal voltage of the battery (24, 36, 48, 52)", _volts),
    "--watts": (
        "Continuous rated power of the motor in W, from its plate",
        lambda t: _positive("--watts", t),
    ),
    "--sensor": (f"Pedal sensor ({', '.join(SENSORS)})", lambda t: SENSORS[choice("--sensor", t)]),
    "--pulses": (
        "Pulses of one channel in a turn of the crank (count the magnets)",
        whole_number("--pulses", 4, 64),
    ),
    "--place": (f"Where is it ridden? ({', '.join(place_names())})", _place),
    "--side": ("Side of the crank that the sensor is on (right, left)", lambda t: choice("--side", t)),
    "--controller": ("Kind of motor controller (speed, torque)", lambda t: choice("--controller", t)),
    "--wheel": ("Distance of one turn of the wheel, in m", lambda t: _positive("--wheel", t)),
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
    volts: Annotated[str | None, typer.Option(help="Nominal voltage of the battery, 20 to 52 V.")] = None,
    watts: Annotated[str | None, typer.Option(help="Continuous rated power of the motor, in W.")] = None,
    sensor: Annotated[
        str | None, typer.Option(help="Pedal sensor: two-channel, one-channel or duty-coded.")
    ] = None,
    pulses: Annotated[
        str | None, typer.Option(help="Pulses of one channel in one turn of the crank, 4 to 64.")
    ] = None,
    place: Annotated[
        str | None, typer.Option(help="Place whose limits apply, such as eu or us_class_2.")
    ] = None,
    side: Annotated[
        str | None, typer.Option(help="Side of the crank with the sensor: right or left.")
    ] = None,
    controller: Annotated[str | None, typer.Option(help="Kind of motor controller: speed or torque.")] = None,
    wheel: Annotated[str | None, typer.Option(help="Distance of one turn of the wheel, in m.")] = None,
    rider: Annotated[str | None, typer.Option(help="Weight of the rider, in kg.")] = None,
    bicycle: Annotated[str | None, typer.Option(help="Weight of the bicycle, in kg.")] = None,
    throttle: Annotated[str | None, typer.Option(help="Throttle fitted: yes or no.")] = None,
    selector: Annotated[
        str | None, typer.Option(help="Selector: none, potentiometer, or 2 to 6 positions.")
    ] = None,
    brakes: Annotated[str | None, typer.Option(help="Brake levers with a switch: all, some or none.")] = None,
    shunt: Annotated[str | None, typer.Option(help="Whether battery current is measured: yes or no.")] = None,
    title: Annotated[str | None, typer.Option(help="Title of the bike for people. Default: NAME.")] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="File to write. Default: NAME.toml.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it exists.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a bike file from what you know, with every key explained; it is ready to ride.

    In a terminal it asks for everything that the options leave open. Values that you don't give are guesses:
    the file marks each with GUESS and says how to measure it.

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
        print_json(result.as_json())
    else:
        _print_new(result)


def _ask(told: dict[str, Any]) -> None:
    """Ask for missing answers; Enter leaves an optional one to a guess."""
    for option, (question, read) in _READERS.items():
        while option not in told:
            needed = option in _NEEDED
            try:
                text = input(f"{question}{'' if needed else ', Enter to guess'}: ").strip()
            except EOFError:
                raise RequestError(
                    "the questions were not answered, allowed is to give the answers as options"
                ) from None
            if not text and not needed:
                break
            try:
                told[option] = read(text)
            except RequestError as error:
                print(f"  {error}")


def _answers(title: str, told: dict[str, Any]) -> Answers:
    fields = {_FIELDS.get(option, option.removeprefix("--")): value for option, value in told.items()}
    return Answers(title=title, **fields)


def _print_new(result: NewResult) -> None:
    file = spoken(result.file)
    typed = shlex.quote(file)
    print(f"file       {file}: loads and rides on the bench; nothing in it has been measured yet")
    guesses = f"{len(result.guesses)}, marked GUESS, each with how to measure it: " + ", ".join(
        result.guesses
    )
    print(fill(f"guesses    {guesses}", 100, subsequent_indent=" " * 11, break_on_hyphens=False))
    if result.caution:
        print(fill(f"caution    {result.caution}", 100, subsequent_indent=" " * 11))
    print(f"place      {result.bike.place}: {result.bike.place_profile.warning}")
    print(f"next       treadle ride {typed} --course errand")
    print(f"           treadle bundle --board rpi_pico {typed}   for the wiring sheet")
