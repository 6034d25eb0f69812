"""The desk board behind a pseudo-terminal: a port that can be unplugged, plugged in again, and disturbed.

What the desk says passes through a thread that remembers it, so that a test knows what really was sent.
"""

import os
import re
import select
import subprocess
import threading
import tty
from collections import deque
from pathlib import Path

from firmware.link.telemetry import FRAME_SIZE
from host_sim.boardlink.frames import Frame, Wire
from tests.micropython_unix import ROOT, micropython_unix

PIECE = 4_096
WHOLE_FRAME = re.compile(rb"\0[^\0]{%d}\0" % (FRAME_SIZE - 2))
CHUNK = 256  # Bytes that pass at a time; the desk waits when the host does not read.
PATIENCE_S = 120.0  # On a busy computer.


def _frames(sent: bytes) -> list[Frame]:
    """Return the whole frames in what was sent."""
    return [item for item in Wire().feed(sent) if isinstance(item, Frame)]


class DeskOnAPort:
    """Use it in a `with`; `port` is a link that stays while the terminals behind it come and go.

    What is on the line is remembered before anybody can have read it. Words are those of
    `boards/desk/README.md`.
    """

    def __init__(self, folder: Path, *words: str) -> None:
        """Keep settings and the link in `folder`; nothing runs yet."""
        self.port = folder / "port"
        self._sent = bytearray()
        self._line = threading.Condition()  # Held while bytes go onto the line and are remembered.
        self._folder = folder / "desk-files"
        self._folder.mkdir(exist_ok=True)
        self._words = words
        self._noises: deque[bytes] = deque()
        self._noise_ends = 0
        self._spoil = False
        self._plugged = False

    def __enter__(self) -> "DeskOnAPort":
        self.plug_in()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    def plug_in(self) -> None:
        """Start the desk, and put a new terminal behind the link."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        # A write that waits for a host that does not read could not be told to end.
        os.set_blocking(self._master, False)
        self._desk = subprocess.Popen(
            [micropython_unix(), "-m", "boards.desk.main", f"--folder={self._folder}", *self._words],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            bufsize=0,
        )
        self._end_read, self._end_write = os.pipe()
        self._relay = threading.Thread(target=self._pass_on, daemon=True)
        self._relay.start()
        self._plugged = True
        link = self.port.with_suffix(".new")
        link.symlink_to(os.ttyname(self._slave))
        link.replace(self.port)

    def unplug(self) -> None:
        """Kill the desk and take the terminal away, in the middle of whatever it does."""
        if not self._plugged:
            return
        self._plugged = False
        self.port.unlink()
        os.write(self._end_write, b"e")
        self._relay.join(timeout=PATIENCE_S)
        assert not self._relay.is_alive()
        self._desk.kill()
        self._desk.wait()
        assert self._desk.stdin is not None
        assert self._desk.stdout is not None
        self._desk.stdin.close()
        self._desk.stdout.close()
        for opened in (self._master, self._slave, self._end_read, self._end_write):
            os.close(opened)

    def disturb(self, noise: bytes) -> None:
        """Put bytes of nobody's onto the line, one noise behind each piece of what the desk says."""
        self._noises.append(noise)

    def noise_is_over(self, frame: Frame | None) -> bool:
        """Tell whether this frame went onto the line after all the noise that was asked for."""
        with self._line:
            if frame is None or self._noises:
                return False
            after = bytes(self._sent[self._noise_ends :])
        return frame in _frames(after)

    def spoil_a_frame(self) -> None:
        """Change one byte inside the next whole frame that passes."""
        self._spoil = True

    def frames_sent(self) -> list[Frame]:
        """Return every frame that went onto the line whole."""
        with self._line:
            return _frames(bytes(self._sent))

    def has_sent(self, text: bytes) -> bool:
        """Tell whether this stood on the line in one piece."""
        with self._line:
            return text in self._sent

    def wait_for_frames(self) -> None:
        """Wait until the desk has started and a frame is on the line."""
        with self._line:
            assert self._line.wait_for(lambda: _frames(bytes(self._sent)), PATIENCE_S)

    def _pass_on(self) -> None:
        """Carry bytes both ways until it is unplugged; the desk's bytes wait for free space."""
        assert self._desk.stdin is not None
        assert self._desk.stdout is not None
        desk_out, desk_in = self._desk.stdout.fileno(), self._desk.stdin.fileno()
        waiting = b""
        while True:
            readers = [self._end_read, self._master] + ([] if waiting else [desk_out])
            ready, room, _ = select.select(readers, [self._master] if waiting else [], [])
            if self._end_read in ready:
                return
            if self._master in ready:
                os.write(desk_in, os.read(self._master, PIECE))
            if desk_out in ready:
                waiting = os.read(desk_out, CHUNK)
                if not waiting:
                    return
                waiting = self._with_noise(self._spoiled(waiting))
            if room:
                waiting = waiting[self._put(waiting) :]

    def _put(self, piece: bytes) -> int:
        """Put as much of the piece onto the line as fits; return how many bytes that is."""
        with self._line:
            try:
                written = os.write(self._master, piece)
            except BlockingIOError:  # There is less space than it seemed.
                return 0
            self._sent += piece[:written]
            self._line.notify_all()
        return written

    def _with_noise(self, piece: bytes) -> bytes:
        """Return the piece, and behind it the noise that is next."""
        with self._line:
            if self._noises:
                piece += self._noises.popleft()
                self._noise_ends = len(self._sent) + len(piece)
        return piece

    def _spoiled(self, piece: bytes) -> bytes:
        """Return the piece with a byte of a frame changed, if requested and if there is a complete frame."""
        whole = WHOLE_FRAME.search(piece)
        if not self._spoil or whole is None:
            return piece
        self._spoil = False
        at = whole.start() + FRAME_SIZE // 2
        return piece[:at] + bytes([piece[at] ^ 0x80 or 0x40]) + piece[at + 1 :]
