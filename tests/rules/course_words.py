"""Writes a course down in the words of a course file, every value of every stretch."""

from typing import Any

from host_sim.bench.course import Course
from host_sim.bench.stretch import Stretch


def written(course: Course) -> str:
    """Return the text of a course file that says the same."""
    lines = [f'title = "{course.title}"', f"seconds = {course.seconds!r}"]
    for stretch in course.stretches:
        lines += ["", "[[stretch]]"]
        lines += [f"{key} = {_toml(value)}" for key, value in _keys(stretch).items()]
    return "\n".join(lines) + "\n"


def _keys(stretch: Stretch) -> dict[str, Any]:
    keys: dict[str, Any] = {
        "at_s": stretch.at_s,
        "over_s": stretch.over_s,
        "cadence_rpm": stretch.cadence_rpm,
        "effort_w": stretch.effort_w,
        "gear_m": stretch.gear_m,
        "grade_percent": stretch.grade * 100.0,
        "wind_m_per_s": stretch.wind_m_per_s,
        "throttle_percent": stretch.throttle_share * 100.0,
        "crank_free": stretch.crank_free,
        "brake": stretch.brake_pulled,
        "power_switch": stretch.power_switched_on,
        "fault": [{"name": fault.name} | fault.keys() for fault in stretch.faults],
    }
    if stretch.selector_position is None:
        keys["selector_percent"] = stretch.selector_share * 100.0
    else:
        keys["selector_position"] = stretch.selector_position
    if stretch.roller_m_per_s >= 0.0:
        keys["roller_km_per_h"] = stretch.roller_m_per_s * 3.6
    if stretch.charge is not None:
        keys["charge_percent"] = stretch.charge * 100.0
    if stretch.motor_celsius is not None:
        keys["motor_celsius"] = stretch.motor_celsius
    return keys


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    return repr(value)
