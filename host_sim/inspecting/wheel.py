"""`treadle inspect --wheel`: diagnoses a wheel sensor from recorded edges; can update a bike file."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.bike_file import WHEEL_OVERRULING, bike_with, write_changes
from host_sim.capture.edges import Capture
from host_sim.capture.open_capture import open_capture
from host_sim.capture.wheel.inspection import WheelInspection, WheelTold, inspect_wheel, wheel_json
from host_sim.capture.wheel.words import wheel_advice
from host_sim.inspecting.asked import FIGURE, FINDINGS, channel_names, path_of_bike, write_findings
from host_sim.outputs import Delivery, fresh_folder
from host_sim.textfile import spoken

FILES = (FIGURE, FINDINGS)


class WheelRequest:
    """The capture, the push, the bike, and the output folder."""

    def __init__(
        self,
        capture: Path,
        channels: str | None,
        time_unit: str | None,
        samplerate_hz: int | None,
        pushed: tuple[float, float] | None,
        bike: str | None,
        write: bool,
        out: Path | None,
        force: bool,
    ) -> None:
        """Check everything before reading; RequestError says what is wrong."""
        self.bike_path = path_of_bike(bike, write)
        loaded = load_bike(self.bike_path) if self.bike_path is not None else None
        way_m, turns = pushed if pushed is not None else (0.0, 0.0)
        self.told = WheelTold(way_m, turns, *_of_bike(loaded))
        self.capture_path = capture
        self.names = channel_names(channels)
        self.time_unit = time_unit
        self.samplerate_hz = samplerate_hz
        self.open()
        self.write = write
        self.out = out or fresh_folder("treadle-inspect")
        self.force = force

    def open(self, done: Callable[[int, int], None] | None = None) -> Capture:
        """Open the capture; RequestError says why it can't be read."""
        return open_capture(self.capture_path, self.names, self.time_unit, self.samplerate_hz, done)


def _of_bike(bike: Bike | None) -> tuple[float, int]:
    """Return circumference (m) and pulses per turn of the bike file's wheel; zeros without a bike file."""
    if bike is None:
        return 0.0, 0
    return bike.bicycle.wheel_circumference_m, bike.wheel_sensor.pulses_per_rev


@dataclass(slots=True)
class WheelResult:
    """The findings, the capture's format, the files written, and the changes to the bike file."""

    found: WheelInspection
    advice: list[str]
    why: list[str]
    form: str
    files: list[Path] = field(default_factory=list)
    changed: dict[str, Any] = field(default_factory=dict)

    @property
    def as_json(self) -> dict[str, Any]:
        """The findings as data for JSON."""
        return wheel_json(self.found, self.advice, self.why)

    @property
    def fit(self) -> bool:
        """Whether the wheel sensor is fit for use."""
        return not self.why


def inspect_wheel_capture(
    request: WheelRequest, done: Callable[[int, int], None] | None = None
) -> WheelResult:
    """Read the capture, inspect it, draw it, and change the bike file if requested."""
    from host_sim.report.wheel_figure import draw_wheel

    capture = request.open(done)
    with Delivery(request.out, FILES, request.force) as delivery:
        found = inspect_wheel(capture.chunks, request.told)
        changes = found.changes if request.write else {}
        if changes and request.bike_path is not None:
            # The advice is about the changed file.
            bike = bike_with(request.bike_path, changes, WHEEL_OVERRULING)
            circumference_m, pulses = _of_bike(bike)
            told = replace(request.told, circumference_m=circumference_m, pulses=pulses)
            found = replace(found, told=told)
        advice = wheel_advice(found)
        if capture.damage:
            advice.insert(0, f"the file is damaged and was read up to this place: {capture.damage}")
        result = WheelResult(found, advice, [*found.why, *found.against_bike], capture.form)
        name = spoken(request.capture_path.name)
        draw_wheel(found, advice, result.why, name, delivery.place(FIGURE))
        write_findings(delivery, result.as_json)
        if changes and request.bike_path is not None:
            write_changes(request.bike_path, changes, WHEEL_OVERRULING)
            result.changed = changes
        result.files = delivery.deliver()
    return result
