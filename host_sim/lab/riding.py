"""A lesson's bicycle and a lesson's ride: an example bike with a few keys changed, checked like a file."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.meter import Meter
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.bikes.fit import check_fit
from host_sim.bikes.load import BIKES
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.errors import RequestError
from host_sim.places.limits import Place, load_place
from host_sim.report.samples import Samples
from host_sim.tomlfile import check, read_toml

LESSON_BIKE = "cargo_trike"
Parts = dict[str, Any]
Lines = list[dict[str, Any]]


def largest(values: Sequence[float | None]) -> float | None:
    """Return the largest value; None if one is missing."""
    known = [value for value in values if value is not None]
    return max(known) if len(known) == len(values) else None


def lesson_bike(parts: Parts, name: str = LESSON_BIKE) -> Bike:
    """Return an example bike changed by `parts`; RequestError says what does not fit together.

    A section's value is a table whose keys replace those of the section, as in `{"settings":
    {"rise_mv_per_s": 900}, "place": "uk"}`.
    """
    data = {key: dict(value) if isinstance(value, dict) else value for key, value in _example(name).items()}
    for key, value in parts.items():
        data[key] = {**data.get(key, {}), **value} if isinstance(value, dict) else value
    bike = check(data, Bike, name)
    place = _place(bike.place)
    try:
        check_fit(bike, place)
        bike.complete(name, place, settings_from(bike, place))
    except ValueError as error:
        raise RequestError(f"{name}: {error}") from None
    return bike


class Watching(StepWatch):
    """A watch that stores the world and the controller that has just been switched on."""

    def begin(self, world: World, controller: Controller) -> None:
        """Store both."""
        self._world = world
        self._controller = controller


@lru_cache(maxsize=8)
def _example(name: str) -> Parts:
    return read_toml(BIKES / f"{name}.toml")


@lru_cache(maxsize=32)
def _place(name: str) -> Place:
    return load_place(name)


@dataclass(frozen=True, slots=True)
class Ridden:
    """What was measured on a ride of a lesson."""

    samples: Samples
    meter: Meter


def ride(
    bike: Bike,
    lines: Lines,
    seconds: float,
    watches: Sequence[StepWatch] = (),
    build: Callable[[Settings, int], Controller] | None = None,
) -> Ridden:
    """Ride a course given by its stretches, and return a sample every 10 ms. A second takes some 8 ms.

    `build` makes the controller, None the firmware's own.
    """
    bench = bench_for(bike, 1, build=build)
    samples = Samples()
    # A watch of the lesson comes first: it may change the controller before others read it.
    for watch in (*watches, samples):
        bench.watch(watch)
    bench.ride(CourseScript(course_from("lesson", "lesson", seconds, lines)), seconds)
    return Ridden(samples, bench.meter)
