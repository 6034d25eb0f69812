"""Requests from a host: one line of JSON each, answered by lines of JSON.

    {"request": "about"}                                       what this board is and what settings it has
    {"request": "settings"}                                    every setting
    {"request": "set", "settings": {"engage_rpm": 25}}         change some, store all, restart with them
    {"request": "clear"}                                       clear a fault, as an explicit wish
    {"request": "edges"}                                       the last 512 crank edges, [levels, time_us]
    {"request": "stream"}                                      send each step recorded from now on
    {"request": "stream all"}                                  the same, from the oldest one that is kept
    {"request": "freeze"}, {"request": "release"}              keep what is recorded; allow overwriting again
    {"request": "start"}                                       restart, unless something is frozen
    {"request": "maintenance"}                                 restart without drive, for a host's tools

An answer has "ok" with the request's name, or "refused" with the reason. Long answers come in several
lines; "left" says how much is still to come. A line that is refused changes nothing. A setting beyond the
limits of the place that the board was flashed for is refused. Parsing a request and carrying it out takes
memory and time, so it is done only while the wheel stands and nothing drives. While something moves, the
first two and both streams are answered too if they are written exactly as above: their answers
were built at the start; anything else is refused at once. A stream ends unless a host keeps requesting it.
Before its end a line is padded with spaces to whole pieces of the port.
"""

from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.link.lines import about_line, line_of, quoted, refusal, settings_in_force, settings_lines
from firmware.link.port import Port
from firmware.link.recording import RECORDING_REQUESTS, Recording
from firmware.link.requests import parse
from firmware.link.store import SLOT_NAMES, Store, reason_of
from firmware.records import Inputs
from firmware.settings import Settings

LINE_MAX = 400
LINE_END_MAX = 2
READ_SIZE = 24  # Bytes read in a turn: a shorter request fits whole.
EDGES_IN_A_LINE = 12

# What the console wants the loop to do.
GO_ON = 0
START_ANEW = 1
MAINTENANCE = 2

_ABOUT_LINE = b'{"request": "about"}'
_SETTINGS_LINE = b'{"request": "settings"}'
_STREAM, _STREAM_ALL = b'{"request": "stream"}', b'{"request": "stream all"}'
_REQUESTS = ("about", "settings", "set", "clear", "edges", "start", "maintenance") + RECORDING_REQUESTS


class Console:
    """Collects a line and answers it.

    The settings do not change between two starts, so the answers about them are built at the start.

    Read: `waiting` (a whole line waits for its answer), `replying` (more lines of an answer are to come),
    `ending` (GO_ON, START_ANEW or MAINTENANCE).
    """

    __slots__ = (
        "_about",
        "_edges",
        "_inputs",
        "_length",
        "_line",
        "_next",
        "_recording",
        "_refusal_in_motion",
        "_request",
        "_settings",
        "_store",
        "_unfit",
        "ending",
        "replying",
        "waiting",
    )

    def __init__(
        self,
        controller: Controller,
        inputs: Inputs,
        edges: RememberedEdges,
        store: Store,
        board_name: str,
        recording: Recording,
    ) -> None:
        """Start with an empty line. `edges` is the log in `inputs.crank`, `store` has been loaded."""
        self._inputs = inputs
        self._edges = edges
        self._store, self._recording = store, recording
        self._about, self._settings = about_line(board_name, store), settings_lines(controller.settings)
        self._refusal_in_motion = refusal("the bicycle must stand, and nothing may drive")
        self._line = bytearray(LINE_MAX + LINE_END_MAX)
        self._length = 0
        self._unfit = False
        self._request = ""
        self._next = 0
        self.waiting = False
        self.replying = False
        self.ending = GO_ON

    def greeting(self) -> bytes:
        """Return the first line after a start: which settings are in force, or why nothing will drive."""
        return line_of('"notice": ' + quoted("settings: " + settings_in_force(self._store)))

    def read(self, port: Port) -> int:
        """Read what has arrived, at most READ_SIZE bytes and no more than a line; not while `waiting`.

        Return what the port returned. Allocates no memory.
        """
        if self._length == LINE_MAX + LINE_END_MAX:
            self._unfit = True  # A line of this length is discarded as it arrives.
            self._length = 0
        end = min(self._length + READ_SIZE, LINE_MAX + LINE_END_MAX)
        came = port.read(self._line, self._length, end)
        if came > 0:
            self._length += came
            if self._line[self._length - 1] == 10:
                self._end_line()
        return came

    def next_line(self, resting: bool) -> bytes:
        """Return the next line of the answer; only while `replying` or `waiting`.

        Unless `resting` this allocates no memory, and refuses whatever has no answer ready.
        """
        if self.replying:
            if self._request == "settings":
                return self._some_settings()
            return self._some_edges() if resting else self._break_off()
        return self._answer() if resting else self._answer_in_motion()

    def _answer(self) -> bytes:
        """Carry out the waiting line and return the first line of the answer."""
        try:
            if not self._fit():
                raise ValueError("a request is one line of at most 400 printable ASCII characters")
            return self._carry_out(parse(bytes(self._line[: self._length]).decode()))
        except ValueError as error:
            return refusal(reason_of(error))
        finally:
            self._forget_line()

    def _fit(self) -> bool:
        """Return whether the waiting line can be a request."""
        if self._unfit or self._length > LINE_MAX:
            return False
        for at in range(self._length):
            if not 32 <= self._line[at] <= 126:
                return False
        return True

    def _answer_in_motion(self) -> bytes:
        """Return an answer that is ready, or the refusal. Allocates no memory."""
        about = self._holds(_ABOUT_LINE)
        settings = not about and self._holds(_SETTINGS_LINE)
        stream_all = self._holds(_STREAM_ALL)
        stream = stream_all or self._holds(_STREAM)
        self._forget_line()
        if about:
            return self._about
        if settings:
            self._request = "settings"
            self._next = 0
            return self._some_settings()
        if stream:
            return self._recording.send(stream_all)
        return self._refusal_in_motion

    def _break_off(self) -> bytes:
        """Drop the rest of an answer and return the refusal. Allocates no memory."""
        self._end_reply()
        return self._refusal_in_motion

    def _holds(self, text: bytes) -> bool:
        """Return whether the waiting line is `text`. Allocates no memory."""
        if self._unfit or self._length != len(text):
            return False
        for at in range(self._length):
            if self._line[at] != text[at]:
                return False
        return True

    def _end_line(self) -> None:
        """Remove the line's ending; a line without anything else is not a request."""
        self._length -= 1
        if self._length > 0 and self._line[self._length - 1] == 13:
            self._length -= 1
        self.waiting = self._length > 0 or self._unfit

    def _forget_line(self) -> None:
        self._length = 0
        self._unfit = False
        self.waiting = False

    def _end_reply(self) -> None:
        self.replying = False
        self._edges.hold(False)

    def _carry_out(self, asked: dict[str, object]) -> bytes:
        request = asked.pop("request", "")
        if request not in _REQUESTS:
            raise ValueError("request must be one of " + ", ".join(_REQUESTS))
        changes = asked.pop("settings", None) if request == "set" else None
        self._request = str(request)
        for name in asked:
            raise ValueError("the request " + self._request + " has no " + name)
        self._next = 0
        if request == "about":
            return self._about
        if request in ("settings", "set"):
            return self._set(changes) if request == "set" else self._some_settings()
        if request == "edges":
            self._edges.hold(True)
            return self._some_edges()
        if request in RECORDING_REQUESTS:
            return self._recording.answer(self._request)
        if request == "start":
            self._recording.check_released()
        if request == "clear":
            self._inputs.clear_requested = True
        else:
            self.ending = MAINTENANCE if request == "maintenance" else START_ANEW
        return line_of('"ok": ' + quoted(self._request))

    def _set(self, changes: object) -> bytes:
        """Store the settings changed by `changes`, and request a restart with them."""
        if not isinstance(changes, dict) or len(changes) == 0:
            raise ValueError("the request set needs settings, an object of names and whole numbers")
        values = self._store.stored.as_dict()
        for name, value in changes.items():
            values[name] = value
        settings = Settings(values)
        self._store.place.check(settings, self._store.stored)
        try:
            self._store.save(settings)
        except OSError as error:
            return refusal("the settings could not be stored, the old ones stay: " + reason_of(error))
        self.ending = START_ANEW
        text = '"ok": "set", "slot": ' + quoted(SLOT_NAMES[self._store.slot]) + ', "sequence": '
        return line_of(text + str(self._store.sequence))

    def _some_settings(self) -> bytes:
        self._next += 1
        line = self._settings[self._next - 1]
        self.replying = self._next < len(self._settings)
        return line

    def _some_edges(self) -> bytes:
        edges = self._edges
        kept = edges.kept
        end = min(self._next + EDGES_IN_A_LINE, kept)
        words = []
        for value in range(self._next, end):
            words.append("[" + str(edges.levels_at(value)) + ", " + str(edges.time_us_at(value)) + "]")
        self._next = end
        self.replying = end < kept
        if not self.replying:
            self._end_reply()
        return line_of('"ok": "edges", "edges": [' + ", ".join(words) + '], "left": ' + str(kept - end))
