"""Logs of edges that also pass what a step takes to a capture and to the recorder."""

from firmware.link.recorder import Recorder
from firmware.records import EdgeLog

HISTORY_SIZE = 512


class RememberedEdges(EdgeLog):
    """An edge log that remembers what was taken from it: the last 512 edges. Put it into `Inputs.crank`.

    Read: `taken` (edges taken so far, modulo 65536), `kept` (edges remembered, 0 to 512). Set: `recorder`,
    which gets every edge too.
    """

    __slots__ = ("_held", "_kept_levels", "_kept_us", "_next", "kept", "recorder", "taken")

    def __init__(self) -> None:
        """Start empty."""
        EdgeLog.__init__(self)
        self._kept_levels = bytearray(HISTORY_SIZE)
        self._kept_us = [0] * HISTORY_SIZE
        self._next = 0
        self._held = False
        self.kept = 0
        self.taken = 0
        self.recorder: Recorder | None = None

    def take(self) -> bool:
        """Move the oldest edge to `levels` and `time_us` and remember it; False if there is none."""
        if self._read == self._write:
            return False  # Nearly always, and calling the next line costs a board 12 us.
        EdgeLog.take(self)
        self.taken = (self.taken + 1) & 0xFFFF
        if self.recorder is not None:
            self.recorder.edge(self.levels, self.time_us, False)
        if not self._held:
            place = self._next
            self._kept_levels[place] = self.levels
            self._kept_us[place] = self.time_us
            self._next = (place + 1) % HISTORY_SIZE
            if self.kept < HISTORY_SIZE:
                self.kept += 1
        return True

    def hold(self, held: bool) -> None:
        """Keep the remembered edges unchanged while they are read out; end that with False."""
        self._held = held

    def levels_at(self, value: int) -> int:
        """Return the levels after remembered edge number `value`: 0 for the oldest, to `kept` - 1."""
        return self._kept_levels[(self._next - self.kept + value) % HISTORY_SIZE]

    def time_us_at(self, value: int) -> int:
        """Return the time of remembered edge number `value`: 0 for the oldest, to `kept` - 1."""
        return self._kept_us[(self._next - self.kept + value) % HISTORY_SIZE]


class WheelEdges(EdgeLog):
    """An edge log that passes what is taken from it to the recorder. Put it into `Inputs.wheel`."""

    __slots__ = ("_recorder",)

    def __init__(self, recorder: Recorder) -> None:
        """Start empty."""
        EdgeLog.__init__(self)
        self._recorder = recorder

    def take(self) -> bool:
        """Move the oldest edge to `levels` and `time_us` and record it; False if there is none."""
        if self._read == self._write:
            return False
        EdgeLog.take(self)
        self._recorder.edge(self.levels, self.time_us, True)
        return True
