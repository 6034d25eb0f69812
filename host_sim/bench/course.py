"""A course: a scripted ride in a small TOML file, read into stretches with every field resolved.

    title = "Two traffic lights"
    seconds = 60

    [[stretch]]
    at_s = 0
    cadence_rpm = 65        # the rider holds this cadence; negative turns the pedals backward
    effort_w = 110          # and gives this power while at it

    [[stretch]]
    at_s = 20
    over_s = 5              # the values set here change evenly during 5 s
    grade_percent = 4

A stretch keeps every value that it does not set. If a stretch sets `effort_w` without `cadence_rpm`, the
cadence follows from the bicycle's speed; if it sets `cadence_rpm`, the rider holds that. `selector_percent`
and `selector_position` exclude each other. All keys are in `course_table`.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.bench.course_table import CourseTable, StretchTable
from host_sim.bench.faults import FAULTS
from host_sim.bench.stretch import Stretch, between
from host_sim.errors import RequestError
from host_sim.refusals import closest, shown
from host_sim.textfile import find_file, names_in, spoken
from host_sim.tomlfile import check, read_toml
from host_sim.units import KM_PER_H_PER_M_PER_S

__all__ = ["COURSES", "Course", "Stretch", "course_from", "course_names", "load_course"]

COURSES = Path(__file__).resolve().parent.parent / "courses"
KnownFaults = Mapping[str, Sequence[str]]
# Gears are shifted for this cadence while no cadence is held: the least tiring one is 57 rpm at 100 W and 70
# at 200 W (MacIntosh, Neptune and Horton, Med. Sci. Sports Exerc. 2000, 32:1281).
SHIFTING_RPM = 65.0


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A title, a length and resolved stretches in ascending order of `at_s`, the first at 0."""

    name: str
    title: str
    seconds: float
    stretches: list[Stretch]

    def at(self, time_s: float) -> Stretch:
        """Return the values at `time_s`: the stretch itself, or during its `over_s` an interpolated one."""
        index = max(bisect_right(self.stretches, time_s, key=lambda stretch: stretch.at_s) - 1, 0)
        stretch = self.stretches[index]
        since_s = time_s - stretch.at_s
        if index == 0 or since_s >= stretch.over_s:
            return stretch
        return between(self.stretches[index - 1], stretch, since_s / stretch.over_s)


def course_names() -> list[str]:
    """Return the names of the courses that come with the package."""
    return names_in(COURSES, (".toml",))


def load_course(path_or_name: str | Path, known_faults: KnownFaults | None = None) -> Course:
    """Return a course from a file, or an example by its name; RequestError says what is wrong.

    `known_faults` has the allowed fault names, each with its keys; default: those of the bench.
    """
    path = find_file(path_or_name, COURSES, (".toml",), "course")
    return _checked(path.stem, spoken(path.name), read_toml(path), known_faults)


def course_from(name: str, title: str, seconds: float, stretches: list[dict[str, Any]]) -> Course:
    """Return a course from data, each stretch with the keys of a course file; RequestError if invalid."""
    return _checked(name, f"course {name}", {"title": title, "seconds": seconds, "stretch": stretches}, None)


def _checked(name: str, place: str, data: dict[str, Any], known_faults: KnownFaults | None) -> Course:
    table = check(data, CourseTable, place)
    if known_faults is None:
        known_faults = {fault: keys for fault, (keys, _) in FAULTS.items()}
    try:
        return _resolve(name, table, known_faults)
    except ValueError as error:
        raise RequestError(f"{place}: {error}") from None


def _resolve(name: str, table: CourseTable, known_faults: KnownFaults) -> Course:
    """Keep each value until it is set again; ValueError says what conflicts."""
    stretches: list[Stretch] = []
    latest = Stretch()
    free_s = 0.0
    for number, entry in enumerate(table.stretch, start=1):
        _check_times(table, number, entry, stretches, free_s)
        _check_faults(number, entry, known_faults)
        latest = latest.copy()
        _apply(latest, entry, number)
        stretches.append(latest)
        free_s = entry.at_s + entry.over_s
    return Course(name, table.title, table.seconds, stretches)


def _check_times(
    table: CourseTable, number: int, entry: StretchTable, stretches: list[Stretch], free_s: float
) -> None:
    key = f"stretch {number}.at_s"
    if not stretches and entry.at_s != 0:
        raise ValueError(f"{key} is {entry.at_s:g}, allowed is 0 (s): a ride begins with its first stretch")
    if stretches and entry.at_s <= stretches[-1].at_s:
        raise ValueError(
            f"{key} is {entry.at_s:g}, allowed is above {stretches[-1].at_s:g} (s), that of the stretch "
            f"before"
        )
    if entry.at_s < free_s:
        raise ValueError(
            f"{key} is {entry.at_s:g}, allowed is {free_s:g} or more (s), when the stretch before has ended"
        )
    if entry.at_s + entry.over_s > table.seconds:
        over = f" with over_s {entry.over_s:g}" if entry.over_s else ""
        raise ValueError(
            f"{key} is {entry.at_s:g}{over}, allowed is up to {table.seconds:g} (s), the end of the ride"
        )
    if number == 1 and entry.over_s:
        raise ValueError(
            f"stretch 1.over_s is {entry.over_s:g}, allowed is 0 (s): there is nothing to change from"
        )


def _check_faults(number: int, entry: StretchTable, known_faults: KnownFaults) -> None:
    for index, fault in enumerate(entry.fault or [], start=1):
        where = f"stretch {number}.fault {index}"
        if fault.name not in known_faults:
            hint = closest(fault.name, list(known_faults))
            raise ValueError(f"{where}.name is {shown(fault.name)}, {hint}")
        needed = known_faults[fault.name]
        if sorted(fault.keys()) != sorted(needed):
            named = ", ".join(fault.keys()) or "no other key"
            wanted = ", ".join(needed) or "no other key"
            raise ValueError(f'{where} is "{fault.name}" with {named}, allowed is {wanted}')


def _apply(stretch: Stretch, entry: StretchTable, number: int) -> None:
    """Set the values of `entry` in `stretch`; others stay."""
    if entry.selector_percent is not None and entry.selector_position is not None:
        raise ValueError(
            f"stretch {number} names selector_percent and selector_position, allowed is one of them"
        )
    stretch.at_s = entry.at_s
    stretch.over_s = entry.over_s
    if entry.cadence_rpm is not None:
        stretch.cadence_rpm = entry.cadence_rpm
        stretch.cadence_held = True
    elif entry.effort_w is not None:
        stretch.cadence_rpm = stretch.cadence_rpm if stretch.cadence_rpm > 0.0 else SHIFTING_RPM
        stretch.cadence_held = False
    if entry.selector_percent is not None:
        stretch.selector_position = None
    plain: dict[str, Any] = {
        "effort_w": entry.effort_w,
        "gear_m": entry.gear_m,
        "grade": _share(entry.grade_percent),
        "wind_m_per_s": entry.wind_m_per_s,
        "throttle_share": _share(entry.throttle_percent),
        "selector_share": _share(entry.selector_percent),
        "selector_position": entry.selector_position,
        "roller_m_per_s": _m_per_s(entry.roller_km_per_h),
        "crank_free": entry.crank_free,
        "brake_pulled": entry.brake,
        "power_switched_on": entry.power_switch,
        "faults": None if entry.fault is None else tuple(entry.fault),
    }
    for name, value in plain.items():
        if value is not None:
            setattr(stretch, name, value)
    # These are set once, when the stretch begins, and not kept.
    stretch.charge = _share(entry.charge_percent)
    stretch.motor_celsius = entry.motor_celsius


def _m_per_s(speed_km_per_h: float | None) -> float | None:
    return None if speed_km_per_h is None else speed_km_per_h / KM_PER_H_PER_M_PER_S


def _share(percent: float | None) -> float | None:
    return None if percent is None else percent / 100.0
