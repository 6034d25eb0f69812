"""Single keys from the terminal, without the return key, and the signals that end a watch."""

import contextlib
import os
import select
import signal
import sys
from collections.abc import Iterator
from types import FrameType


class Stop:
    """Stores in `wanted` that a signal requested the end, so that no operation is interrupted."""

    def __init__(self) -> None:
        """Start without a request."""
        self.wanted = False

    def want(self, _: int, __: FrameType | None) -> None:
        """Handle a signal."""
        self.wanted = True


@contextlib.contextmanager
def stop_by_signal() -> Iterator[Stop]:
    """Yield a Stop that Ctrl-C and termination signals set; restore the old handlers afterwards."""
    stop = Stop()
    names = ("SIGINT", "SIGTERM", "SIGHUP")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, stop.want) for number in numbers}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class Keys:
    """The keys of a terminal."""

    def pressed(self) -> str:
        """Return the keys pressed since the last call; never waits."""
        return ""


class _PosixKeys(Keys):
    def pressed(self) -> str:
        found = b""
        while select.select([sys.stdin], [], [], 0)[0]:
            read = os.read(sys.stdin.fileno(), 64)
            if not read:
                break
            found += read
        return found.decode("ascii", "replace")


@contextlib.contextmanager
def single_keys() -> Iterator[Keys | None]:
    """Yield the keys of the terminal at standard input, without echo; None if it is not a terminal."""
    if not sys.stdin or not sys.stdin.isatty():
        yield None
        return
    try:
        import termios
        import tty
    except ImportError:
        yield _windows_keys()
        return
    before = termios.tcgetattr(sys.stdin)
    try:
        tty.setcbreak(sys.stdin)
        yield _PosixKeys()
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)


def _windows_keys() -> Keys:
    import msvcrt

    class WindowsKeys(Keys):
        def pressed(self) -> str:
            found = ""
            while msvcrt.kbhit():  # type: ignore[attr-defined]
                found += msvcrt.getwch()  # type: ignore[attr-defined]
            return found

    return WindowsKeys()
