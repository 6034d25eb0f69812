"""Worker processes handed on from one `Workers` to the next, and ended with the block."""

import os
from contextlib import suppress

import pytest

from host_sim.compiled.workers import WorkerDied, Workers, processes_kept
from tests.runtime.worker_jobs import broken, own_end, own_pid


def pids(count: int = 1) -> set[int]:
    with Workers(count, compiled=False) as workers:
        return set(workers.map(own_pid, range(12), 1))


def runs(pid: int) -> bool:
    with suppress(ProcessLookupError):
        os.kill(pid, 0)
        return True
    return False


def test_in_the_block_one_process_serves_one_after_the_other_and_then_ends():
    with processes_kept():
        first = pids()
        assert pids() == first
        assert len(pids(2) & first) == 1
        assert all(runs(pid) for pid in first)
    assert not any(runs(pid) for pid in first)
    (after,) = pids()
    assert {after} != first
    assert not runs(after)


def test_a_process_that_died_is_not_handed_on_and_one_whose_job_failed_is():
    with processes_kept():
        first = pids()
        with pytest.raises(ValueError, match="3"), Workers(1, compiled=False) as workers:
            list(workers.map(broken, [3], 1))
        assert pids() == first
        with pytest.raises(WorkerDied), Workers(1, compiled=False) as workers:
            list(workers.map(own_end, [1], 1))
        assert pids() != first


def test_a_process_that_is_at_work_when_the_block_is_left_is_ended():
    with processes_kept():
        with suppress(RuntimeError), Workers(2, compiled=False) as workers:
            for pid in workers.map(own_pid, range(1000), 1):
                raise RuntimeError(f"stop at {pid}")
        assert len(pids(2)) <= 2  # Neither of them waits for ever.


def test_an_error_in_the_block_ends_what_was_kept():
    kept = set()
    with suppress(RuntimeError), processes_kept():
        kept = pids()
        raise RuntimeError("stop")
    assert kept
    assert not any(runs(pid) for pid in kept)
