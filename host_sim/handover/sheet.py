"""Renders the sheet: facts about the bike, reports if any, sentences and figures, as one HTML text."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from host_sim.bikes.model import Bike
from host_sim.commissioning.record import FAILED, NOT_REACHED, SKIPPED
from host_sim.handover import figures
from host_sim.handover.advice import CAUTIONS, first_ride_steps, symptoms
from host_sim.handover.first_ride import FirstRide
from host_sim.handover.owner_rules import by_urgency, plain, said
from host_sim.handover.records import Record, newest_commission, told
from host_sim.handover.reports import Manifest, RuleHeld, SensorSeen
from host_sim.handover.sentences import feelings, felt_rows, setting_rows
from host_sim.places.limits import load_place

RULES_IN_BOX = 6  # Of each sort; more don't fit, and a bicycle that fails more must not be handed over.
RULES_PRINTED = 5
# The rules that held which a rider would ask about first.
RULES_FIRST = (
    "cut-off distance", "forward pedalling only", "brake cut", "cut-off speed", "start-up speed",
    "continuous power", "a fault stays", "first help",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reports:
    """Results of other commands, if any; `manifest_sha256` is the hash of the manifest file."""

    rules: Sequence[RuleHeld] = field(default=())
    sensor: SensorSeen | None = None
    manifest: Manifest | None = None
    manifest_sha256: str = ""
    records: Sequence[Record] = field(default=())


def render_sheet(bike: Bike, ride: FirstRide, reports: Reports, version: str) -> str:
    """Return the page: HTML that loads nothing from outside; all text from a user's files is escaped."""
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).resolve().parent),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters["code"] = in_code
    environment.filters["plain"] = plain
    place = load_place(bike.place)
    tried = newest_commission(reports.records)
    page: dict[str, Any] = {
        "bike": bike,
        "place": place,
        "version": version,
        "settings": bike.firmware_settings,
        "cautions": CAUTIONS,
        "steps": first_ride_steps(bike),
        "feelings": feelings(bike, ride, reports.rules),
        "symptoms": symptoms(bike),
        "felt_settings": felt_rows(bike),
        "all_settings": setting_rows(bike.firmware_settings),
        "facts": bicycle_facts(bike),
        "seen": sensor_findings(reports.sensor),
        "sensor": reports.sensor,
        "rules": list(reports.rules),
        "failing": by_urgency([row for row in reports.rules if row.failed]),
        "untested": by_urgency([row for row in reports.rules if row.untested]),
        "in_box": RULES_IN_BOX,
        "said": said,
        "printed_rules": printed_rules(reports.rules)[: RULES_PRINTED - len(reports.records)],
        "records": list(reports.records),
        "told": told,
        "stand_failed": [] if tried is None else tried.named(FAILED),
        "stand_left": [] if tried is None else tried.named(SKIPPED, NOT_REACHED),
        "tried_on_stand": tried is not None,
        "manifest": reports.manifest,
        "manifest_sha256": reports.manifest_sha256,
        "ride_figure": figures.start_and_stop(ride),
        "speed_figure": figures.help_over_speed(bike),
        "sensor_figure": figures.sensor_and_wires(bike),
    }
    return environment.get_template("handover.html.j2").render(page)


def in_code(text: str) -> Markup:
    """Return a text as HTML; text between backticks becomes code."""
    parts = [escape(part) for part in text.split("`")]
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if at % 2 else part for at, part in enumerate(parts)
    )


def printed_rules(rules: Sequence[RuleHeld]) -> list[RuleHeld]:
    """Return the rules to print that held; those that did not are in the red box."""
    first = [row for name in RULES_FIRST for row in rules if row.rule == name and row.holds]
    return first[:RULES_PRINTED]


def bicycle_facts(bike: Bike) -> list[tuple[str, str]]:
    """Return the facts about the bicycle, part by part."""
    sensor, motor, battery = bike.pedal_sensor, bike.motor, bike.battery
    magnets = f"{sensor.pulses_per_rev} magnets, {sensor.kind}, {sensor.side} crank"
    per_turn = bike.wheel_sensor.pulses_per_rev
    return [
        ("Motor", f"{motor.rated_power_w:g} W continuous rated, hub motor"),
        ("Battery", f"{battery.empty_v:g} to {battery.full_v:g} V, {battery.capacity_ah:g} Ah"),
        ("Pedal sensor", magnets),
        ("Wheel sensor", f"{per_turn} pulse{'s' if per_turn > 1 else ''} a turn"),
        ("Brake switches", f"on {bike.brakes.switches} of the levers"),
        ("Hand controls", f"{'throttle' if bike.throttle.fitted else 'no throttle'}, {_selector(bike)}"),
        ("Weight, with rider and load", f"{bike.bicycle.mass_kg:g} kg"),
    ]


def _selector(bike: Bike) -> str:
    if bike.selector.kind == "positions":
        return f"switch with {bike.selector.positions} positions"
    return "potentiometer" if bike.selector.kind == "potentiometer" else "no selector"


def sensor_findings(seen: SensorSeen | None) -> list[str]:
    """Return what a capture of the fitted sensor showed, in short phrases."""
    if seen is None:
        return []
    told = []
    if seen.pulses_per_rev is not None:
        told.append(f"{seen.pulses_per_rev} pulses a turn")
    if seen.lead is not None:
        told.append(f"lead: {seen.lead}")
    if seen.noise_per_s is not None:
        told.append(f"noise {seen.noise_per_s:.2g} a second")
    for name, value in (("missing magnets", seen.missing), ("weak magnets", seen.weak)):
        if isinstance(value, list):
            told.append(f"{name}: {', '.join(str(one)[:40] for one in value[:8]) or 'none'}")
    if seen.cadence_rpm is not None and seen.cadence_rpm.median is not None:
        told.append(f"turned at {seen.cadence_rpm.median:.0f} rpm")
    return told
