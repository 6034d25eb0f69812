"""Contradictions between capture and bike file: pulses, swapped wires, thresholds too low for the ring."""

from typing import Any

from firmware.settings import A_LEADS
from host_sim.bikes.model import Bike
from host_sim.capture.findings import Inspection
from host_sim.capture.stopping import Support


def contradictions(inspection: Inspection, bike: Bike) -> list[str]:
    """Return which of kind, pulses and lead differ between bike file and capture, as short phrases."""
    return [f"the bike file and the capture differ in the {name}" for name in _differences(inspection, bike)]


def _differences(inspection: Inspection, bike: Bike) -> dict[str, str]:
    """Return a sentence for each of kind, pulses and lead in which bike file and capture differ."""
    kind, pulses, lead = inspection.kind, inspection.pulses, inspection.lead
    sensor, settings = bike.pedal_sensor, bike.firmware_settings
    said: dict[str, str] = {}
    if kind.sure and kind.value != sensor.kind:
        said["kind"] = f"the bike file says {sensor.kind}, the capture {kind.value}"
    if pulses.sure and pulses.value != settings.pulses_per_rev:
        said["number of pulses"] = (
            f"the bike file says {settings.pulses_per_rev} pulses, the capture {pulses.value}"
        )
    says = "A" if settings.lead == A_LEADS else "B"
    if kind.value == "two channels" and lead.sure and lead.value != says:
        said["lead"] = (
            f"the bike file has {says} lead, in the capture {lead.value} leads: the wires are "
            f"swapped, or the sensor is on the other side. Do only one of these: swap the wires, or write "
            f"the lead into the file. If you do both, pedalling backward drives the motor"
        )
    return said


def advice_for_bike(inspection: Inspection, support: Support | None, bike: Bike) -> list[str]:
    """Return one sentence for each difference between bike file and capture."""
    said = [*_differences(inspection, bike).values()]
    settings = bike.firmware_settings
    if support is not None and support.release_rpm:
        for name, has, least in (
            ("release_rpm", settings.release_rpm, support.release_rpm),
            ("engage_rpm", settings.engage_rpm, support.engage_rpm),
        ):
            if has < least:
                said.append(f"settings.{name} is {has}, but this ring needs {least} or more")
    return said


def written_words(changed: dict[str, Any]) -> list[str]:
    """Return what not to do after these keys were written."""
    if "leads_on_the_right" not in changed:
        return []
    return [
        "the lead in the bike file now matches the wires: leave the wires as they are, or pedalling backward "
        "drives the motor"
    ]
