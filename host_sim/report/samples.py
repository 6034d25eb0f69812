"""Samples of a ride as plain lists, for charts that are drawn at once and not kept in a file."""

from collections.abc import Sequence
from math import degrees
from typing import TypeVar

from firmware.controller import Controller
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.trace import RPM_PER_RAD_PER_S
from host_sim.bench.world import World
from host_sim.units import KM_PER_H_PER_M_PER_S

T = TypeVar("T")
UNPOWERED = -1  # The state of a controller without supply.


class Samples(StepWatch):
    """Records one value of each kind every `periods` control periods. All lists have the same length.

    `state` is a number of `firmware.decide.engagement`, `fault` one of `firmware.guard.faults`. `force_n` is
    the motor's push at the rim of the wheel, `crank_deg` the angle since the start of the ride.
    """

    def __init__(self, periods: int = 2) -> None:
        """Start empty; `periods` from 1 on."""
        self._periods = periods
        self._left = 1
        self.time_s: list[float] = []
        self.speed_km_per_h: list[float] = []
        self.distance_m: list[float] = []
        self.crank_deg: list[float] = []
        self.cadence_rpm: list[float] = []
        self.sensed_rpm: list[float] = []
        self.wanted_w: list[float] = []
        self.allowed_w: list[float] = []
        self.power_w: list[float] = []
        self.command_v: list[float] = []
        self.motor_a: list[float] = []
        self.state: list[int] = []
        self.fault: list[int] = []

    def begin(self, world: World, controller: Controller) -> None:
        """Register the world and a controller that has just been switched on."""
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        """Record a control period, every `periods` of them."""
        self._left -= 1
        if self._left > 0:
            return
        self._left = self._periods
        controller = self._controller
        wanted_w = controller.request.wanted_w
        self._plant(self._world)
        self.sensed_rpm.append(controller.pedalling.cadence_rpm)
        self.wanted_w.append(wanted_w)
        self.allowed_w.append(min(wanted_w, controller.ceilings.ceiling_w))
        self.command_v.append(outputs.command_mv / 1000.0)
        self.state.append(controller.engagement.state)
        self.fault.append(outputs.fault_cause)

    def look_unpowered(self, world: World) -> None:
        """Record a period without supply, every `periods` of them."""
        self._left -= 1
        if self._left > 0:
            return
        self._left = self._periods
        self._plant(world)
        for nothing in (self.sensed_rpm, self.wanted_w, self.allowed_w, self.command_v):
            nothing.append(0.0)
        self.state.append(UNPOWERED)
        self.fault.append(0)

    def _plant(self, world: World) -> None:
        self.time_s.append(world.now_us / US_PER_S)
        self.speed_km_per_h.append(world.bicycle.speed_m_per_s * KM_PER_H_PER_M_PER_S)
        self.distance_m.append(world.bicycle.distance_m)
        self.crank_deg.append(degrees(world.rider.crank_rad))
        self.cadence_rpm.append(world.rider.crank_rad_per_s * RPM_PER_RAD_PER_S)
        self.power_w.append(world.motor.power_w)
        self.motor_a.append(world.motor.motor_current_a)

    def first(self, values: list[float], above: float) -> float | None:
        """Return the time at which `values`, one of the lists, is first above a number; None if never."""
        for time_s, value in zip(self.time_s, values, strict=True):
            if value > above:
                return time_s
        return None

    def spans(self, state: int) -> list[tuple[float, float]]:
        """Return the stretches of time (from, to, in s) spent in a state."""
        return spans_of(self.time_s, self.state, state)


def spans_of(times_s: Sequence[float], states: Sequence[T], state: T) -> list[tuple[float, float]]:
    """Return from when to when (s) `states`, one for each ascending time, equal `state`."""
    found: list[tuple[float, float]] = []
    begun_s: float | None = None
    for time_s, now in zip(times_s, states, strict=True):
        if now == state and begun_s is None:
            begun_s = time_s
        elif now != state and begun_s is not None:
            found.append((begun_s, time_s))
            begun_s = None
    if begun_s is not None:
        found.append((begun_s, times_s[-1]))
    return found
