"""Jobs that show which process does them, and two that fail; a process finds them by their module."""

import os
import signal


def own_pid(number: int) -> int:
    """Return the process that this runs in."""
    return os.getpid()


def own_end(number: int) -> int:
    """End the process that this runs in."""
    os.kill(os.getpid(), signal.SIGKILL)
    return number


def broken(number: int) -> int:
    """Raise."""
    raise ValueError(number)
