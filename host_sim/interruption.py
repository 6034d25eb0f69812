"""A request to end (SIGTERM) treated as Ctrl-C is: as KeyboardInterrupt, so that what was done is kept."""

import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from types import FrameType


@contextlib.contextmanager
def ended_as_interrupted() -> Iterator[None]:
    """Let SIGTERM raise KeyboardInterrupt while the block runs; the handler of before comes back after."""
    if threading.current_thread() is not threading.main_thread():
        yield  # Signals are handled in the main thread only.
        return
    owner = os.getpid()

    def interrupt(_: int, __: FrameType | None) -> None:
        if os.getpid() != owner:  # A worker that was forked ends as it did before.
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            os.kill(os.getpid(), signal.SIGTERM)
            return
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
