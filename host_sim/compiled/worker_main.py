"""A worker process: reads (function, items) from standard input, writes their results to standard output.

Started as `python -P -m host_sim.compiled.worker_main FOLDER`, where FOLDER is the compiled copy or `-`.
Nothing hot may be imported above `main`: the copy has to be in place first. What the work prints goes to
standard error. The process ends at the end of its input, and when its parent ends, even in the middle
of its work.
"""

import os
import pickle
import signal
import sys
import time
from importlib import import_module
from pathlib import Path
from threading import Thread

from host_sim.compiled.compiled_first import compiled_first

LOOK_EVERY_S = 1.0


def main() -> None:
    """Serve until the input ends."""
    if os.name == "posix":
        Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # The parent handles it and ends its workers.
    results = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    if sys.argv[1] != "-":
        compiled_first(Path(sys.argv[1]))
    import_module("host_sim.compiled.travel")
    while True:
        try:
            request = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        try:
            pickle.dump(_answer(request), results)
            results.flush()
        except BrokenPipeError:
            os._exit(1)  # Nobody waits for the result any more.


def _end_with(parent: int) -> None:
    """End this process when `parent` has ended: then another process has taken it over."""
    while os.getppid() == parent:
        time.sleep(LOOK_EVERY_S)
    os._exit(1)


def _answer(request: bytes) -> bytes:
    """Carry out a request; an error, also in decoding or encoding, is an answer too."""
    try:
        function, items = pickle.loads(request)
        return pickle.dumps((True, [function(item) for item in items]))
    except Exception as error:
        try:
            return pickle.dumps((False, error))
        except Exception:
            return pickle.dumps((False, RuntimeError(f"{type(error).__name__}: {error}")))


if __name__ == "__main__":
    main()
