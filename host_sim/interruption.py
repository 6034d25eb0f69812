"""A request to end (SIGTERM) treated as Ctrl-C is: as KeyboardInterrupt, so that what was done is kept."""

import contextlib
import signal
import threading
from collections.abc import Iterator
from types import FrameType


def _interrupt(_: int, __: FrameType | None) -> None:
    raise KeyboardInterrupt


@contextlib.contextmanager
def ended_as_interrupted() -> Iterator[None]:
    """Let SIGTERM raise KeyboardInterrupt while the block runs; the handler of before comes back after."""
    if threading.current_thread() is not threading.main_thread():
        yield  # Signals are handled in the main thread only.
        return
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
