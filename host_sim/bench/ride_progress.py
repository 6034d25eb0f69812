"""Progress of a ride, on standard error and only when that is a terminal."""

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress

from firmware.controller import Controller
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World

STEPS_BETWEEN = 1000


class ProgressWatch(StepWatch):
    """Moves a progress bar on as the ride goes."""

    def __init__(self, progress: Progress, text: str, seconds: float) -> None:
        """Show a bar of `seconds`, named `text`."""
        self._progress = progress
        self._task = progress.add_task(text, total=seconds)
        self._steps = 0

    def begin(self, world: World, controller: Controller) -> None:
        """Take the world to look at."""
        self._world = world

    def look(self, outputs: Outputs) -> None:
        """Count the steps, and bring the bar up to date now and then."""
        self._steps += 1
        if self._steps == STEPS_BETWEEN:
            self._steps = 0
            self._progress.update(self._task, completed=self._world.now_us / US_PER_S)


@contextmanager
def progress_watch(text: str, seconds: float) -> Iterator[StepWatch | None]:
    """Give a watch that shows progress while the block runs; None where nobody would see it."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    with Progress(console=console, transient=True) as progress:
        yield ProgressWatch(progress, text, seconds)
