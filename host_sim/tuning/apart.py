"""Tunes in a process of its own, on the compiled bench: some ten times as fast as here.

Only the result comes back, so the stages that are done are told in a file.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread
from types import MappingProxyType

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers
from host_sim.rules.judge import Done, Say
from host_sim.tuning.recommend import STAGES, Tuned, tune_bike
from host_sim.tuning.score import Priority

LOOK_EVERY_S = 0.2


@dataclass(frozen=True, slots=True)
class Job:
    """What to tune, and the file that stages are told in."""

    bike: Bike
    priority: Priority
    seed: int
    keep: tuple[str, ...]
    held: dict[str, int]
    earlier: Tuned | None
    stages: Path


def ride_job(job: Job) -> Tuned:
    """Tune, in whatever process this is called."""

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
    held: Mapping[str, int] = MappingProxyType({}),
    earlier: Tuned | None = None,
    say: Say = lambda sentence: None,
) -> Tuned:
    """Return what `tune_bike` does, from another process; `say` is told if the bench has to be compiled."""
    with TemporaryDirectory() as folder, Workers(1, say=say) as workers:
        job = Job(bike, priority, seed, keep, dict(held), earlier, Path(folder) / "stages")
        over = Event()
        teller = Thread(target=_tell, args=(job.stages, over, done))
        teller.start()
        try:
            (tuned,) = workers.map(ride_job, [job], 1)
        finally:
            over.set()
            teller.join()
    return tuned


def _tell(stages: Path, over: Event, done: Callable[[int, int], None]) -> None:
    """Tell `done` of every stage in the file, until it is over."""
    told = 0
    while not over.wait(LOOK_EVERY_S):
        count = len(stages.read_text(encoding="utf-8").split()) if stages.exists() else 0
        for stage in range(told + 1, count + 1):
            done(stage, STAGES)
        told = count
