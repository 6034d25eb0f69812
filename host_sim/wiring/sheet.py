"""Puts the wiring sheet together as one HTML text that loads nothing."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from host_sim.bikes.model import Bike
from host_sim.boardlink.targets import Target
from host_sim.wiring.board_pins import has_pins, pins_of
from host_sim.wiring.checks import CAUTIONS, METER_STEPS, before_the_motor, meter_decisions
from host_sim.wiring.circuits import circuits_for, pin_rows
from host_sim.wiring.drawing import draw_wiring
from host_sim.wiring.parts import parts_for, problems


def wiring_name(target: Target) -> str | None:
    """Return what the sheet of a board is called; None for a board without pins."""
    return f"wiring_{target.name}.html" if has_pins(target.name) else None


def wiring_sheet(bike: Bike, target: Target) -> str:
    """Return the page: every text of a user's file escaped."""
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).resolve().parent),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    pins = pins_of(target.name)
    return environment.get_template("wiring.html.j2").render(
        bike=bike,
        board=target.title,
        cautions=CAUTIONS,
        problems=problems(bike, pins),
        parts=parts_for(bike, pins),
        pins=pin_rows(bike, pins),
        drawing=Markup(draw_wiring(circuits_for(bike, pins), target.title)),
        before=before_the_motor(bike, pins),
        steps=METER_STEPS,
        decisions=meter_decisions(bike),
    )
