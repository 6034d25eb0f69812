"""Treats SIGTERM like Ctrl-C, as KeyboardInterrupt, and protects clean-up from both."""

import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from types import FrameType

INTERRUPTED = 130  # The exit code, as a shell reports a program that ended by SIGINT.
HELD_BACK = (signal.SIGINT, signal.SIGTERM)


@contextlib.contextmanager
def ended_as_interrupted() -> Iterator[None]:
    """Let SIGTERM raise KeyboardInterrupt while the block runs; afterwards restore the previous handler."""
    if threading.current_thread() is not threading.main_thread():
        yield  # Signals are handled in the main thread only.
        return
    owner = os.getpid()

    def interrupt(_: int, __: FrameType | None) -> None:
        if os.getpid() != owner:  # A worker that was forked ends as it did before.
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            os.kill(os.getpid(), signal.SIGTERM)
            return
        signal.signal(signal.SIGTERM, signal.SIG_IGN)  # One is enough: another would disturb the clean-up.
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextlib.contextmanager
def undisturbed() -> Iterator[None]:
    """Delay Ctrl-C and SIGTERM until the block has run."""
    if threading.current_thread() is not threading.main_thread():
        yield  # Python delivers signals to the main thread only.
        return
    arrived: list[int] = []
    # Not by a mask: that is per thread, and another thread would get the signal.
    before = {number: signal.signal(number, lambda one, _: arrived.append(one)) for number in HELD_BACK}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        for first in arrived[:1]:
            signal.raise_signal(first)
