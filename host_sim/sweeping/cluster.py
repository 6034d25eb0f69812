"""Rides on a Dask cluster: the same rows as at home, from wherever they are ridden.

The workers of the cluster need this package, the same version: that is checked before anything is ridden.
Nothing hot is imported above the functions, so that a worker can put its compiled copy in place first.
A worker that dies is Dask's affair: its rides are given to another one. Only when that has happened to the
same rides so often that Dask takes them for the cause are they asked for again from here. All that is held
here and by the scheduler is what is on its way, AHEAD batches a worker, however many rides there are.
"""

import pickle
from asyncio import CancelledError
from collections import deque
from collections.abc import Iterator
from concurrent.futures import CancelledError as FutureCancelled
from importlib import import_module
from importlib.util import find_spec
from threading import Lock
from typing import Any

from host_sim.compiled.build import HOT, CannotCompile, compiled_copy
from host_sim.compiled.compiled_first import compiled_first, runs_compiled
from host_sim.errors import RequestError

MISSING = "--cluster needs Dask, which is not installed, get it with: uv run --extra cluster treadle sweep"
CONNECT_S = 10
RETRIES = 3
ASKED_MOST = 20  # Times that the same rides are asked for: more deaths than that are no accident.
AHEAD = 4
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
    """Ride some numbers of a packed sweep, on whichever worker this runs."""
    ready()
    rows: list[str] = import_module("host_sim.sweeping.rows").rows_of(sweep, numbers)
    return rows


def program_here() -> str:
    """Return the digest of what decides a ride's numbers, as it is on this worker."""
    program: str = import_module("host_sim.sweeping.program").program()
    return program


def _mine() -> str:
    return program_here()


class Cluster:
    """A connection to a Dask scheduler for as long as the `with` block lasts. Read: `notice`, `count`."""

    def __init__(self, address: str) -> None:
        """Connect to `address`, such as tcp://192.0.2.7:8786; RequestError says what is wrong with it."""
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
        self.notice = ""
        try:
            self._check()
        except BaseException:
            self._client.close()
            raise

    def _check(self) -> None:
        programs = self._client.run(program_here)
        self.count = len(programs)
        if not programs:
            raise RequestError("the cluster has no workers, allowed is a cluster with one or more")
        mine = _mine()
        for worker, program in programs.items():
            if program != mine:
                raise RequestError(
                    f"the worker {worker} has another version of treadle, allowed is the same as here"
                )
        slow = sorted({notice for notice in self._client.run(ready).values() if notice})
        if slow:
            self.notice = f"some workers ride interpreted, some twenty times slower: {slow[0]}"

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_: object) -> None:
        """Leave the cluster; what was asked of it and not fetched is dropped."""
        self._client.close()

    def rows(self, sweep: Any, numbers: list[list[int]]) -> Iterator[list[str]]:
        """Yield the rows of each batch of numbers, in their order, wherever and whenever they are ridden."""
        payload = pickle.dumps(sweep)  # Sent with every batch: nothing is lost with the worker that held it.
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
        """Return the rows of a batch, asked for again where workers died; RequestError if that never ends."""
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
                    "again, which goes on from there"
                ) from None
        raise RequestError(
            f"workers of the cluster died {ASKED_MOST} times over on {rides}, allowed is the same command on "
            "another cluster or on none, which goes on from there"
        )
