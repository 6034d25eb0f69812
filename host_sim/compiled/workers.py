"""Worker processes that ride compiled: the copy is first on their path, this process stays interpreted.

    with Workers(2) as workers:
        for result in workers.map(function, items):
            ...

Processes start without imports, so that nothing hot is loaded before the compiled copy is in place. Without a
compiler they ride interpreted, and `notice` says so.
"""

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from itertools import islice
from queue import SimpleQueue
from threading import Lock
from typing import Any, TypeVar

import host_sim.compiled.travel  # noqa: F401  It lets settings be pickled.
from host_sim.compiled.build import HOT, ROOT, CannotCompile, compiled_copy, is_built, missing_tools
from host_sim.compiled.meanwhile import CopyMeanwhile

Item = TypeVar("Item")
Result = TypeVar("Result")
USUAL_MOST = 8
DEATHS_MAX = 3  # A batch is not tried again after its worker has died this often.
AHEAD = 4  # Batches on their way for each worker, so that none waits for another.


def usual_count() -> int:
    """Return how many processes to start unless the user says otherwise: one a core, at most USUAL_MOST."""
    return min(os.cpu_count() or 1, USUAL_MOST)


class WorkerDied(Exception):
    """A worker process died repeatedly on the same items."""


class Workers:
    """`count` processes during the `with` block. Read: `notice`, "" or why they are slow."""

    def __init__(
        self,
        count: int,
        compiled: bool = True,
        say: Callable[[str], None] = lambda sentence: None,
        at_once: bool = False,
    ) -> None:
        """Build the compiled copy if necessary (a minute or two, once) and prepare to start processes.

        `say` gets a message if it has to be built. With `at_once` rides are interpreted until then, and the
        processes are replaced when the copy is ready.
        """
        self.count = count
        self.notice = ""
        self._folder = "-"
        self._meanwhile: CopyMeanwhile | None = None
        if compiled:
            to_build = not missing_tools() and not is_built(HOT)
            if to_build and at_once:
                say("compiling the bench, once; rides are interpreted until that is done")
                self._meanwhile = CopyMeanwhile()
            else:
                self._build(to_build, say)
        self._idle: SimpleQueue[_Worker | None] = SimpleQueue()
        self._started: list[_Worker] = []
        self._over = False
        self._starting = Lock()
        for _ in range(count):
            self._idle.put(None)  # A slot for a process, which is started when needed.
        self._threads = ThreadPoolExecutor(count)

    def _build(self, to_build: bool, say: Callable[[str], None]) -> None:
        if to_build:
            say("compiling the bench, once: a minute or two")
        try:
            self._folder = str(compiled_copy(HOT))
        except CannotCompile as reason:
            self.notice = f"rides are interpreted, some twenty times slower: {reason}"

    def __enter__(self) -> "Workers":
        return self

    def __exit__(self, *_: object) -> None:
        """End the processes at once, whatever they are doing."""
        with self._starting:
            self._over = True
        self._threads.shutdown(wait=False, cancel_futures=True)
        idle = set()
        while not self._idle.empty():
            idle.add(self._idle.get())
        for _place in idle:
            self._idle.put(None)  # For a thread that has yet to ask for a place.
        for worker in self._started:
            if not (worker in idle and _keep(worker)):
                worker.end()
        if self._meanwhile is not None:
            self._meanwhile.end()
        self._threads.shutdown(wait=True)

    def map(
        self, function: Callable[[Item], Result], items: Iterable[Item], batch: int = 8
    ) -> Iterator[Result]:
        """Yield `function(item)` for every item, in their order; `batch` items travel together.

        `function` is found by its name in its module. What it raises is raised here; a worker that dies is
        replaced and its batch done again, WorkerDied if that happens DEATHS_MAX times.
        """
        source = iter(items)
        waiting: list[Future[list[Result]]] = []
        while True:
            while len(waiting) < AHEAD * self.count and (some := list(islice(source, batch))):
                waiting.append(self._threads.submit(self._do, function, some))
            if not waiting:
                return
            yield from waiting.pop(0).result()

    def _do(self, function: Callable[[Item], Result], items: list[Item]) -> list[Result]:
        """Let a free process do a batch; runs in a thread that waits for it."""
        request = pickle.dumps(pickle.dumps((function, items)))
        for _ in range(DEATHS_MAX):
            place = self._idle.get()
            answer = None
            try:
                place = self._ready(place)
                answer = place.ask(request)
            finally:
                # Without a slot in the queue another thread would wait for ever.
                self._idle.put(place if answer is not None else None)
            if answer is None:
                continue
            done, results = answer
            if not done:
                raise results
            return list(results)
        raise WorkerDied(f"a worker process died {DEATHS_MAX} times on the same rides")

    def _ready(self, place: "_Worker | None") -> "_Worker":
        """Return a slot's process, or a new one if it has none or the copy has become ready."""
        if self._meanwhile is not None and self._meanwhile.folder:
            self._folder = self._meanwhile.folder
        if place is not None and place.folder == self._folder:
            return place
        if place is not None:
            place.end()
        return self._start()

    def _start(self) -> "_Worker":
        with self._starting:
            if self._over:
                raise WorkerDied("the worker processes have been ended")
            worker = _kept_for(self._folder) or _Worker(self._folder)
            self._started.append(worker)
            return worker


class _Worker:
    """One process and its two pipes. Read: `folder`, the copy that it rides on."""

    def __init__(self, folder: str) -> None:
        self.folder = folder
        path = os.pathsep.join([str(ROOT), *os.environ.get("PYTHONPATH", "").split(os.pathsep)])
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "host_sim.compiled.worker_main", folder],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path.strip(os.pathsep)},
        )

    def ask(self, request: bytes) -> tuple[bool, Any] | None:
        """Send a request and wait for its answer; None if the process has died."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        try:
            self._process.stdin.write(request)
            self._process.stdin.flush()
            answer: tuple[bool, Any] = pickle.loads(pickle.load(self._process.stdout))
        except (OSError, EOFError, pickle.UnpicklingError, ValueError):
            self.end()
            return None
        return answer

    def end(self) -> None:
        """End the process, if it still runs."""
        self._process.kill()
        self._process.wait()


_kept: list[_Worker] | None = None
_keeping = Lock()


@contextmanager
def processes_kept() -> Iterator[None]:
    """Reuse processes from one `Workers` to the next in this block: starting one takes a second or two."""
    global _kept
    with _keeping:
        if _kept is not None:
            raise RuntimeError("processes are kept already")
        _kept = []
    try:
        yield
    finally:
        with _keeping:
            ending, _kept = _kept, None
        for worker in ending:
            worker.end()


def _keep(worker: _Worker) -> bool:
    """Keep a process for the next `Workers`, if one may follow; return whether it is kept."""
    with _keeping:
        if _kept is None:
            return False
        _kept.append(worker)
        return True


def _kept_for(folder: str) -> _Worker | None:
    """Return a process that was kept and rides on this copy, None if there is none."""
    with _keeping:
        worker = next((one for one in _kept or [] if one.folder == folder), None)
        if _kept is not None and worker is not None:
            _kept.remove(worker)
        return worker
