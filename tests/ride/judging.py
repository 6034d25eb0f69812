"""Rides on a roller, judged by what the plant truly does: power, speed and help, not what is read.

`JudgedRide` tells of one ride: `truth` (see host_sim.bench.truth); `engaged_s`, when help was first asked
for; `cut_after_s` and `latched_after_s`, from the fault (or from engaging, if that is later) to the first
step without a command and to the first fault, with its `cause`; `half_s`, from engaging to half of what is
allowed. A time that never came is infinite.
"""

from __future__ import annotations

from math import inf
from typing import Any

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.guard.faults import CAUSE_NAMES
from firmware.records import Outputs
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.truth import Bounds, Truth
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from tests.ride.riding import bike_with

STEPS_IN_A_TENTH = 20
ENGAGE_S = 3.0  # The pedals begin to turn.


def with_settings(bike: Bike, **settings: int) -> Bike:
    """Return the same bicycle with a firmware that believes other settings."""
    changed = bike.model_copy()
    believed = Settings({**bike.firmware_settings.as_dict(), **settings})
    changed.complete(bike.name, bike.place_profile, believed)
    return changed


def bounds_of(bike: Bike) -> Bounds:
    """Return what is too much: a tenth over the power limit, the cut-off speed with its tolerance."""
    place = bike.place_profile
    cutoff_km_per_h = place.cutoff_km_per_h * (1.0 + place.cutoff_tolerance_percent / 100.0)
    return Bounds(1.1 * bike.firmware_settings.power_limit_w, cutoff_km_per_h / 3.6, 0.0)


class Followed(StepWatch):
    """Notes the times of a ride, and how steeply the motor's force rises within a tenth of a second."""

    def __init__(self, fault_from_s: float) -> None:
        self.fault_from_s = fault_from_s
        self.engaged_s = inf
        self.cut_s = inf
        self.latched_s = inf
        self.half_s = inf
        self.cause = "none"
        self.steepest_n_per_s = 0.0
        self.highest_n = 0.0
        self._forces_n = [0.0] * STEPS_IN_A_TENTH
        self._steps = 0

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        world, controller = self._world, self._controller
        now_s = world.now_us / 1e6
        allowed_w = min(controller.request.wanted_w, controller.ceilings.ceiling_w)
        if controller.engagement.state == ASSISTING and self.engaged_s == inf:
            self.engaged_s = now_s
        if self.engaged_s < inf and allowed_w > 0 and world.motor.power_w >= allowed_w / 2.0:
            self.half_s = min(self.half_s, now_s - self.engaged_s)
        if outputs.command_mv == 0 and now_s >= self.fault_from_s and self.engaged_s < inf:
            self.cut_s = min(self.cut_s, now_s)
        if outputs.fault_cause and self.latched_s == inf:
            self.latched_s = now_s
            self.cause = CAUSE_NAMES[outputs.fault_cause]
        self._take_force(world.motor.force_n)

    def _take_force(self, force_n: float) -> None:
        slot = self._steps % STEPS_IN_A_TENTH
        self.steepest_n_per_s = max(self.steepest_n_per_s, (force_n - self._forces_n[slot]) / 0.1)
        self.highest_n = max(self.highest_n, force_n)
        self._forces_n[slot] = force_n
        self._steps += 1


class JudgedRide:
    """A ride that is over."""

    def __init__(
        self,
        bike: Bike,
        km_per_h: float,
        seconds: float,
        fault: dict[str, Any] | None = None,
        fault_from_s: float = 0.0,
        then: list[dict[str, Any]] | None = None,
    ) -> None:
        """Coast on a roller, pedal from ENGAGE_S on at 70 rpm, and bring about the fault; then stretches."""
        stretches: list[dict[str, Any]] = [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": km_per_h},
            {"at_s": ENGAGE_S, "cadence_rpm": 70.0},
        ]
        if fault is not None and fault_from_s == 0.0:
            stretches[0]["fault"] = [fault]
        elif fault is not None:
            stretches.append({"at_s": fault_from_s, "fault": [fault]})
        bench = bench_for(bike, 1)
        self.truth = Truth(bounds_of(bike))
        bench.world.watch_plant(self.truth)
        followed = Followed(fault_from_s)
        bench.watch(followed)
        stretches = sorted(stretches + (then or []), key=lambda stretch: float(stretch["at_s"]))
        course = course_from("test", "A test", seconds, stretches)
        bench.ride(CourseScript(course), seconds)
        self.engaged_s = followed.engaged_s
        begun_s = max(fault_from_s, followed.engaged_s)
        self.cut_after_s = followed.cut_s - begun_s
        self.latched_after_s = followed.latched_s - begun_s
        self.cause = followed.cause
        self.half_s = followed.half_s
        self.steepest_n_per_s = followed.steepest_n_per_s
        self.highest_n = followed.highest_n
        self.limit_w = bike.firmware_settings.power_limit_w


def cutoff_km_per_h(bike: Bike) -> float:
    """Return the cut-off speed of the bicycle's place."""
    return bike.place_profile.cutoff_km_per_h


__all__ = ["ENGAGE_S", "JudgedRide", "bike_with", "cutoff_km_per_h", "with_settings"]
