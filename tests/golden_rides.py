"""The rides of the golden traces: every example bike, and all faults."""

from pathlib import Path

from host_sim.bench.course import Course, course_from, load_course
from host_sim.bikes.load import load_bike
from host_sim.forms.golden import GoldenTrace
from host_sim.forms.golden_ride import GoldenRide

BIKES = ("cargo_trike", "folding", "tandem")
COURSES = ("errand", "thresholds", "broken_sensor")
ONLY_S = {"errand": 120}  # Its start, a traffic light, the throttle, half of its hill; the others whole.
CLEAR_EVERY = 2_000  # Steps, 10 s.


def golden_rides() -> list[GoldenRide]:
    """Return all golden rides; the board's clock wraps once in each, in most of them during help."""
    bikes = {name: load_bike(name) for name in BIKES}
    rides = [
        GoldenRide(f"{name}-{course}", bike, load_course(course), wrap_after_s=40, seconds=ONLY_S.get(course))
        for name, bike in bikes.items()
        for course in COURSES
    ]
    for name, bike in bikes.items():
        for course in (_electrics(), _disturbed(), _brown_out()):
            ride = GoldenRide(f"{name}-{course.name}", bike, course, wrap_after_s=15, clear_every=CLEAR_EVERY)
            rides.append(ride)
    return rides


def record_all(rides: list[GoldenRide], folder: Path) -> list[GoldenTrace]:
    """Record each ride into a file of its name in `folder`."""
    return [GoldenTrace(ride, folder / ride.name) for ride in rides]


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
