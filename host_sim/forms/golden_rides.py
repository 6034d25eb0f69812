"""The rides of the golden traces: every example bike, and all faults."""

from firmware.ticks import TICKS_MAX_US
from host_sim.bench.clock import US_PER_S
from host_sim.bench.course import Course, course_from, load_course
from host_sim.bench.script import CourseScript
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike

BIKES = ("cargo_trike", "folding", "tandem")
COURSES = ("errand", "thresholds", "broken_sensor")
ONLY_S = {"errand": 120}  # Its start, a traffic light, the throttle, half of its hill; the others whole.
CLEAR_EVERY = 2_000  # Steps, 10 s.


class GoldenRide:
    """What is ridden: `name`, `bike`, `course`, `seconds`, `seed`, `clock_at_start_us`, `clear_every`."""

    def __init__(
        self, name: str, bike: Bike, course: Course, wrap_after_s: int, clear_every: int = 0
    ) -> None:
        """Store the ride; the board's clock wraps after `wrap_after_s` seconds.

        Every `clear_every` steps the rider requests to clear a fault, never if 0.
        """
        self.name = name
        self.bike = bike
        self.course = course
        self.seconds = ONLY_S.get(course.name, course.seconds)
        self.seed = 1
        self.clock_at_start_us = TICKS_MAX_US + 1 - wrap_after_s * US_PER_S
        self.clear_every = clear_every

    def script(self) -> CourseScript:
        """Return the course, ready to be played."""
        return CourseScript(self.course)


def golden_rides() -> list[GoldenRide]:
    """Return all golden rides; the board's clock wraps once in each, in most of them during help."""
    bikes = {name: load_bike(name) for name in BIKES}
    rides = [
        GoldenRide(f"{name}-{course}", bike, load_course(course), wrap_after_s=40)
        for name, bike in bikes.items()
        for course in COURSES
    ]
    for name, bike in bikes.items():
        for course in (_electrics(), _disturbed(), _brown_out()):
            ride = GoldenRide(f"{name}-{course.name}", bike, course, wrap_after_s=15, clear_every=CLEAR_EVERY)
            rides.append(ride)
    return rides


def _electrics() -> Course:
    """Return a ride in which the wires fail one after the other and recover."""
    faults = (
        {"name": "throttle wire open"},
        {"name": "throttle wire shorted"},
        {"name": "selector wire open"},
        {"name": "selector wire shorted"},
        {"name": "battery wire open"},
        {"name": "wheel sensor lost"},
        {"name": "shunt reading dead"},
        {"name": "shunt reading stuck"},
    )
    stretches: list[dict[str, object]] = [{"at_s": 0, "cadence_rpm": 0}]
    at_s = 3
    for fault in faults:
        # Steep enough for a shunt that reads nothing to drive the command to its highest at low speed.
        stretches.append({"at_s": at_s, "cadence_rpm": 60, "grade_percent": 10, "throttle_percent": 40})
        stretches.append({"at_s": at_s + 4, "fault": [fault]})
        stretches.append({"at_s": at_s + 12, "cadence_rpm": 0, "throttle_percent": 0})
        stretches.append({"at_s": at_s + 14, "fault": []})
        at_s += 18
    return course_from("electrics", "Wires that fail one after the other", at_s, stretches)


def _disturbed() -> Course:
    """Noise, bounces and a loop that comes late."""
    stretches: list[dict[str, object]] = [
        {"at_s": 0, "cadence_rpm": 0},
        {"at_s": 3, "cadence_rpm": 70},
        {"at_s": 12, "fault": [{"name": "bounce"}]},
        {"at_s": 22, "fault": [{"name": "loop stalls", "stall_ms": 12}]},
        {"at_s": 27, "fault": [{"name": "loop stalls", "stall_ms": 60}]},
        {"at_s": 32, "fault": [{"name": "noise", "per_s": 40}]},
        {"at_s": 42, "fault": []},
        {"at_s": 52, "fault": [{"name": "noise", "per_s": 1000}, {"name": "loop stalls", "stall_ms": 100}]},
        {"at_s": 57, "fault": []},
        {"at_s": 62, "cadence_rpm": 0},
    ]
    return course_from("disturbed", "Noise, bounces and a loop that comes late", 66, stretches)


def _brown_out() -> Course:
    """The supply is lost while the motor helps, twice, and the throttle is open when it comes back."""
    stretches: list[dict[str, object]] = [
        {"at_s": 0, "cadence_rpm": 0},
        {"at_s": 2, "cadence_rpm": 65, "selector_percent": 60},
        {"at_s": 12, "power_switch": False},
        {"at_s": 12.3, "power_switch": True},
        {"at_s": 18, "cadence_rpm": 0},
        {"at_s": 24, "cadence_rpm": 65, "motor_celsius": 120, "charge_percent": 2},
        {"at_s": 32, "power_switch": False, "throttle_percent": 70},
        {"at_s": 33, "power_switch": True},
        {"at_s": 40, "cadence_rpm": 0, "throttle_percent": 0, "brake": True},
    ]
    return course_from("brown_out", "A supply that is lost while riding", 44, stretches)
