"""`treadle inspect`: diagnoses a pedal sensor from recorded edges, and derives the settings."""

import contextlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from firmware.settings import Settings
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.advice import advice_of
from host_sim.capture.analog.magnets import VoltsFound, volts_of
from host_sim.capture.analog.volts_capture import VoltsCapture
from host_sim.capture.analog.words import settled, volts_advice, volts_json, why_of
from host_sim.capture.as_json import findings_json, verdict_json
from host_sim.capture.bike_file import bike_with, changes_for, write_changes
from host_sim.capture.bike_words import advice_for_bike, contradictions, written_words
from host_sim.capture.diagnose import KINDS, Told, inspect_edges
from host_sim.capture.edges import Capture
from host_sim.capture.findings import Inspection
from host_sim.capture.open_capture import TIME_UNITS, open_capture
from host_sim.capture.stopping import Support, support_of
from host_sim.capture.stretches import Floats
from host_sim.errors import RequestError
from host_sim.inspecting.asked import FIGURE, FINDINGS, channel_names, path_of_bike, write_findings
from host_sim.outputs import Delivery, fresh_folder
from host_sim.textfile import spoken
from host_sim.units import NS_PER_S

FILES = (FIGURE, FINDINGS)
BEYOND_S = 5.0  # A capture may continue this long after the crank has stopped.
TURNS_LEAST, TURNS_MOST = 2, 10_000
SECONDS_MOST = 1e7
VOLTS_MOST = 1000.0
FORWARD = "START:END in seconds of the capture, for example 2:8"
THRESHOLDS = "LOW:HIGH in volts, for example 0.8:2.0"
Pair = tuple[float, float]


class InspectRequest:
    """The capture, what the user knows about it, and what to write."""

    def __init__(
        self,
        capture: Path,
        channels: str | None = None,
        forward: str | None = None,
        turns: int | None = None,
        time_unit: str | None = None,
        bike: str | None = None,
        write: bool = False,
        out: Path | None = None,
        force: bool = False,
        samplerate_hz: int | None = None,
        thresholds: str | None = None,
    ) -> None:
        """Check everything before reading; RequestError says what is wrong."""
        if turns is not None and not TURNS_LEAST <= turns <= TURNS_MOST:
            allowed = f"a whole number from {TURNS_LEAST} to {TURNS_MOST}"
            raise RequestError(f"--turns is {turns}, allowed is {allowed}")
        if time_unit is not None and time_unit not in TIME_UNITS:
            raise RequestError(f'--time-unit is "{time_unit[:20]}", allowed is {", ".join(TIME_UNITS)}')
        self.bike_path = path_of_bike(bike, write)
        self.bike: Bike | None = load_bike(self.bike_path) if self.bike_path is not None else None
        one_channel = self.bike is not None and self.bike.pedal_sensor.kind != "two channels"
        self.told = Told(_pair("--forward", forward, FORWARD, 0.0, SECONDS_MOST), turns, one_channel)
        self.capture_path = capture
        self.names = channel_names(channels)
        self.time_unit = time_unit
        self.samplerate_hz = samplerate_hz
        self.thresholds_v = _pair("--thresholds", thresholds, THRESHOLDS, -VOLTS_MOST, VOLTS_MOST)
        opened = self.open()
        if thresholds is not None and not isinstance(opened, VoltsCapture):
            raise RequestError(
                f"{spoken(capture.name)}: --thresholds is given, allowed is a CSV file of volts"
            )
        self.write = write
        self.out = out or fresh_folder("treadle-inspect")
        self.force = force

    def open(self, done: Callable[[int, int], None] | None = None) -> Capture:
        """Open the capture; RequestError says why it can't be read."""
        return open_capture(
            self.capture_path, self.names, self.time_unit, self.samplerate_hz, done, self.thresholds_v
        )


def _pair(option: str, text: str | None, allowed: str, lowest: float, highest: float) -> Pair | None:
    """Parse two numbers with a colon between them, ascending and from `lowest` to `highest`."""
    if text is None:
        return None
    first, colon, second = text.partition(":")
    with contextlib.suppress(ValueError):
        low, high = float(first), float(second)
        if colon and lowest <= low < high <= highest:
            return low, high
    raise RequestError(f"{option} is {text[:60]!r}, allowed is {allowed}")


class InspectResult:
    """The findings; `as_json` for programs, `changed` holds the changes to the bike file."""

    def __init__(
        self,
        inspection: Inspection,
        support: Support | None,
        advice: list[str],
        form: str,
        names: tuple[str, ...],
        against_bike: list[str],
        volts: VoltsFound | None,
    ) -> None:
        """Combine the findings; files are added after they are written.

        `form` and `names`: format and channels of the capture. `against_bike`: differences between the bike
        file and the capture. `volts`: None if the file has only levels.
        """
        self.inspection = inspection
        self.support = support
        self.advice = advice
        self.form = form
        self.names = names
        self.files: list[Path] = []
        # Times (s) and volts between two times, if the file has volts.
        self.between: Callable[[float, float], tuple[Floats, Floats]] | None = None
        self.changed: dict[str, Any] = {}
        self.volts = volts
        by_volts = why_of(volts) if volts is not None else []
        self.why = [*settled(inspection.why, volts), *by_volts, *against_bike]
        self.as_json = findings_json(inspection, advice) | verdict_json(inspection, self.why)
        self.as_json["volts"] = volts_json(volts)

    @property
    def fit(self) -> bool:
        """Whether the edges show that the sensor is fit for use, and the bike file, if given, agrees."""
        return not self.why


def inspect_capture(request: InspectRequest, done: Callable[[int, int], None] | None = None) -> InspectResult:
    """Read the capture, inspect it, draw it, and change the bike file if requested."""
    capture = request.open(done)
    with Delivery(request.out, FILES, request.force) as delivery:
        inspection = inspect_edges(capture.chunks, len(capture.channels), request.told)
        _refuse_beyond(request.told, inspection)
        support = _support(inspection, request.bike)
        advice = _of_the_file(capture.damage, capture.unknown_values, inspection)
        advice += _of_the_end(request.told, inspection)
        volts = volts_of(capture, inspection) if isinstance(capture, VoltsCapture) else None
        if volts is not None and volts.judged:
            # The volts decide what the edges leave open.
            inspection = replace(inspection, unequal=[one for one in inspection.unequal if one.sure])
        advice += (volts_advice(volts) if volts is not None else []) + advice_of(inspection, support)
        changed = changes_for(inspection, request.bike) if request.write and request.bike is not None else {}
        bike = request.bike
        if changed and request.bike_path is not None:
            # The advice is about the changed file, so the change is tested first.
            bike = bike_with(request.bike_path, changed)
        against: list[str] = []
        if bike is not None:
            against = contradictions(inspection, bike)
            advice += advice_for_bike(inspection, support, bike)
        advice += written_words(changed)
        result = InspectResult(inspection, support, advice, capture.form, capture.channels, against, volts)
        result.between = capture.shown if isinstance(capture, VoltsCapture) else None
        _draw(result, request, delivery.place(FIGURE))
        write_findings(delivery, result.as_json)
        if changed and request.bike_path is not None:
            write_changes(request.bike_path, changed)
            result.changed = changed
        result.files = delivery.deliver()
    return result


def _refuse_beyond(told: Told, inspection: Inspection) -> None:
    """Raise RequestError if the seconds given as forward begin after the end of the capture."""
    end_s = inspection.gathered.end_ns / NS_PER_S
    if told.forward_s is not None and told.forward_s[0] >= end_s:
        begin_s, until_s = told.forward_s
        raise RequestError(
            f"--forward is {begin_s:g}:{until_s:g}, allowed is a stretch within the capture, whose last "
            f"edge is at {end_s:.1f} s"
        )


def _of_the_end(told: Told, inspection: Inspection) -> list[str]:
    """Warn if the forward seconds end long after the last edge: it may be the wrong capture."""
    end_s = inspection.gathered.end_ns / NS_PER_S
    if told.forward_s is None or told.forward_s[1] <= end_s + BEYOND_S:
        return []
    return [
        f"--forward ends at {told.forward_s[1]:g} s, and the last edge of the capture is at {end_s:.1f} s: "
        "is it the right capture?"
    ]


def _draw(result: InspectResult, request: InspectRequest, path: Path) -> None:
    # Not at the top: drawing takes a second to load, and a wrong request is refused at once.
    from host_sim.report.ring_figure import VoltsShown, draw_inspection

    volts = None
    if result.volts is not None and result.between is not None:
        volts = VoltsShown(result.volts, result.between)
    name = spoken(request.capture_path.name)
    draw_inspection(result.inspection, result.support, result.advice, name, path, volts, result.why)


def _support(inspection: Inspection, bike: Bike | None) -> Support | None:
    """Return what the ring supports with the bike's settings, or else the firmware's; None if unknown."""
    settings = bike.firmware_settings if bike is not None else Settings({})
    return support_with(inspection, settings.as_dict())


def support_with(inspection: Inspection, settings: dict[str, int]) -> Support | None:
    """Return what the ring supports with these settings of a board; None if the ring is unknown."""
    if inspection.ring is None or not inspection.pulses.sure or inspection.kind.value is None:
        return None
    values = settings | {"sensor_kind": KINDS[inspection.kind.value]}
    return support_of(
        inspection.ring, Settings(values), inspection.kind.value == "duty-coded", inspection.swing
    )


def _of_the_file(damage: str, unknown_values: int, inspection: Inspection) -> list[str]:
    said: list[str] = []
    if damage:
        said.append(f"the file is damaged and was read up to this place: {damage}")
    if unknown_values:
        said.append(f"a channel was neither high nor low {unknown_values} times: its previous level was used")
    if not inspection.gathered.whole:
        gathered = inspection.gathered
        said.append(
            f"the ring was judged from the first {len(gathered.times_ns)} of {gathered.edges} edges; the "
            "board's decoder saw all of them"
        )
    return said
