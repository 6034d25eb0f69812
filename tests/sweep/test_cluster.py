"""Rides on a real Dask cluster of two workers on this machine: the same table, a killed worker included."""

import csv
import os
import signal
import sys

import pytest

from host_sim import cli
from host_sim.bikes.load import load_bike
from host_sim.errors import RequestError
from host_sim.sweeping.cluster import Cluster, program_here
from host_sim.sweeping.points import Points, read_axis
from host_sim.sweeping.rows import Sweep

pytestmark = pytest.mark.slow

distributed = pytest.importorskip("distributed")
SECONDS, RIDES, BATCH = 60, 16, 2


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", host="127.0.0.1"
    ) as cluster:
        yield cluster


def swept():
    points = Points([read_axis(f"strength_nm=40:120:{RIDES}", True)], None, 1)
    return Sweep(load_bike("cargo_trike"), points, float(SECONDS), 1)


def batches():
    return [list(range(at, at + BATCH)) for at in range(0, RIDES, BATCH)]


def test_rows_from_a_cluster_are_those_ridden_here_even_if_a_worker_is_killed_in_the_middle(cluster):
    here = [swept().row(number) for number in range(RIDES)]
    lines = []
    with Cluster(cluster.scheduler_address) as connection:
        assert connection.count == 2
        victims = list(connection._client.run(os.getpid).values())
        for some in connection.rows(swept(), batches()):
            lines += some
            if victims:
                os.kill(victims.pop(), signal.SIGKILL)  # One of the two, while it rides.
                victims.clear()
    assert lines == here


def test_the_command_writes_the_same_table_from_the_cluster(cluster, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    small = ["--vary", "rise_mv_per_s=200:3000:3", "--seconds", "30"]
    for where in (
        ["--cluster", cluster.scheduler_address, "--out", "a.csv"],
        ["--workers", "1", "--out", "b.csv"],
    ):
        monkeypatch.setattr(sys, "argv", ["treadle", "sweep", *small, *where])
        with pytest.raises(SystemExit) as end:
            cli.main()
        assert end.value.code == 0, capsys.readouterr()
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    with (tmp_path / "a.csv").open(encoding="utf-8") as file:
        assert len(list(csv.DictReader(file))) == 3


def test_an_address_where_nothing_listens_is_refused_in_one_sentence(monkeypatch):
    monkeypatch.setattr("host_sim.sweeping.cluster.CONNECT_S", 1)
    with pytest.raises(RequestError, match="allowed is the address of a running Dask scheduler") as refusal:
        Cluster("tcp://127.0.0.1:9")
    assert "\n" not in str(refusal.value)
    with pytest.raises(RequestError, match="--cluster is 'nonsense://x', allowed is the address"):
        Cluster("nonsense://x")


def test_another_version_on_a_worker_is_refused(cluster, monkeypatch):
    monkeypatch.setattr("host_sim.sweeping.cluster._mine", lambda: "another program")
    with pytest.raises(RequestError, match="has another version of treadle, allowed is the same as here"):
        Cluster(cluster.scheduler_address)


def test_without_dask_a_sentence_says_how_to_get_it(monkeypatch):
    monkeypatch.setattr("host_sim.sweeping.cluster.find_spec", lambda name: None)
    with pytest.raises(RequestError, match="uv run --extra cluster treadle sweep"):
        Cluster("tcp://127.0.0.1:9")


def answering(answers):
    """Return a connection whose cluster answers with these, one after the other; exceptions are raised."""
    source = iter(answers)

    class Answer:
        def result(self):
            answer = next(source)
            if isinstance(answer, BaseException):
                raise answer
            return answer

    class Client:
        def submit(self, *_, **__):
            return Answer()

    connection = object.__new__(Cluster)
    connection._client = Client()
    connection.count = 1
    return connection


def killed():
    return distributed.scheduler.KilledWorker("task", None, 3)


def test_rides_that_are_given_up_as_deadly_are_asked_for_again():
    rows = [["a\n"], killed(), killed(), ["b\n"]]
    assert list(answering(rows).rows("sweep", [[0], [1]])) == [["a\n"], ["b\n"]]


def test_rides_that_kill_every_worker_end_in_one_sentence():
    with pytest.raises(RequestError, match="workers of the cluster died 20 times on rides 4 to 7") as told:
        list(answering([killed() for _ in range(20)]).rows("sweep", [[4, 5, 6, 7]]))
    assert "continues from there" in str(told.value)


def test_a_scheduler_that_is_lost_ends_in_one_sentence():
    lost = distributed.client.FutureCancelledError("key", "scheduler-connection-lost")
    with pytest.raises(RequestError, match=r"the cluster was lost on rides 4 to 5 \(FutureCancelledError\)"):
        list(answering([lost]).rows("sweep", [[4, 5]]))


def greeting(answers):
    """Return a connection whose cluster says these when all workers are asked; exceptions are raised."""
    source = iter(answers)

    class Client:
        def run(self, _):
            answer = next(source)
            if isinstance(answer, BaseException):
                raise answer
            return answer

    connection = object.__new__(Cluster)
    connection._client = Client()
    return connection


def test_a_worker_that_dies_while_it_is_asked_for_its_version_leaves_the_others(monkeypatch):
    monkeypatch.setattr("host_sim.sweeping.cluster.VERSION_PAUSE_S", 0)
    closed = distributed.comm.CommClosedError("Stream is closed")
    connection = greeting([closed, {"tcp://192.0.2.7:1": program_here()}, closed, {"tcp://192.0.2.7:1": ""}])
    connection._check()
    assert (connection.count, connection.notice) == (1, "")


def test_a_cluster_that_never_answers_ends_in_one_sentence(monkeypatch):
    monkeypatch.setattr("host_sim.sweeping.cluster.VERSION_PAUSE_S", 0)
    connection = greeting([distributed.comm.CommClosedError("Stream is closed") for _ in range(5)])
    with pytest.raises(RequestError, match=r"was lost 5 times while .* \(CommClosedError\), allowed is"):
        connection._check()
