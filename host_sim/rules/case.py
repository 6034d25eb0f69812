"""One ride for the rules: a bike with the tolerances of real parts, a course, a seed."""

from dataclasses import dataclass
from random import Random
from typing import Any, Protocol

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.course import Course, course_from
from host_sim.bench.ride import Bench
from host_sim.bench.script import CourseScript
from host_sim.bikes.model import Bike

Lines = list[dict[str, Any]]
"""Stretches of a course, each with the keys of a course file."""


class Build(Protocol):
    """Makes a controller that is not the firmware's own. It is pickled for worker processes."""

    @property
    def shows_all(self) -> bool:
        """Whether what it makes shows states, fault causes and watts as the firmware's controller does."""

    def __call__(self, settings: Settings, now_us: int) -> Controller:
        """Make one."""


@dataclass(slots=True)
class Case:
    """The inputs of a ride.

    Optional: the start of the board's clock, the settings after the first loss of supply, and `build`, which
    makes the controller (None for the firmware's own).
    """

    bike: Bike
    course: Course
    seed: int
    ticks_at_start_us: int | None = None
    settings_after: Settings | None = None
    build: Build | None = None

    @property
    def settings(self) -> Settings:
        """The settings that the firmware starts with."""
        return self.bike.firmware_settings

    def bench(self) -> Bench:
        """Return the bike on a new bench, before its ride."""
        return bench_for(self.bike, self.seed, self.ticks_at_start_us, self.settings_after, self.build)

    def script(self) -> CourseScript:
        """Return the course, ready to be played."""
        return CourseScript(self.course)


class Scenario:
    """A kind of ride: `lines` makes its course for one bike from random draws."""

    name = ""
    sentence = ""

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        """Return the length in seconds and the stretches; None if this bike can't ride it."""
        raise NotImplementedError

    def case(self, bike: Bike, seed: int) -> Case | None:
        """Return ride number `seed` of this kind; each number gives a different ride."""
        draw = Random(f"{self.name} {seed}")
        varied = with_scatter(bike, draw)
        made = self.lines(varied, draw, seed)
        if made is None:
            return None
        seconds, lines = made
        title = f"{self.sentence} ({seed})"
        return Case(varied, course_from(self.name, title, seconds, lines), seed)


def with_scatter(bike: Bike, draw: Random) -> Bike:
    """Return another specimen of the same bike, with slightly different parts, load and charge.

    Common practice, no source: load and charge vary freely, magnets and pickup within the tolerances of the
    file, the motor controller's lag within a tenth.
    """
    sensor = bike.pedal_sensor
    # One share for all and the ring turned: neighbours stay as near to each other as the file says.
    errors_deg = sensor.magnet_errors_deg()
    first = draw.randrange(len(errors_deg) or 1)
    share = draw.uniform(0.5, 1.0)
    errors_deg = [share * error for error in errors_deg[first:] + errors_deg[:first]]
    parts = {
        "bicycle": bike.bicycle.model_copy(update={"load_kg": bike.bicycle.load_kg * draw.uniform(0.0, 1.0)}),
        "battery": bike.battery.model_copy(update={"charge": draw.uniform(0.35, 1.0)}),
        "pedal_sensor": sensor.model_copy(update={"angle_errors_deg": errors_deg}),
        "motor_controller": bike.motor_controller.model_copy(
            update={"lag_s": bike.motor_controller.lag_s * draw.uniform(0.9, 1.1)}
        ),
    }
    return bike.model_copy(update=parts)
