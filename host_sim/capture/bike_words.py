"""Contradictions between capture and bike file: pulses, swapped wires, thresholds too low for the ring."""

from typing import Any

from host_sim.bikes.model import Bike
from host_sim.capture.findings import Inspection
from host_sim.capture.stopping import Support


def contradictions(inspection: Inspection, bike: Bike) -> list[str]:
    """Return which of kind, pulses and lead differ between bike file and capture, as short phrases."""
    settings = bike.firmware_settings
    says = "A" if settings.lead == 0 else "B"
    found = inspection
    pairs = (
        ("kind", found.kind.sure and found.kind.value != bike.pedal_sensor.kind),
        ("number of pulses", found.pulses.sure and found.pulses.value != settings.pulses_per_rev),
        ("lead", found.kind.value == "two channels" and found.lead.sure and found.lead.value != says),
    )
    return [f"the bike file and the capture differ in the {name}" for name, differs in pairs if differs]


def advice_for_bike(inspection: Inspection, support: Support | None, bike: Bike) -> list[str]:
    """Return one sentence for each difference between bike file and capture."""
    said: list[str] = []
    sensor = bike.pedal_sensor
    settings = bike.firmware_settings
    if inspection.kind.sure and inspection.kind.value != sensor.kind:
        said.append(f"the bike file says {sensor.kind}, the capture {inspection.kind.value}")
    if inspection.pulses.sure and inspection.pulses.value != settings.pulses_per_rev:
        said.append(
            f"the bike file says {settings.pulses_per_rev} pulses, the capture {inspection.pulses.value}"
        )
    says = "A" if settings.lead == 0 else "B"
    if inspection.kind.value == "two channels" and inspection.lead.sure and inspection.lead.value != says:
        said.append(
            f"the bike file has {says} lead, in the capture {inspection.lead.value} leads: the wires are "
            f"swapped, or the sensor is on the other side. Do only one of these: swap the wires, or write "
            f"the lead into the file. If you do both, pedalling backward drives the motor"
        )
    if support is not None and support.release_rpm:
        for name, has, least in (
            ("release_rpm", settings.release_rpm, support.release_rpm),
            ("engage_rpm", settings.engage_rpm, support.engage_rpm),
        ):
            if has < least:
                said.append(f"settings.{name} is {has}, but this ring needs {least} or more")
    return said


def written_words(changed: dict[str, Any]) -> list[str]:
    """Return what must no longer be done after these keys were written."""
    if "leads_on_the_right" not in changed:
        return []
    return [
        "the lead in the bike file now matches the wires: leave the wires as they are, or pedalling backward "
        "drives the motor"
    ]
