"""Rides in worker processes: compiled, equal to the last digit to those ridden here, and hard to stop."""

import os

import pytest

from host_sim.compiled.build import HOT, compiled_copy, missing_tools
from host_sim.compiled.compiled_first import compiled_first
from host_sim.compiled.workers import WorkerDied, Workers
from tests.runtime.whole_rides import die, die_once, refuse, where_from, written

# Thresholds, noise with a stalling loop, a lost supply, a broken sensor; all bikes.
RIDES = ("cargo_trike-thresholds", "folding-disturbed", "tandem-brown_out", "cargo_trike-broken_sensor")


@pytest.fixture(scope="module")
def workers():
    if missing_tools():
        pytest.skip(missing_tools())
    with Workers(2) as workers:
        assert workers.notice == ""
        yield workers


@pytest.mark.long
def test_a_worker_runs_machine_code_and_this_process_does_not(workers):
    assert list(workers.map(where_from, [None])) == [(True, True)]
    assert where_from(None) == (False, False)


@pytest.mark.long
def test_compiled_rides_equal_interpreted_ones_to_the_last_digit(workers):
    compiled = list(workers.map(written, RIDES, batch=1))
    interpreted = [written(name) for name in RIDES]
    assert compiled == interpreted
    assert all(steps > 5_000 and edges > 500 for steps, edges, _ in compiled)
    assert len({digest for _, _, digest in compiled}) == len(RIDES)


@pytest.mark.long
def test_the_copy_comes_too_late_once_something_hot_is_imported():
    if missing_tools():
        pytest.skip(missing_tools())
    with pytest.raises(RuntimeError, match="is imported already, the compiled copy would come too late"):
        compiled_first(compiled_copy(HOT))


@pytest.mark.long
def test_results_come_in_the_order_of_the_items(workers):
    assert list(workers.map(abs, range(-40, 0), batch=3)) == list(range(40, 0, -1))


@pytest.mark.long
def test_what_the_work_raises_is_raised_here_and_the_workers_live_on(workers):
    with pytest.raises(ValueError, match="not with this number"):
        list(workers.map(refuse, [1]))
    assert list(workers.map(abs, [-1])) == [1]


@pytest.mark.long
def test_a_worker_that_dies_is_replaced_and_nothing_is_lost(workers, tmp_path):
    paths = [str(tmp_path / f"{number}") for number in range(5)]
    assert len(list(workers.map(die_once, paths, batch=1))) == 5
    assert os.getpid() not in workers.map(die_once, paths, batch=1)


@pytest.mark.long
def test_work_that_always_kills_its_worker_is_given_up():
    with Workers(1, compiled=False) as workers, pytest.raises(WorkerDied, match="died 3 times"):
        list(workers.map(die, [1]))


@pytest.mark.long
def test_compiling_for_the_first_time_is_said_before_it_begins(monkeypatch, workers):
    monkeypatch.setattr("host_sim.compiled.workers.is_built", lambda parts: False)
    said = []
    with Workers(1, say=said.append):
        assert said == ["compiling the bench, once: a minute or two"]


@pytest.mark.long
def test_without_a_compiler_rides_are_interpreted_and_a_sentence_says_so(monkeypatch):
    monkeypatch.setenv("CC", "no-such-compiler")
    with Workers(1) as workers:
        assert workers.notice.startswith(
            "rides are interpreted, some twenty times slower: there is no compiled"
        )
        assert "\n" not in workers.notice
        assert list(workers.map(where_from, [None])) == [(False, False)]
