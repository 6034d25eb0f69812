"""The ride of one cell of the fault matrix, and its true values.

A roller turns the wheel at the speed of the column. The fault begins during pedalling, at the moment when
pedalling stops, while the throttle drives, or at power-up. At the end pedalling stops, or stops again.
"""

from typing import Any

from firmware.controller import Controller
from firmware.guard.faults import CAUSE_NAMES, NO_FAULT
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.course import course_from
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.truth import Bounds, Truth
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case, Lines
from host_sim.rules.driving_probes import OVER_LIMIT
from host_sim.rules.fault_rows import Row, row_named
from host_sim.rules.riding import rest
from host_sim.units import KM_PER_H_PER_M_PER_S

PEDALLING, COASTING, BY_THROTTLE, STARTING = "pedalling", "coasting", "throttle", "starting"
SITUATIONS = (PEDALLING, COASTING, BY_THROTTLE, STARTING)
SPEEDS_KM_PER_H = (3.0, 8.0, 16.0, 22.0)
OVER_CUTOFF_KM_PER_H = 3.0

CADENCE_RPM = 65.0
BEFORE_S = 6.0  # Long enough for full power on every example bike.
FAULT_S = 20.0
COAST_S = 10.0
JUST_STOPPED_S = 0.02  # The motor still drives: what fails now may keep it driving.
BRAKE_S = 2.0
STOP_S = 6.0


def columns_km_per_h(bike: Bike) -> tuple[float, ...]:
    """Return the speeds of the matrix: four, and one above the place's cut-off."""
    return (*SPEEDS_KM_PER_H, round(bike.place_profile.cutoff_km_per_h + OVER_CUTOFF_KM_PER_H, 1))


def bounds_of(bike: Bike) -> Bounds:
    """Return the limits of power and speed for this bike in its place."""
    place = bike.place_profile
    cutoff_m_per_s = place.cutoff_km_per_h / KM_PER_H_PER_M_PER_S
    throttle_m_per_s = 0.0
    if bike.throttle.fitted and place.throttle_unpedalled == "below start-up speed":
        throttle_m_per_s = place.startup_km_per_h / KM_PER_H_PER_M_PER_S
    elif bike.throttle.fitted and place.throttle_unpedalled == "freely":
        throttle_m_per_s = cutoff_m_per_s
    return Bounds(
        power_w=OVER_LIMIT * bike.firmware_settings.power_limit_w,
        speed_m_per_s=cutoff_m_per_s * (1.0 + place.cutoff_tolerance_percent / 100.0),
        throttle_m_per_s=throttle_m_per_s,
    )


class FirstCause(StepWatch):
    """The first fault that the controller latched: `cause` and `at_us`."""

    def __init__(self, from_us: int) -> None:
        """Look from `from_us` on."""
        self._from_us = from_us
        self.cause = NO_FAULT
        self.at_us = 0

    def begin(self, world: World, controller: Controller) -> None:
        """Take the world."""
        self._world = world

    def look(self, outputs: Outputs) -> None:
        """Keep the first."""
        if self.cause == NO_FAULT and outputs.fault_cause != NO_FAULT and self._world.now_us >= self._from_us:
            self.cause = outputs.fault_cause
            self.at_us = self._world.now_us


class Measured:
    """The true values of one ride after its fault began, and the cause that was found; see `Truth`."""

    FIELDS = (
        "over_power_j",
        "over_power_s",
        "peak_power_w",
        "over_speed_j",
        "over_speed_s",
        "peak_drive_km_per_h",
        "unpedalled_s",
        "unpedalled_m",
        "braked_s",
    )

    def __init__(self, truth: Truth, cause: str, cause_s: float | None) -> None:
        """Take the sums of a ride; `cause` is "" where nothing was found."""
        self.over_power_j = truth.over_power_j
        self.over_power_s = truth.over_power_s
        self.peak_power_w = truth.peak_power_w
        self.over_speed_j = truth.over_speed_j
        self.over_speed_s = truth.over_speed_s
        self.peak_drive_km_per_h = truth.peak_drive_m_per_s * KM_PER_H_PER_M_PER_S
        self.unpedalled_s = truth.unpedalled_s
        self.unpedalled_m = truth.unpedalled_m
        self.braked_s = truth.braked_s
        self.cause = cause
        self.cause_s = cause_s

    def as_json(self) -> dict[str, Any]:
        """Return every number, rounded, with the cause."""
        numbers = {name: round(getattr(self, name), 3) for name in self.FIELDS}
        at_s = None if self.cause_s is None else round(self.cause_s, 3)
        return {**numbers, "found": self.cause, "found_after_s": at_s}


Job = tuple[Bike, str, float, str, int]
"""Bike, name of the row or "" for the healthy twin, speed in km/h, situation, seed."""


def ride_cell(job: Job) -> Measured:
    """Ride one cell; the same job gives the same numbers in every process."""
    bike, name, speed_km_per_h, situation, seed = job
    row = None if name == "" else row_named(name)
    seconds, fault_s, lines = lines_of(bike, row, speed_km_per_h, situation)
    case = Case(bike, course_from("fault matrix", name or "no fault", seconds, lines), seed)
    bench = case.bench()
    from_us = round(fault_s * US_PER_S)
    truth = Truth(bounds_of(bike), from_us)
    found = FirstCause(from_us)
    bench.world.watch_plant(truth)
    bench.watch(found)
    bench.ride(case.script(), seconds)
    if found.cause == NO_FAULT:
        return Measured(truth, "", None)
    return Measured(truth, CAUSE_NAMES[found.cause], (found.at_us - from_us) / US_PER_S)


def lines_of(
    bike: Bike, row: Row | None, speed_km_per_h: float, situation: str
) -> tuple[float, float, Lines]:
    """Return the length of a cell's course in seconds, when its fault begins, and its stretches."""
    start_s = rest(bike)
    cadence = {"cadence_rpm": CADENCE_RPM}
    begin = {"at_s": 0.0, "cadence_rpm": 0.0, "crank_free": True, "roller_km_per_h": speed_km_per_h}
    if situation == STARTING:
        fault_s, rest_s = 0.0, start_s + FAULT_S
        lines: Lines = [begin, {"at_s": start_s, **cadence}]
    elif situation == COASTING:
        fault_s = start_s + BEFORE_S + JUST_STOPPED_S
        rest_s = fault_s + 2.0 * COAST_S
        lines = [
            begin,
            {"at_s": start_s, **cadence},
            {"at_s": start_s + BEFORE_S, "cadence_rpm": 0.0},
            {"at_s": fault_s + COAST_S, **cadence},
        ]
    elif situation == BY_THROTTLE:
        fault_s = start_s + BEFORE_S
        rest_s = fault_s + COAST_S
        lines = [begin, {"at_s": start_s, "throttle_percent": 100.0}]
    else:
        fault_s = start_s + BEFORE_S
        rest_s = fault_s + FAULT_S + BRAKE_S + 1.0
        lines = [
            begin,
            {"at_s": start_s, **cadence},
            {"at_s": fault_s + FAULT_S, "brake": True},
            {"at_s": fault_s + FAULT_S + BRAKE_S, "brake": False},
        ]
    lines.append({"at_s": rest_s, "cadence_rpm": 0.0, "throttle_percent": 0.0})
    if row is not None:
        lines = _with_fault(lines, row, fault_s)
    return rest_s + STOP_S, fault_s, lines


def _with_fault(lines: Lines, row: Row, fault_s: float) -> Lines:
    """Put the fault among the stretches, in order of time; two at the same time become one."""
    added: Lines = [{"at_s": fault_s, "fault": list(row.faults)}] if row.faults else []
    if row.heals_s is not None:
        added.append({"at_s": fault_s + row.heals_s, "fault": []})
    for lost_s, back_s in row.lost_s:
        added.append({"at_s": fault_s + lost_s, "power_switch": False})
        added.append({"at_s": fault_s + back_s, "power_switch": True})
    if row.backward:
        lines = [
            {**line, "cadence_rpm": -CADENCE_RPM}
            if line["at_s"] >= fault_s and line.get("cadence_rpm", 0.0) > 0.0
            else line
            for line in lines
        ]
        if fault_s > 0.0 and not any(line["at_s"] == fault_s for line in lines):
            turning = [line for line in lines if line["at_s"] < fault_s and "cadence_rpm" in line]
            if turning and turning[-1]["cadence_rpm"] > 0.0:
                added.append({"at_s": fault_s, "cadence_rpm": -CADENCE_RPM})
    merged: dict[float, dict[str, Any]] = {}
    for line in sorted([*lines, *added], key=lambda line: float(line["at_s"])):
        merged.setdefault(round(line["at_s"], 6), {}).update(line)
    return list(merged.values())
