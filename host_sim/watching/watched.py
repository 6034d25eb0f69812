"""Everything known about the watched board from its frames and lines."""

import json
from collections import deque
from dataclasses import dataclass
from typing import Any

from firmware.link.payload import FRAME_KIND
from host_sim.boardlink.frames import Frame
from host_sim.watching.lost_frames import LostFrames
from host_sim.watching.missed_magnets import MissedMagnets
from host_sim.watching.record_file import Reception
from host_sim.watching.samples import Samples

SAMPLES_KEPT = 4_000  # Control periods: 20 s.
MINUTES_KEPT_S = 240  # One value per second and column of the widest page.
EVENTS_KEPT = 100
WORST_OF_FRAMES = 20  # The last second.
TEXT_MAX = 160
LATE_US = 7_500  # A step of more than one and a half periods.


@dataclass(frozen=True, slots=True)
class Happening:
    """An event worth a line: when (seconds since the start), what, and whether to ring the bell for it."""

    at_s: float
    text: str
    ring: bool = False


class Watched:
    """The data of the page, the lines and the summary; every public attribute may be read.

    `settings` and `board` are empty until the board has answered. `happenings` has the last events,
    `happenings_seen` counts all. `levels` are samples of both channels, one per control period, None if
    missing; `levels_seen` counts all. `worsts_us`: the longest steps that the last frames reported.
    `other_kind`: the kind of the board's frames if this program can't read them.
    """

    def __init__(self) -> None:
        """Start without a port."""
        self.port = ""
        self.board = ""
        self.settings: dict[str, int] = {}
        self.connected = False
        self.connections = 0
        self.away_s = 0.0
        self.since_s = 0.0  # When the port was opened or lost.
        self.frame: Frame | None = None
        self.frame_s = 0.0
        self.frames = 0
        self.lost = LostFrames()
        self.damaged = 0
        self.other_kind: int | None = None
        self.worsts_us: deque[int] = deque(maxlen=WORST_OF_FRAMES)
        self.missed = MissedMagnets()
        self.levels: deque[int | None] = deque(maxlen=SAMPLES_KEPT)
        self.levels_seen = 0
        self.cadences_rpm: deque[int] = deque(maxlen=MINUTES_KEPT_S)
        self.powers_w: deque[int] = deque(maxlen=MINUTES_KEPT_S)
        self.happenings: deque[Happening] = deque(maxlen=EVENTS_KEPT)
        self.happenings_seen = 0
        self._samples = Samples()
        self._second = -1
        self._overruns: int | None = None

    def happened(self, text: str, now_s: float, ring: bool = False) -> None:
        """Store an event."""
        self.happenings.append(Happening(now_s, text, ring))
        self.happenings_seen += 1

    def happenings_after(self, seen: int) -> list[Happening]:
        """Return the events since `happenings_seen` was `seen`, if they are still stored."""
        fresh = min(self.happenings_seen - seen, len(self.happenings))
        return list(self.happenings)[len(self.happenings) - fresh :]

    def opened(self, port: str, now_s: float) -> None:
        """Note that a port was opened."""
        if self.connections:
            self.away_s += now_s - self.since_s
            self.happened(f"the port is back after {now_s - self.since_s:.1f} s", now_s)
        self.port = port
        self.connected = True
        self.connections += 1
        self.since_s = now_s
        self.begin_anew()

    def gone(self, now_s: float) -> None:
        """Note that the port was lost."""
        self.connected = False
        self.since_s = now_s
        self.happened("the port is lost, waiting for it to come back", now_s)
        self.begin_anew()

    def begin_anew(self) -> None:
        """Don't relate later data to earlier data."""
        self.lost.forget()
        self._samples.forget()
        if self.levels:
            self.levels.append(None)
            self.levels_seen += 1
        self.missed.take(None, "standing")
        self.settings = {}

    def learnt(self, about: dict[str, Any], settings: dict[str, Any]) -> None:
        """Store the board's answers to the requests about and settings."""
        self.board = printable(str(about.get("board", "")))
        self.settings = {
            str(name): value
            for name, value in settings.items()
            if isinstance(value, int) and not isinstance(value, bool)
        }
        self.missed.pulses_per_rev = max(self.settings.get("pulses_per_rev", 0), 0)

    def take(self, frame: Frame, now_s: float) -> Reception:
        """Store a frame; return how it arrived."""
        lost = self.lost.take(frame.number, now_s)
        names = self.lost.names if lost else ""
        if lost:
            plural = "frame lost, number" if lost == 1 else "frames lost, numbers"
            self.happened(f"{lost} {plural} {names}", now_s)
        last = self.frame
        self.frame = frame
        self.frame_s = now_s
        self.frames += 1
        self.worsts_us.append(frame.worst_us)
        self._take_levels(frame, now_s)
        self._take_second(frame, now_s)
        if frame.fault != "none" and (last is None or last.fault != frame.fault):
            self.happened(f"fault: {frame.fault}", now_s)
        return Reception(now_s, self.connections, lost, names)

    def take_other_kind(self, kind: int | None, now_s: float) -> None:
        """Store the kind of the board's frames if this program can't read them, or None."""
        if kind is not None and kind != self.other_kind:
            self.happened(other_kind_of(kind), now_s)
        self.other_kind = kind

    def text(self, line: str, now_s: float) -> None:
        """Handle a line that is not an answer."""
        try:
            notice = json.loads(line)["notice"]
        except (ValueError, TypeError, KeyError, RecursionError):
            self.happened(f"the board says: {printable(line)}", now_s)
            return
        self.happened(f"the board started: {printable(str(notice))}", now_s)
        self.begin_anew()

    def _take_levels(self, frame: Frame, now_s: float) -> None:
        missed = 0
        even = frame.overruns == self._overruns and frame.worst_us <= LATE_US
        self._overruns = frame.overruns
        for levels in self._samples.new_in(frame):
            self.levels.append(levels)
            self.levels_seen += 1
            # Between late steps a magnet may have passed unseen, so these are not evaluated.
            missed += self.missed.take(levels if even else None, frame.direction)
        if missed:
            again = ", again at the same place of the ring" if self.missed.repeated else ""
            self.happened(f"the sensor missed {_magnets(missed)}{again}", now_s, ring=True)

    def _take_second(self, frame: Frame, now_s: float) -> None:
        if int(now_s) != self._second:
            self._second = int(now_s)
            self.cadences_rpm.append(frame.cadence_rpm)
            self.powers_w.append(frame.power_w)


def printable(text: str) -> str:
    """Return text from the link as one short line without control characters."""
    shown = "".join(character if character.isprintable() else "?" for character in text)
    return shown if len(shown) <= TEXT_MAX else shown[:TEXT_MAX] + "..."


def other_kind_of(kind: int) -> str:
    """Return what to do about frames of a kind that this program can't read."""
    age = "an older" if kind < FRAME_KIND else "a newer"
    return (
        f"the board has {age} firmware: its frames are of kind {kind}, this program reads kind {FRAME_KIND}; "
        "flash the board with this version"
    )


def _magnets(count: int) -> str:
    return "a magnet" if count == 1 else f"{count} magnets"
