"""Requests from a host: one line of JSON each, answered by lines of JSON.

    {"request": "about"}                                       what this board is and what settings it has
    {"request": "settings"}                                    every setting
    {"request": "set", "settings": {"engage_rpm": 25}}         change some, store all, start anew with them
    {"request": "clear"}                                       clear a fault, as an explicit wish
    {"request": "edges"}                                       the last 512 crank edges, [levels, time_us]
    {"request": "maintenance"}                                 start anew without drive, for a host's tools

An answer has "ok" with the request's name, or "refused" with the reason. Long answers come in several
lines; "left" says how much is still to come. A line that is refused changes nothing. A setting beyond the
limits of the place that the board was flashed for is refused. Answering takes memory and time, so it is
done only while the wheel stands and nothing drives.
"""

from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.link.requests import parse
from firmware.link.store import NO_SLOT, SLOT_NAMES, Store, reason_of
from firmware.link.telemetry import FRAME_KIND
from firmware.records import Inputs
from firmware.settings import TABLE, Settings

LINE_MAX = 400
SETTINGS_IN_A_LINE = 6
EDGES_IN_A_LINE = 12

# What the console wants of the loop.
GO_ON = 0
START_ANEW = 1
MAINTENANCE = 2

_MOVING = b'{"refused": "the bicycle must stand, and nothing may drive"}\n'
_REQUESTS = ("about", "settings", "set", "clear", "edges", "maintenance")


class Console:
    """Collects a line and answers it.

    Read: `waiting` (a whole line waits for its answer), `replying` (more lines of an answer are to come),
    `ending` (GO_ON, START_ANEW or MAINTENANCE).
    """

    __slots__ = (
        "_board_name",
        "_controller",
        "_edges",
        "_inputs",
        "_length",
        "_line",
        "_next",
        "_request",
        "_store",
        "_unfit",
        "ending",
        "replying",
        "waiting",
    )

    def __init__(
        self, controller: Controller, inputs: Inputs, edges: RememberedEdges, store: Store, board_name: str
    ) -> None:
        """Start with an empty line. `edges` is the log in `inputs.crank`, `store` has been loaded."""
        self._controller = controller
        self._inputs = inputs
        self._edges = edges
        self._store = store
        self._board_name = board_name
        self._line = bytearray(LINE_MAX)
        self._length = 0
        self._unfit = False
        self._request = ""
        self._next = 0
        self.waiting = False
        self.replying = False
        self.ending = GO_ON

    def greeting(self) -> bytes:
        """Return the first line after a start: which settings are in force, or why nothing will drive."""
        return _line('"notice": ' + _quoted("settings: " + self._settings_in_force()))

    def take(self, value: int) -> None:
        """Take the next byte from the host; not while `waiting`. Takes no memory."""
        if value == 10:
            self.waiting = self._length > 0 or self._unfit
        elif value == 13:
            return
        elif value < 32 or value > 126 or self._length == LINE_MAX:
            self._unfit = True
        else:
            self._line[self._length] = value
            self._length += 1

    def refuse(self) -> bytes:
        """Drop the waiting line, or the rest of an answer, and return the refusal. Takes no memory."""
        self._forget_line()
        self._end_reply()
        return _MOVING

    def answer(self) -> bytes:
        """Carry out the waiting line and return the first line of the answer. Only at rest."""
        try:
            if self._unfit:
                raise ValueError("a request is one line of at most 400 printable ASCII characters")
            return self._carry_out(parse(bytes(self._line[: self._length]).decode()))
        except ValueError as error:
            return _refusal(reason_of(error))
        finally:
            self._forget_line()

    def go_on(self) -> bytes:
        """Return the next line of the answer. Only at rest, and only while `replying`."""
        return self._some_edges() if self._request == "edges" else self._some_settings()

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
        for name in asked:
            raise ValueError("the request " + str(request) + " has no " + name)
        self._request = str(request)
        self._next = 0
        if request == "about":
            return self._about()
        if request == "settings":
            return self._some_settings()
        if request == "set":
            return self._set(changes)
        if request == "edges":
            self._edges.hold(True)
            return self._some_edges()
        if request == "clear":
            self._inputs.clear_requested = True
        else:
            self.ending = MAINTENANCE
        return _line('"ok": ' + _quoted(self._request))

    def _about(self) -> bytes:
        text = '"ok": "about", "board": ' + _quoted(self._board_name) + ', "frame": ' + str(FRAME_KIND)
        return _line(text + ', "settings": ' + _quoted(self._settings_in_force()))

    def _settings_in_force(self) -> str:
        if self._store.slot == NO_SLOT:
            return "none are valid, so the motor stays off (" + self._store.refusal + ")"
        return SLOT_NAMES[self._store.slot] + ", sequence " + str(self._store.sequence)

    def _set(self, changes: object) -> bytes:
        """Store the settings in force with `changes` over them, and ask for a start with them."""
        if not isinstance(changes, dict) or len(changes) == 0:
            raise ValueError("the request set needs settings, an object of names and whole numbers")
        values = self._controller.settings.as_dict()
        for name, value in changes.items():
            values[name] = value
        settings = Settings(values)
        self._store.place.check(settings, self._controller.settings)
        try:
            self._store.save(settings)
        except OSError as error:
            return _refusal("the settings could not be stored, the old ones stay: " + reason_of(error))
        self.ending = START_ANEW
        text = '"ok": "set", "slot": ' + _quoted(SLOT_NAMES[self._store.slot])
        return _line(text + ', "sequence": ' + str(self._store.sequence))

    def _some_settings(self) -> bytes:
        end = min(self._next + SETTINGS_IN_A_LINE, len(TABLE))
        words = []
        for row in TABLE[self._next : end]:
            words.append(_quoted(row[0]) + ": " + str(getattr(self._controller.settings, row[0])))
        self._next = end
        self.replying = end < len(TABLE)
        text = '"ok": "settings", "settings": {' + ", ".join(words) + "}"
        return _line(text + ', "left": ' + str(len(TABLE) - end))

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
        return _line('"ok": "edges", "edges": [' + ", ".join(words) + '], "left": ' + str(kept - end))


def _line(text: str) -> bytes:
    return ("{" + text + "}\n").encode()


def _refusal(reason: str) -> bytes:
    return _line('"refused": ' + _quoted(reason))


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
