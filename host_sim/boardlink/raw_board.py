"""A board at its raw prompt, over mpremote: runs small pieces of code, reads and writes files."""

import contextlib
import io
import struct
import threading
from ast import literal_eval
from collections.abc import Callable, Iterator
from typing import Any

from host_sim.boardlink.bytecode import HOW_TO_GET
from host_sim.errors import RequestError

PROMPT_S = 10.0  # Time for a board to show its prompt.
READ_TIMEOUT_S = 5.0  # After this time without a byte the board counts as lost.
CHUNK_SIZE = 512  # As text up to 2 kB of code, which fits in the memory of every board.


class BoardTrouble(Exception):
    """A board is missing, refuses or stopped answering; the message is one sentence. Exit code 1."""


def require_mpremote() -> None:
    """Raise RequestError if mpremote is not installed."""
    try:
        import mpremote.transport_serial  # noqa: F401
    except ImportError:
        raise RequestError(
            f"treadle flash needs mpremote, which is not installed, {HOW_TO_GET} flash"
        ) from None


class RawBoard:
    """An open connection. Its methods raise BoardTrouble if the board fails or the connection breaks."""

    def __init__(self, port: str) -> None:
        """Open `port` and bring the board to its raw prompt, with a fresh heap."""
        from mpremote.transport_serial import SerialTransport

        self.port = port
        self._transport: Any = None
        try:
            with self._speaking("at its prompt"):
                self._transport = SerialTransport(port, timeout=READ_TIMEOUT_S)
                # A device that sends without a pause would keep mpremote from checking its time limit.
                watch = threading.Timer(3 * PROMPT_S, self._transport.serial.close)
                watch.daemon = True
                watch.start()
                try:
                    self._transport.enter_raw_repl(soft_reset=True, timeout_overall=PROMPT_S)
                finally:
                    watch.cancel()
        except BoardTrouble as error:
            self.close()
            raise BoardTrouble(
                f"{error}; if it is riding, ground its maintenance pin and restart it; if not, plug it in "
                "again"
            ) from None

    def run(self, code: str, doing: str) -> list[Any]:
        """Run `code` and return the Python values that it printed, one a line."""
        with self._speaking(doing):
            printed = self._transport.exec(code).decode("utf-8")
            return [literal_eval(line) for line in printed.splitlines() if line.strip()]
        raise AssertionError("unreachable")

    def read(self, name: str) -> bytes:
        """Return the content of a file."""
        with self._speaking(f"while {name} was read"):
            return bytes(self._transport.fs_readfile(name))
        raise AssertionError("unreachable")

    def write(self, name: str, content: bytes, wrote: Callable[[int], None]) -> None:
        """Write a file; `wrote(bytes)` reports progress."""
        before = 0

        def progress(done: int, _all: int) -> None:
            nonlocal before
            wrote(done - before)
            before = done

        with self._speaking(f"while {name} was written"):
            self._transport.fs_writefile(name, content, chunk_size=CHUNK_SIZE, progress_callback=progress)

    def close(self) -> None:
        """Leave the raw prompt and the port, whatever state they are in."""
        with contextlib.suppress(BoardTrouble), self._speaking("while the prompt was left"):
            if self._transport is not None:
                if self._transport.in_raw_repl:
                    self._transport.exit_raw_repl()
                self._transport.close()

    @contextlib.contextmanager
    def _speaking(self, doing: str) -> Iterator[None]:
        """Turn every failure of a board into one sentence, and keep mpremote from printing."""
        from mpremote.transport import TransportError, TransportExecError

        try:
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except TransportExecError as error:
            last = (error.error_output.strip().splitlines() or ["no reason"])[-1]
            raise BoardTrouble(f"the board at {self.port} failed {doing}: {last[:120]}") from None
        except (
            OSError,
            TransportError,
            struct.error,
            ValueError,
            TypeError,
            SyntaxError,
            *_PORT_ERRORS,
        ) as error:
            reason = " ".join(str(error).split())[:120] or type(error).__name__
            raise BoardTrouble(f"the board at {self.port} did not answer {doing} ({reason})") from None


def _port_errors() -> tuple[type[Exception], ...]:
    """Return what the operating system raises besides OSError when a port is lost."""
    try:
        import termios
    except ImportError:  # Windows.
        return ()
    return (termios.error,)


_PORT_ERRORS = _port_errors()
