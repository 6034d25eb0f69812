"""`treadle new`: a bike file for a bicycle of which little is known yet, which loads and rides at once."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.bikes.guesses import VOLTS_LEAST, VOLTS_MOST, Answers
from host_sim.bikes.load import example_names, load_bike
from host_sim.bikes.model import Bike
from host_sim.bikes.new_file import guessed_keys, new_text
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, refuse_missing_folder
from host_sim.places.limits import load_place
from host_sim.refusals import closest
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


def choice(option: str, text: str) -> str:
    """Return one of the words that an option allows; RequestError names the nearest."""
    words = CHOICES[option]
    if text not in words:
        near = closest(text, list(words))
        allowed = f"allowed is {', '.join(words)}"
        hint = "" if near.startswith("allowed") else f", {near}"
        raise RequestError(f'{option} is "{text[:60]}", {allowed}{hint}')
    return text


def check_volts(volts: float) -> float:
    """Return the nominal voltage, if this board's kind of build may have it."""
    if not VOLTS_LEAST <= volts <= VOLTS_MOST:
        allowed = f"allowed is {VOLTS_LEAST:g} to {VOLTS_MOST:g} (V, nominal)"
        raise RequestError(f"--volts is {volts:g}, {allowed}")
    return volts


class NewRequest:
    """The answers and the file to write; RequestError says what is wrong, before anything is written."""

    def __init__(self, name: str, answers: Answers, out: Path | None, force: bool) -> None:
        """Check what the bike file's own check can't say in the words of the options."""
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
        if self.out.suffix != ".toml":
            raise RequestError(f"--out is {spoken(self.out)}, allowed is a file that ends in .toml")
        refuse_missing_folder(self.out, "--out")
        if name in example_names() and out is None:
            raise RequestError(f'NAME is "{name}", which is an example bike, allowed is another name')
        check_volts(answers.volts)
        self.place = load_place(answers.place)
        limit_w = self.place.power_limit_w
        if answers.watts > limit_w or (self.place.power_strict and answers.watts == limit_w):
            allowed = f"{'below' if self.place.power_strict else 'up to'} {limit_w:g} (W) in {answers.place}"
            raise RequestError(f"--watts is {answers.watts:g}, allowed is {allowed}")
        self.answers = answers
        self.force = force


@dataclass(frozen=True, slots=True)
class NewResult:
    """The file, the bike in it, and what in it is a guess."""

    file: Path
    bike: Bike
    guesses: list[str]

    def as_json(self) -> dict[str, Any]:
        """Return what was written, with the keys that the manual names."""
        return {
            "file": str(self.file),
            "title": self.bike.title,
            "place": self.bike.place,
            "guesses": self.guesses,
        }


def new(request: NewRequest) -> NewResult:
    """Write the file whole or not at all; it has been loaded before it takes its place."""
    path = request.out
    with Delivery(path.parent, (path.name,), request.force) as delivery:
        place = delivery.place(path.name)
        place.write_text(new_text(request.answers, request.place), encoding="utf-8")
        bike = load_bike(place)
        delivery.deliver()
    return NewResult(path, bike, guessed_keys(request.answers, request.place))
