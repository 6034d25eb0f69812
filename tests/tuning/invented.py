"""Bicycles that nobody has, out of the guesses of `treadle new`: 24 to 72 V, 250 to 1,500 W."""

from pathlib import Path
from tempfile import TemporaryDirectory

from host_sim.bikes.guesses import Answers
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.bikes.new_file import new_text
from host_sim.places.limits import load_place

PLACE = "private_ground"  # The only place that allows 1,500 W.
VOLTS = (24.0, 36.0, 48.0, 72.0)
WATTS = (250.0, 500.0, 750.0, 1500.0)
CONTROLLERS = ("speed", "torque")


def invented(volts: float, watts: float, controller: str) -> Bike:
    """Return a bicycle with a ring of 12 and a shunt; `treadle new` itself takes no more than 52 V."""
    answers = Answers(
        f"{volts:g} V, {watts:g} W, {controller} controller", PLACE, volts, watts, "two channels", 12,
        controller=controller,
    )  # fmt: skip
    with TemporaryDirectory() as folder:
        file = Path(folder) / "invented.toml"
        file.write_text(new_text(answers, load_place(PLACE)), encoding="utf-8")
        return load_bike(file)
