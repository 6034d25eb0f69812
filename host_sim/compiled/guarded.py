"""Runs a program that starts others, and ends all of them when its owner is gone.

A compiler is a tree of processes: mypyc, setuptools, gcc, cc1. A process that is killed can't end them, so
another one has to. That is a guard process, which leads its own session: it holds one end of a
pipe, and when the other end closes, for whatever reason, it ends the session and removes unfinished files.
Where there are no sessions (not POSIX) the program runs without a guard.
"""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from threading import Event, Thread

HAS_SESSIONS = os.name == "posix"
ENDING_S = 5.0


class Guarded:
    """A guarded program that runs. `end` ends it, so does the end of this process."""

    def __init__(
        self, command: list[str], folder: Path, environment: dict[str, str], log: Path, half_made: str = "-"
    ) -> None:
        """Start `command` in `folder`, its output to `log`; `half_made` is removed if it is ended."""
        guard = [sys.executable, "-P", str(Path(__file__)), half_made] if HAS_SESSIONS else []
        with log.open("wb") as output:
            self._process = subprocess.Popen(
                [*guard, *command],
                cwd=folder,
                env=environment,
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=HAS_SESSIONS,
            )

    def wait(self) -> int:
        """Wait until the program ends by itself; return its code. An exception here ends it too."""
        try:
            return self._process.wait()
        except BaseException:
            self.end()
            raise

    def end(self) -> None:
        """End the program and all that it has started."""
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        if not HAS_SESSIONS:
            self._process.kill()
        self._process.wait()


def main() -> None:
    """Run the guard: `guarded.py HALF_MADE COMMAND...`."""
    half_made, command = sys.argv[1], sys.argv[2:]
    held = os.dup(0)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)  # The program must not read the pipe that shows the guard that its owner lives.
    os.set_inheritable(held, False)
    program = subprocess.Popen(command, restore_signals=True, preexec_fn=_hears_the_end)
    ending = Event()
    watch = Thread(target=_end_with_owner, args=(held, program, half_made, ending), daemon=True)
    watch.start()
    code = program.wait()
    if ending.is_set():
        watch.join()  # It ends this process once everything is cleaned up.
    os._exit(code & 0xFF)


def _hears_the_end() -> None:
    """The guard ignores this signal, but the program it runs must not."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _end_with_owner(held: int, program: "subprocess.Popen[bytes]", half_made: str, ending: Event) -> None:
    """Wait until nobody holds the pipe's other end, then end the session."""
    while os.read(held, 1024):
        pass
    ending.set()
    with contextlib.suppress(ProcessLookupError):
        os.killpg(0, signal.SIGTERM)  # gcc removes its temporary files itself.
    with contextlib.suppress(subprocess.TimeoutExpired):
        program.wait(ENDING_S)
    if half_made != "-":
        shutil.rmtree(half_made, ignore_errors=True)
    os._exit(1)


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # It sends that to its own session, itself included.
    main()
