"""Streams steps and edges from a board.

    with closing(open_port(name)) as port:
        live = LiveSteps(port)
        while ...:
            for item in live.read():          # waits READ_TIMEOUT_S at most
                if isinstance(item, Loss):
                    ...                       # always reported
                else:
                    edges = crank_edges(item)  # every crank edge, raw times and levels

It works with every open port, that of the desk board (`desk_port`) too, and while the bicycle moves. Nothing
is lost as long as `read` is called often enough for the system's buffer and the board's ring (20 s);
otherwise a `Loss` takes the place of what is missing.
"""

import time
from collections.abc import Callable

from firmware.link.stream import BLOCKS_UNASKED
from firmware.ticks import ticks_diff_us
from host_sim.boardlink.console_client import BytePort, ConsoleClient
from host_sim.boardlink.frames import Frame
from host_sim.boardlink.recorded import Block, DamagedBlock, Loss, RecordedStep, StepReader

RENEW_S = 3.0
RENEW_BLOCKS = BLOCKS_UNASKED // 4
READ_SIZE = 16_384


class Renewal:
    """When to request the stream again: a board stops sending after BLOCKS_UNASKED blocks without a request.

    Those are 40 s of riding or more, but a desk board in a hurry needs less than two seconds for them.
    """

    __slots__ = ("_blocks", "_due_s")

    def __init__(self) -> None:
        """Start with a request that is due."""
        self._blocks = 0
        self._due_s = 0.0

    def requested(self, now_s: float) -> None:
        """Note a request."""
        self._blocks = 0
        self._due_s = now_s + RENEW_S

    def took_block(self) -> None:
        """Note a block that arrived."""
        self._blocks += 1

    def is_due(self, now_s: float) -> bool:
        """Return whether another request is due."""
        return now_s >= self._due_s or self._blocks >= RENEW_BLOCKS


class LiveSteps:
    """The stream of a board. Read: `lost`, `damaged`, `started_us`."""

    def __init__(
        self,
        port: BytePort,
        from_oldest: bool = False,
        on_frame: Callable[[Frame], None] = lambda frame: None,
        on_text: Callable[[str], None] = lambda text: None,
        on_block: Callable[[Block], None] = lambda block: None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Request the stream; BoardRefusal or BoardSilent if the board can't send it.

        `from_oldest` also requests what the board still stores. Frames, other text and every block go to
        their functions too.
        """
        self._reader = StepReader()
        self._items: list[RecordedStep | Loss] = []
        self._on_block = on_block
        self._clock_s = clock_s
        self._unread = 0
        self._renewal = Renewal()
        self._client = ConsoleClient(port, on_frame, on_text, self._take)
        self._client.stream(from_oldest)
        self._renewal.requested(clock_s())

    @property
    def lost(self) -> int:
        """Steps known to be missing."""
        return self._reader.lost

    @property
    def damaged(self) -> int:
        """Pieces that were neither frame, block nor text, and blocks that contradict themselves."""
        return self._client.wire.damaged + self._unread

    @property
    def started_us(self) -> int | None:
        """The time that the controller was built with; None if the board had started before."""
        return self._reader.started_us

    def read(self) -> list[RecordedStep | Loss]:
        """Return what has arrived since the last call, in order; waits a moment at most."""
        if self._renewal.is_due(self._clock_s()):
            self._client.stream()
            self._renewal.requested(self._clock_s())
        else:
            self._client.listen(READ_SIZE)
        found = self._items
        self._items = []
        return found

    def _take(self, block: Block) -> None:
        self._renewal.took_block()
        self._on_block(block)
        try:
            for item in self._reader.feed(block):
                self._items.append(item)
        except DamagedBlock:
            self._unread += 1


class SecondsSince:
    """Converts times of the board's clock, which wraps every 17.9 minutes, to seconds since the first one."""

    def __init__(self) -> None:
        """Wait for the first time."""
        self._last_us: int | None = None
        self._elapsed_us = 0

    def seconds(self, time_us: int) -> float:
        """Return the seconds since the first time; successive times less than 8.9 minutes apart."""
        if self._last_us is not None:
            self._elapsed_us += ticks_diff_us(time_us, self._last_us)
        self._last_us = time_us
        return self._elapsed_us * 1e-6
