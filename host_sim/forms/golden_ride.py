"""A ride to be recorded as a golden trace."""

from firmware.ticks import TICKS_MAX_US
from host_sim.bench.clock import US_PER_S
from host_sim.bench.course import Course
from host_sim.bench.script import CourseScript
from host_sim.bikes.model import Bike


class GoldenRide:
    """What is ridden: `name`, `bike`, `course`, `seconds`, `seed`, `clock_at_start_us`, `clear_every`."""

    def __init__(
        self,
        name: str,
        bike: Bike,
        course: Course,
        wrap_after_s: int,
        clear_every: int = 0,
        seconds: int | None = None,
    ) -> None:
        """Store the ride; the board's clock wraps after `wrap_after_s` seconds.

        Every `clear_every` steps the rider requests to clear a fault, never if 0. Only the first `seconds`
        of the course are ridden, all of it if None.
        """
        self.name = name
        self.bike = bike
        self.course = course
        self.seconds = course.seconds if seconds is None else seconds
        self.seed = 1
        self.clock_at_start_us = TICKS_MAX_US + 1 - wrap_after_s * US_PER_S
        self.clear_every = clear_every

    def script(self) -> CourseScript:
        """Return the course, ready to be played."""
        return CourseScript(self.course)
