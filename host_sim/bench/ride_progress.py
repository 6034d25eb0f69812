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
    """Advances a progress bar during a ride."""

    def __init__(self, progress: Progress, text: str, seconds: float) -> None:
        """Show a bar of `seconds`, named `text`."""
        self._progress = progress
        self._task = progress.add_task(text, total=seconds)
        self._steps = 0

    def begin(self, world: World, controller: Controller) -> None:
        """Store the world."""
        self._world = world

    def look(self, outputs: Outputs) -> None:
        """Count the steps, and update the bar from time to time."""
        self._steps += 1
        if self._steps == STEPS_BETWEEN:
            self._steps = 0
            self._progress.update(self._task, completed=self._world.now_us / US_PER_S)


@contextmanager
def progress_watch(text: str, seconds: float) -> Iterator[StepWatch | None]:
    """Yield an observer that shows progress during the block; None if there is no terminal."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    with Progress(console=console, transient=True) as progress:
        yield ProgressWatch(progress, text, seconds)
