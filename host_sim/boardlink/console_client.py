"""Requests to a board's console, and its answers. The requests are those of `firmware/link/console.py`."""

import errno
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from firmware.ticks import ticks_diff_us
from host_sim.boardlink.frames import Frame, Wire
from host_sim.boardlink.recorded import Block
from host_sim.errors import RequestError
from host_sim.textfile import spoken

READ_TIMEOUT_S = 0.05
READ_SIZE = 4_096
SILENT_READS_MAX = 100  # Consecutive reads without data or without an answer: 5 s on a quiet port.
READS_TO_CLEAR = 2  # After this time an incomplete line left by another program has been refused.
BAUD_RATE = 115_200  # The rate of an ESP32's serial adapter; USB ignores it.


class BytePort(Protocol):
    """What is needed from a serial port: a `read` that waits a moment and may return nothing, and `write`."""

    def read(self, size: int = ..., /) -> bytes:
        """Return at most `size` bytes."""

    def write(self, data: bytes, /) -> int | None:
        """Write all of `data`."""


class BoardRefusal(Exception):
    """The board refused a request; the message is its reason."""


class BoardSilent(Exception):
    """The board did not answer in time."""


@dataclass(frozen=True, slots=True)
class CapturedEdge:
    """A crank edge: seconds since the first one, and the levels after it (bit 0 A, bit 1 B)."""

    time_s: float
    levels: int


class ConsoleClient:
    """Sends requests to a board. Frames that arrive meanwhile go to `on_frame`, other text to `on_text`.

    Blocks of the recorder go to `on_block`.
    """

    def __init__(
        self,
        port: BytePort,
        on_frame: Callable[[Frame], None] = lambda frame: None,
        on_text: Callable[[str], None] = lambda text: None,
        on_block: Callable[[Block], None] = lambda block: None,
    ) -> None:
        """Use an open port whose `read` returns within about READ_TIMEOUT_S."""
        self._port = port
        self._on_frame = on_frame
        self._on_text = on_text
        self.wire = Wire(on_block)
        self._cleared = False

    def about(self) -> dict[str, Any]:
        """Return the board's description: `board`, `frame`, `settings`."""
        (answer,) = self._ask({"request": "about"})
        return {name: answer[name] for name in ("board", "frame", "settings")}

    def settings(self) -> dict[str, int]:
        """Return every present setting by name."""
        found: dict[str, int] = {}
        for answer in self._ask({"request": "settings"}):
            found |= answer["settings"]
        return found

    def change(self, settings: dict[str, int]) -> int:
        """Change these settings, store all, and restart with them; return the new sequence number."""
        (answer,) = self._ask({"request": "set", "settings": settings})
        return int(answer["sequence"])

    def clear(self) -> None:
        """Request to clear the fault; telemetry shows whether it is gone."""
        self._ask({"request": "clear"})

    def stream(self, from_oldest: bool = False) -> None:
        """Request the recorder's blocks for 40 s or more, from now on or from the oldest stored."""
        self._ask({"request": "stream all" if from_oldest else "stream"})

    def freeze(self) -> tuple[int, int]:
        """Freeze the recording; return the number of blocks, and the number of the oldest."""
        (answer,) = self._ask({"request": "freeze"})
        return int(answer["blocks"]), int(answer["first"])

    def release(self) -> None:
        """Let the board overwrite the frozen recording."""
        self._ask({"request": "release"})

    def start(self) -> None:
        """Restart the board; BoardRefusal if it moves, or has a frozen recording."""
        self._ask({"request": "start"})

    def maintenance(self) -> None:
        """Restart the board without drive and watchdog, so that files can be copied."""
        self._ask({"request": "maintenance"})

    def edges(self) -> list[CapturedEdge]:
        """Return the last crank edges, at most 512, oldest first."""
        found: list[CapturedEdge] = []
        last_us: int | None = None
        elapsed_us = 0
        for answer in self.edge_answers():
            for levels, time_us in answer["edges"]:
                elapsed_us += ticks_diff_us(time_us, last_us) if last_us is not None else 0
                last_us = time_us
                found.append(CapturedEdge(elapsed_us * 1e-6, levels))
        return found

    def edge_answers(self) -> list[dict[str, Any]]:
        """Return the answers with the last crank edges as the board sends them: an edge dump."""
        return self._ask({"request": "edges"})

    def listen(self, size: int = READ_SIZE) -> None:
        """Read at most `size` bytes and pass everything in them to its handlers; waits a moment at most."""
        for item in self.wire.feed(self._port.read(size)):
            if isinstance(item, Frame):
                self._on_frame(item)
            else:
                self._on_text(item)

    def _ask(self, request: dict[str, Any]) -> list[dict[str, Any]]:
        """Send a request; return all lines of its answer, or raise BoardRefusal or BoardSilent."""
        self._clear_line()
        self._port.write(json.dumps(request).encode("ascii") + b"\n")
        answers: list[dict[str, Any]] = []
        silent_reads = 0
        while silent_reads < SILENT_READS_MAX:
            silent_reads += 1
            came = False
            # Process all received data, even after the answer, so that no frame is lost.
            for item in self.wire.feed(self._port.read(READ_SIZE)):
                answer = self._answer_in(item, request["request"])
                if answer is not None:
                    came = True
                    answers.append(answer)
            if not came:
                continue
            silent_reads = 0
            refusal = next((answer["refused"] for answer in answers if "refused" in answer), None)
            if refusal is not None:
                raise BoardRefusal(str(refusal))
            if answers[-1].get("left", 0) == 0:
                return answers
        raise BoardSilent(f'the board did not answer the request "{request["request"]}"')

    def _clear_line(self) -> None:
        """End an incomplete line on the board, once, and ignore its refusal."""
        if self._cleared:
            return
        self._cleared = True
        self._port.write(b"\n")
        for _ in range(READS_TO_CLEAR):
            self.listen()

    def _answer_in(self, item: Frame | str, request: str) -> dict[str, Any] | None:
        """Return the answer or refusal in a line; pass other lines to their handlers."""
        if isinstance(item, Frame):
            self._on_frame(item)
            return None
        try:
            answer = json.loads(item)
        except (ValueError, RecursionError):
            answer = None
        if isinstance(answer, dict) and ("refused" in answer or answer.get("ok") == request):
            return answer
        self._on_text(item)
        return None


def open_port(name: str) -> BytePort:
    """Open the serial port `name`; RequestError says what is missing or wrong."""
    try:
        import serial
    except ImportError as error:
        raise RequestError(
            "a serial port needs pyserial, which is not installed, get it with the extra `board`"
        ) from error
    try:
        port: BytePort = serial.Serial(name, BAUD_RATE, timeout=READ_TIMEOUT_S, exclusive=True)
    except (OSError, ValueError) as error:
        raise RequestError(f"the port {spoken(name)} cannot be opened: {_why(error)}") from error
    return port


def _why(error: Exception) -> str:
    number = getattr(error, "errno", None)
    if number in (errno.EAGAIN, errno.EBUSY):
        return "another program is using it"
    if number in (errno.EACCES, errno.EPERM):
        return "this user may not use serial ports (on Linux: join the group that owns it, often dialout)"
    if number in (errno.EISDIR, errno.ENOTTY) or "Inappropriate ioctl" in str(error):
        return "it is not a serial port"
    if number == errno.ENOENT:
        return "there is no such port, is the board plugged in?"
    if number in (errno.ENXIO, errno.EIO):
        return "no device answers, unplug the board and plug it in again"
    return os.strerror(number) if number else str(error)
