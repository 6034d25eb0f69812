"""Make the calls of the proofs' path vectors in the board form, on any Python: CPython and MicroPython.

`PathReplay` makes them one by one and compares result and every number; `told` puts into one line what came:

    calls 77740 differences 0
"""

import sys
from array import array

from firmware.records import EdgeLog, Inputs
from firmware.settings import Settings

LOG_PLACES = 1 << 16
LOG_SIZE = 133  # Numbers of an edge log: both its lists, and five more.
BLOCK_WORDS = 256
END = -1
SHOWN_MAX = 5


class Words:
    """The words of a file, one after the other."""

    def __init__(self, path):
        """Open it."""
        self._file = open(path, "rb")  # noqa: SIM115
        self._block = array("i")
        self._at = 0

    def next(self):
        """Return the next word, with its sign."""
        if self._at == len(self._block):
            self._block = array("i", self._file.read(4 * BLOCK_WORDS))
            self._at = 0
        self._at += 1
        return self._block[self._at - 1]


class PathReplay:
    """Makes all calls of a file. Read: `calls`, `skipped`, `differences`."""

    def __init__(self, module, entries, path):
        """Take the generated module and that of the entries, and make the calls."""
        self._kind = module.Controller
        self._entries = entries
        self._controller = module.Controller(Settings({}), 0)
        self._cells = self._controller._cells
        self._built = array("i", self._cells)
        self._inputs = Inputs()
        self._logs_used = False
        self._put_inputs(self._built)
        self._expected = array("i", self._built)
        self._log_built = numbers_of(EdgeLog())
        self._words = Words(path)
        self.calls = 0
        self.skipped = 0
        self.differences = 0
        entry = self._words.next()
        while entry != END:
            self._call(entry)
            entry = self._words.next()

    def _put_inputs(self, cells):
        for name, at in self._entries.INPUTS:
            cells[at] = int(getattr(self._inputs, name))

    def _call(self, number):
        self._cells[:] = self._built
        self._expected[:] = self._built
        logs: dict[int, EdgeLog] = {}
        given = [self._words.next() for _ in range(self._words.next())]
        result = self._words.next()
        self._take(self._cells, logs)
        entry = self._entries.ENTRIES[number]
        self._fill(logs)
        if entry == "Inputs.__init__":
            came = result  # The board form has the class itself.
            self.skipped += 1
        elif entry == "Controller.step":
            came = self._step(given[0])
        elif entry == "Controller.__init__":
            came = self._build(given[0])
        else:
            came = entry(self._cells, (self._inputs.crank, self._inputs.wheel), given)
        self._take(None, logs)
        same = (came is None or came == result) and self._cells == self._expected
        for which, log in enumerate((self._inputs.crank, self._inputs.wheel)):
            same = same and self._log_is(log, which, logs)
        self.calls += 1
        if not same:
            self.differences += 1
            if self.differences <= SHOWN_MAX:
                sys.stdout.write("call " + str(self.calls) + ", function " + str(number) + " differs\n")

    def _take(self, cells, logs):
        """Read numbers with their places; all are expected after the call."""
        for _ in range(self._words.next()):
            place = self._words.next()
            value = self._words.next()
            if place >= LOG_PLACES:
                logs[place - LOG_PLACES] = value
                continue
            self._expected[place] = value
            if cells is not None:
                cells[place] = value

    def _fill(self, logs):
        """Put numbers into fresh edge logs, if a call has any or the one before had; there are few."""
        if logs or self._logs_used:
            self._inputs = Inputs()
        self._logs_used = len(logs) > 0
        for place, value in logs.items():
            log = (self._inputs.crank, self._inputs.wheel)[place // LOG_SIZE]
            put_number(log, place % LOG_SIZE, value)

    def _log_is(self, log, which, logs):
        if not logs and log.overruns == 0 and log._read == log._write:
            return True
        numbers = numbers_of(log)
        for at, value in enumerate(numbers):
            if value != logs.get(which * LOG_SIZE + at, self._log_built[at]):
                return False
        return True

    def _step(self, now_us):
        """Take a whole step as a board does."""
        for name, at in self._entries.INPUTS:
            kind = type(getattr(self._inputs, name))
            setattr(self._inputs, name, kind(self._cells[at]))
        outputs = self._controller.step(self._inputs, now_us)
        for name, at in self._entries.OUTPUTS:
            if getattr(outputs, name) != self._cells[at]:
                return "another output"
        return None

    def _build(self, now_us):
        """Build a controller as a board does."""
        settings = Settings({})
        for at, name in enumerate(Settings.__slots__, self._entries.SETTINGS):
            setattr(settings, name, self._cells[at])
        inputs = [(at, self._cells[at]) for _, at in self._entries.INPUTS]
        self._cells[:] = self._kind(settings, now_us)._cells
        for at, value in inputs:
            self._cells[at] = value


def numbers_of(log):
    """Return the numbers of an edge log in the order of their places."""
    ends = [log._write, log.levels, log.overruns, log.time_us]
    return log._levels + [log._read] + log._times_us + ends  # noqa: RUF005


def put_number(log, place, value):
    """Put a number into an edge log."""
    size = len(log._levels)
    if place < size:
        log._levels[place] = value
    elif place == size:
        log._read = value
    elif place <= 2 * size:
        log._times_us[place - size - 1] = value
    else:
        setattr(log, ("_write", "levels", "overruns", "time_us")[place - 2 * size - 1], value)


def told(replay):
    """Return the line of totals."""
    return "calls " + str(replay.calls) + " differences " + str(replay.differences)
