"""Rides on a Dask cluster: the same rows as on this computer.

The workers of the cluster need this package, the same version: that is checked before anything is ridden.
The bench is imported inside functions, so a worker can load its compiled copy first. If a worker dies, Dask
gives its rides to another one. If workers die so often on the same rides that Dask gives up on them, they are
submitted again from here. This process and the scheduler hold only AHEAD batches per worker, however many
rides there are.
"""

import pickle
from asyncio import CancelledError
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError as FutureCancelled
from importlib import import_module
from importlib.util import find_spec
from threading import Lock
from time import sleep
from typing import Any

from host_sim.compiled.build import HOT, CannotCompile, compiled_copy
from host_sim.compiled.compiled_first import compiled_first, runs_compiled
from host_sim.errors import RequestError

MISSING = "--cluster needs Dask, which is not installed, get it with: uv run --extra cluster treadle sweep"
CONNECT_S = 30  # A scheduler on a busy machine takes 10 s and more to answer.
RETRIES = 3
ASKED_MOST = 20  # How often the same rides are submitted: if workers still die, the rides are the cause.
AHEAD = 4
VERSION_ASKED_MOST = 5  # How often the workers are asked for their version, if one dies meanwhile.
VERSION_PAUSE_S = 1.0
_one_at_a_time = Lock()
_notices: list[str] = []


def ready() -> str:
    """Get this process ready to ride compiled; return "" or why it rides interpreted."""
    with _one_at_a_time:
        if not _notices:
            _notices.append(_get_ready())
        return _notices[0]


def _get_ready() -> str:
    if runs_compiled():
        return ""
    try:
        compiled_first(compiled_copy(HOT))
    except (CannotCompile, RuntimeError) as reason:
        return str(reason)
    return ""


def rows_far(sweep: bytes, numbers: list[int]) -> list[str]:
    """Ride some numbers of a pickled sweep, on whichever worker this runs."""
    ready()
    rows: list[str] = import_module("host_sim.sweeping.rows").rows_of(sweep, numbers)
    return rows


def program_here() -> str:
    """Return this worker's digest of everything that determines a ride's numbers."""
    program: str = import_module("host_sim.sweeping.program").program()
    return program


def _mine() -> str:
    return program_here()


class Cluster:
    """A connection to a Dask scheduler for as long as the `with` block lasts. Read: `notice`, `count`."""

    def __init__(self, address: str) -> None:
        """Connect to `address`, such as tcp://192.0.2.7:8786; RequestError if that fails."""
        if find_spec("distributed") is None:
            raise RequestError(MISSING)
        distributed: Any = import_module("distributed")
        try:
            self._client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            reason = " ".join(str(error).split())[:150] or type(error).__name__
            raise RequestError(
                f"--cluster is {address[:80]!r}, allowed is the address of a running Dask scheduler: {reason}"
            ) from None
        try:
            self._check()
        except BaseException:
            self._client.close()
            raise

    def _check(self) -> None:
        self.notice = ""
        programs = self._of_each_worker(program_here)
        self.count = len(programs)
        if not programs:
            raise RequestError("the cluster has no workers, allowed is a cluster with one or more")
        mine = _mine()
        for worker, program in programs.items():
            if program != mine:
                raise RequestError(
                    f"the worker {worker} has another version of treadle, allowed is the same as here"
                )
        slow = sorted({notice for notice in self._of_each_worker(ready).values() if notice})
        if slow:
            self.notice = f"some workers ride interpreted, some twenty times slower: {slow[0]}"

    def _of_each_worker(self, question: Callable[[], str]) -> dict[str, str]:
        """Return each worker's answer by its address; the others' if a worker dies meanwhile."""
        reason = ""
        for attempt in range(VERSION_ASKED_MOST):
            if attempt > 0:
                sleep(VERSION_PAUSE_S)
            try:
                return dict(self._client.run(question))
            except (CancelledError, FutureCancelled, OSError) as error:
                reason = type(error).__name__
        raise RequestError(
            f"a worker of the cluster, or its scheduler, was lost {VERSION_ASKED_MOST} times while its "
            f"version was asked for ({reason}), allowed is a cluster that lasts"
        )

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_: object) -> None:
        """Leave the cluster; results that were not fetched are dropped."""
        self._client.close()

    def rows(self, sweep: Any, numbers: list[list[int]]) -> Iterator[list[str]]:
        """Yield the rows of each batch of numbers, in order, wherever and whenever they are ridden."""
        payload = pickle.dumps(sweep)  # Sent with every batch, so a worker that dies takes nothing with it.
        waiting: deque[tuple[list[int], Any]] = deque()
        batches = iter(numbers)
        while True:
            while len(waiting) < AHEAD * max(self.count, 1):
                batch = next(batches, None)
                if batch is None:
                    break
                waiting.append((batch, self._ask(payload, batch)))
            if not waiting:
                return
            batch, answer = waiting.popleft()
            yield self._answered(payload, batch, answer)

    def _ask(self, payload: bytes, batch: list[int]) -> Any:
        return self._client.submit(rows_far, payload, batch, pure=False, retries=RETRIES)

    def _answered(self, payload: bytes, batch: list[int], answer: Any) -> list[str]:
        """Return the rows of a batch, submitted again if workers die; RequestError if they die every time."""
        killed: Any = import_module("distributed").scheduler.KilledWorker
        rides = f"rides {batch[0]} to {batch[-1]}"
        for _ in range(ASKED_MOST):
            try:
                return list(answer.result())
            except killed:
                answer = self._ask(payload, batch)
            except (CancelledError, FutureCancelled, OSError) as error:
                raise RequestError(
                    f"the cluster was lost on {rides} ({type(error).__name__}), allowed is the same command "
                    f"again, which continues from there"
                ) from None
        raise RequestError(
            f"workers of the cluster died {ASKED_MOST} times on {rides}, allowed is the same command with "
            f"another cluster or none, which continues from there"
        )
