"""`treadle inspect --wheel`: diagnoses a wheel sensor from recorded edges; can update a bike file."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from host_sim.bikes.load import BIKES, load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.bike_file import WHEEL_OVERRULING, bike_path, bike_with, write_changes
from host_sim.capture.edges import Capture, EdgeChunk
from host_sim.capture.open_capture import open_capture
from host_sim.capture.wheel.inspection import WheelInspection, WheelTold, inspect_wheel, wheel_json
from host_sim.capture.wheel.words import wheel_advice
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder
from host_sim.textfile import spoken

FILES = ("inspection.png", "inspection.json")


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
        if write and bike is None:
            raise RequestError("--write is given without --bike, allowed is --bike FILE --write")
        self.bike_path = bike_path(bike) if bike is not None else None
        if write and self.bike_path is not None and self.bike_path.resolve().parent == BIKES:
            raise RequestError(
                f"--bike {self.bike_path.stem} is an example, allowed with --write is a copy of your own"
            )
        loaded: Bike | None = load_bike(self.bike_path) if self.bike_path is not None else None
        way_m, turns = pushed if pushed is not None else (0.0, 0.0)
        self.told = WheelTold(way_m, turns, *_of_bike(loaded))
        self.capture_path = capture
        self.names = tuple(name.strip() for name in channels.split(",")) if channels is not None else None
        self.time_unit = time_unit
        self.samplerate_hz = samplerate_hz
        self.open()
        self.write = write
        self.out = out or fresh_folder("treadle-inspect")
        self.force = force

    def open(self, done: Callable[[int, int], None] | None = None) -> Capture:
        """Open the capture."""
        return open_capture(self.capture_path, self.names, self.time_unit, self.samplerate_hz, done)


def _of_bike(bike: Bike | None) -> tuple[float, int]:
    if bike is None:
        return 0.0, 0
    return bike.bicycle.wheel_circumference_m, bike.wheel_sensor.pulses_per_rev


class WheelResult:
    """The findings; `changed` holds the changes to the bike file."""

    def __init__(self, found: WheelInspection, advice: list[str], why: list[str], form: str) -> None:
        """Store the findings."""
        self.found = found
        self.advice = advice
        self.why = why
        self.form = form
        self.files: list[Path] = []
        self.changed: dict[str, Any] = {}
        self.as_json = wheel_json(found, advice, why)

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

    def source() -> Iterator[EdgeChunk]:
        return capture.chunks()

    with Delivery(request.out, FILES, request.force) as delivery:
        found = inspect_wheel(source, request.told)
        changes = found.changes if request.write else {}
        if changes and request.bike_path is not None:
            # The advice is about the changed file.
            bike = bike_with(request.bike_path, changes, WHEEL_OVERRULING)
            told = WheelTold(request.told.pushed_m, request.told.pushed_turns, *_of_bike(bike))
            found = replace(found, told=told)
        advice = wheel_advice(found)
        if capture.damage:
            advice.insert(0, f"the file is damaged and was read up to this place: {capture.damage}")
        result = WheelResult(found, advice, [*found.why, *found.against_bike], capture.form)
        name = spoken(request.capture_path.name)
        draw_wheel(found, advice, result.why, name, delivery.place("inspection.png"))
        text = json.dumps(result.as_json, allow_nan=False, indent=2) + "\n"
        delivery.place("inspection.json").write_text(text, encoding="utf-8")
        if changes and request.bike_path is not None:
            write_changes(request.bike_path, changes, WHEEL_OVERRULING)
            result.changed = changes
        result.files = delivery.deliver()
    return result
