"""Many rides on a Dask cluster of processes whose workers are killed at random, against the local table.

    uv run python -m tests.sweep.cluster_campaign --points 100000

Starts a scheduler and two workers on this machine, sweeps through `treadle sweep --cluster`, kills a worker
every few seconds of riding, and watches the memory of this process and of the scheduler. Then rides the same
points here and compares the tables byte by byte. Prints what it saw; exit code 1 if anything differs.
"""

import argparse
import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from random import Random
from threading import Event, Thread
from typing import Any

from host_sim.cli.sweep import SweepRequest, sweep

WORKERS = 2
SECONDS = 60.0
KILL_EVERY_S = 20.0
LOOK_EVERY_S = 1.0
PORT_WAIT_S = 600.0  # On a busy machine a scheduler and its workers take minutes.
END_WAIT_S = 20.0


def memory_mib(process: int) -> float:
    """Return what a process holds in memory."""
    for line in Path(f"/proc/{process}/status").read_text(encoding="utf-8").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024.0
    return 0.0


class Killer(Thread):
    """Kills a worker now and then, and looks at memory. Read: `kills`, `client_mib`, `scheduler_mib`."""

    def __init__(self, scheduler: int, nannies: list[int], every_s: float, seed: int) -> None:
        super().__init__(daemon=True)
        self.over = Event()
        self.kills = 0
        self.client_mib: list[float] = []
        self.scheduler_mib: list[float] = []
        self._scheduler = scheduler
        self._nannies = nannies
        self._draw = Random(seed)
        self._every_s = every_s

    def run(self) -> None:
        """Go on until it is over."""
        next_s = time.monotonic() + self._every_s
        while not self.over.wait(LOOK_EVERY_S):
            self.client_mib.append(memory_mib(os.getpid()))
            self.scheduler_mib.append(memory_mib(self._scheduler))
            if time.monotonic() >= next_s:
                next_s += self._draw.uniform(0.5, 1.5) * self._every_s
                self._kill()

    def _kill(self) -> None:
        workers = [child for nanny in self._nannies for child in _workers_of(nanny)]
        if workers:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self._draw.choice(workers), signal.SIGKILL)
                self.kills += 1


def _workers_of(nanny: int) -> list[int]:
    """Return the worker processes that a nanny has started, without what tracks their shared memory."""
    psutil: Any = import_module("psutil")  # It comes with distributed.
    with contextlib.suppress(psutil.Error):
        return [
            child.pid for child in psutil.Process(nanny).children() if "tracker" not in str(child.cmdline())
        ]
    return []


def start(folder: Path) -> tuple[str, subprocess.Popen[bytes], list[subprocess.Popen[bytes]]]:
    """Start the scheduler and the workers; return the address and the processes."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path).strip(os.pathsep)}
    quiet: dict[str, Any] = {"stderr": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "env": environment}
    file = folder / "scheduler.json"
    module = [sys.executable, "-m"]
    words = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(file)]
    scheduler = subprocess.Popen([*module, "distributed.cli.dask_scheduler", *words], **quiet)
    end_s = time.monotonic() + PORT_WAIT_S
    while not file.exists() and time.monotonic() < end_s:
        time.sleep(0.1)
    address = json.loads(file.read_text(encoding="utf-8"))["address"]
    words = [address, "--nthreads", "1", "--no-dashboard", "--local-directory", str(folder)]
    nannies = [
        subprocess.Popen([*module, "distributed.cli.dask_worker", *words], **quiet) for _ in range(WORKERS)
    ]
    return address, scheduler, nannies


def wait_for_workers(address: str) -> None:
    """Wait until all workers have reported."""
    from distributed import Client

    with Client(address, timeout=PORT_WAIT_S, set_as_default=False) as client:
        client.wait_for_workers(WORKERS, timeout=PORT_WAIT_S)


def request(points: int, out: Path, cluster: str | None) -> SweepRequest:
    """Return the sweep that is ridden twice: random points of three keys."""
    axes = ["rise_mv_per_s=200:8000", "gain_uv_per_w=50:1500", "rider_kg=50:120"]
    workers = None if cluster else WORKERS
    return SweepRequest("cargo_trike", axes, points, SECONDS, 1, workers, cluster, out, True)


def _say(sentence: str) -> None:
    """Print at once: the run takes long."""
    sys.stdout.write(sentence + "\n")
    sys.stdout.flush()


def flat(memory_mib: list[float]) -> str:
    """Say how memory went: the most in each tenth of the time."""
    ends = [len(memory_mib) * tenth // 10 for tenth in range(11)]
    most = [f"{max(memory_mib[first:last]):.0f}" for first, last in pairwise(ends) if last > first]
    return f"at most {', '.join(most)} MiB in the tenths of the time"


def _end(processes: Sequence[subprocess.Popen[bytes]]) -> None:
    """End processes; a nanny whose scheduler went first does not end by itself."""
    for process in processes:
        process.terminate()
    for process in processes:
        try:
            process.wait(END_WAIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def ride_on_cluster(points: int, table: Path, every_s: float, seed: int) -> None:
    """Ride everything on a cluster that loses workers, and print what was seen."""
    with tempfile.TemporaryDirectory(prefix="treadle-cluster-", ignore_cleanup_errors=True) as name:
        address, scheduler, nannies = start(Path(name))
        try:
            wait_for_workers(address)
            killer = Killer(scheduler.pid, [nanny.pid for nanny in nannies], every_s, seed)
            killer.start()
            began_s = time.perf_counter()

            def done(rides: int, of_all: int) -> None:
                if rides == of_all:
                    killer.over.set()  # What comes then is drawing.

            result = sweep(request(points, table, address), done, _say)
            killer.join()
        finally:
            _end((*nannies, scheduler))
    rides = result.as_json["rides"]
    _say(f"{rides} rides of {SECONDS:g} s on {WORKERS} workers: {time.perf_counter() - began_s:.0f} s")
    _say(f"{killer.kills} workers killed")
    _say(f"client     {flat(killer.client_mib)}")
    _say(f"scheduler  {flat(killer.scheduler_mib)}")


def main() -> int:
    """Ride twice and compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=100_000)
    parser.add_argument("--every", type=float, default=KILL_EVERY_S, help="seconds between two kills")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=None, help="keep the tables here")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = chosen.folder or Path(name)
        folder.mkdir(exist_ok=True)
        ride_on_cluster(chosen.points, folder / "cluster.csv", chosen.every, chosen.seed)
        began_s = time.perf_counter()
        sweep(request(chosen.points, folder / "local.csv", None), lambda done, of_all: None, _say)
        _say(f"the same rides here, {WORKERS} processes: {time.perf_counter() - began_s:.0f} s")
        same = (folder / "cluster.csv").read_bytes() == (folder / "local.csv").read_bytes()
    _say("the tables are identical" if same else "THE TABLES DIFFER")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
