"""Tunes in a separate process, on the compiled bench: about ten times as fast as in this one.

Only the result comes back, so that process reports finished stages in a file.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers
from host_sim.rules.judge import Done, Say
from host_sim.tuning.recommend import STAGES, Tuned, tune_bike
from host_sim.tuning.score import Priority
from host_sim.tuning.variant import NOTHING_FIXED

LOOK_EVERY_S = 0.2


@dataclass(frozen=True, slots=True)
class Job:
    """What to tune, and the file for finished stages."""

    bike: Bike
    priority: Priority
    seed: int
    keep: tuple[str, ...]
    held: dict[str, int]
    earlier: Tuned | None
    stages: Path


def ride_job(job: Job) -> Tuned:
    """Tune in the process that calls this."""

    def done(stage: int, of: int) -> None:
        with job.stages.open("a", encoding="utf-8") as file:
            file.write(f"{stage}\n")

    return tune_bike(job.bike, job.priority, done, job.seed, job.keep, job.held, job.earlier)


def tune_apart(
    bike: Bike,
    priority: Priority,
    done: Done,
    seed: int = 1,
    keep: tuple[str, ...] = (),
    held: Mapping[str, int] = NOTHING_FIXED,
    earlier: Tuned | None = None,
    say: Say = lambda sentence: None,
) -> Tuned:
    """Return what `tune_bike` does, from another process; `say` gets a message if the bench is compiled."""
    with TemporaryDirectory() as folder, Workers(1, say=say) as workers:
        job = Job(bike, priority, seed, keep, dict(held), earlier, Path(folder) / "stages")
        over = Event()
        reporter = Thread(target=_report, args=(job.stages, over, done))
        reporter.start()
        try:
            (tuned,) = workers.map(ride_job, [job], 1)
        finally:
            over.set()
            reporter.join()
    return tuned


def _report(stages: Path, over: Event, done: Done) -> None:
    """Call `done` for every stage in the file, until `over` is set."""
    reported = 0
    while not over.wait(LOOK_EVERY_S):
        count = len(stages.read_text(encoding="utf-8").split()) if stages.exists() else 0
        for stage in range(reported + 1, count + 1):
            done(stage, STAGES)
        reported = count
