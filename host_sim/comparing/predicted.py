"""The bench repeats the rider's actions from a log, with the settings of the log's board."""

from dataclasses import dataclass
from math import pi

import numpy as np

from firmware.controller import Controller
from firmware.decide.engagement import FAULTED, READY, WAITING
from firmware.records import Outputs
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S, Agenda
from host_sim.bench.script import Script
from host_sim.bench.sim_board import Levers, SimBoard, StepWatch
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.comparing.effort import Effort, effort_of
from host_sim.comparing.measured import GRID_S, PER_SECOND, Measured, Series, helped_spans
from host_sim.plant.rider import RIDDEN

SEED = 1
_GRID_US = round(GRID_S * US_PER_S)
_STEPS_A_BIN = _GRID_US // CONTROL_PERIOD_US
_REST_V = 0.05  # Within this of its rest voltage the throttle is closed.


@dataclass(frozen=True, slots=True)
class Predicted:
    """The bench's prediction: series like those of `Measured`, and when the motor helped."""

    speed_m_per_s: Series
    battery_w: Series
    command_v: Series
    spans_s: list[tuple[float, float]]


class LogScript(Script):
    """Plays a log: cadence and levers ten times a second, power and brakes once a second."""

    def __init__(self, bike: Bike, ride: Measured, effort: Effort) -> None:
        """Play `ride` with the power and the brakes of `effort`."""
        super().__init__("log", "log", ride.seconds)
        self._bike = bike
        self._ride = ride
        self._effort = effort
        # How far the log's rider was at the beginning of each second.
        self._way_m = np.concatenate(([0.0], np.cumsum(ride.speed_m_per_s) * GRID_S))[::PER_SECOND]
        self.rewind()

    def rewind(self) -> None:
        """Go back to the first entry."""
        self._row = 0

    def begin(self, world: World, board: SimBoard, levers: Levers, agenda: Agenda) -> None:
        """Start with the log's first speed, and with the charge that the battery voltage shows."""
        world.bicycle.speed_m_per_s = float(self._ride.speed_m_per_s[0])
        world.battery.charge = charge_at_first(self._bike, self._ride)
        world.battery.voltage_v = world.battery.open_circuit_v()
        super().begin(world, board, levers, agenda)

    def happen(self) -> None:
        """Play the next tenth of a second."""
        world, ride, row = self._world, self._ride, self._row
        second = min(int(row * GRID_S + 1e-9), len(self._effort.rider_power_w) - 1)
        world.rider.mode = RIDDEN
        world.rider.target_rad_per_s = float(ride.cadence_rpm[row]) * 2.0 * pi / 60.0
        world.rider.power_w = self._effort.rider_power_w[second]
        world.grade = self._grade(second)
        braked = ride.brake_pulled[row] > 0.0 or self._bike.brakes.switches == "none"
        world.pull_brake(self._effort.brake_share[second] if braked else 0.0)
        world.selector_v = _whole_mv(ride.selector_v[row])
        world.turn_throttle(self._throttle_share(_whole_mv(ride.throttle_v[row])))
        self._row += 1
        if self._row < len(ride.speed_m_per_s):
            self._agenda.put(self._row * _GRID_US, self)

    def _grade(self, second: int) -> float:
        """Return the grade at the bicycle's place: hills stay there, whenever the bicycle reaches them."""
        if not self._ride.speed_m_per_s.any():
            return self._effort.grade[second]
        place = int(np.searchsorted(self._way_m, self._world.bicycle.distance_m, side="right")) - 1
        return self._effort.grade[min(max(place, 0), len(self._effort.grade) - 1)]

    def _throttle_share(self, throttle_v: float) -> float:
        throttle = self._bike.throttle
        if not throttle.fitted or throttle_v <= throttle.rest_v + _REST_V:
            return 0.0
        return min((throttle_v - throttle.rest_v) / (throttle.full_v - throttle.rest_v), 1.0)


class _Kept(StepWatch):
    """Stores a sample of each step."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, float, float]] = []
        self.states: list[tuple[float, int]] = []

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        world = self._world
        self.rows.append((world.bicycle.speed_m_per_s, world.motor.power_w, outputs.command_mv * 1e-3))
        self.states.append((world.now_us / US_PER_S, self._controller.engagement.state))


def predict(bike: Bike, ride: Measured) -> Predicted:
    """Let the bench repeat the log's ride on this bike."""

    def build(_: Settings, now_us: int) -> Controller:
        controller = Controller(ride.settings, now_us)
        if ride.first_state not in (WAITING, FAULTED):  # The board had been at rest before.
            controller.engagement.state = READY
            controller.throttle.rest_seen = True
            controller.guard._throttle_rest_seen = True
        return controller

    bench = bench_for(bike, SEED, build=build)
    kept = _Kept()
    bench.watch(kept)
    bench.ride(LogScript(bike, ride, effort_of(bike, ride)), ride.seconds)
    count = len(ride.speed_m_per_s)
    rows = np.array(kept.rows[: count * _STEPS_A_BIN])
    rows = np.concatenate((rows, np.repeat(rows[-1:], count * _STEPS_A_BIN - len(rows), axis=0)))
    means = rows.reshape(count, _STEPS_A_BIN, 3).mean(axis=1)
    return Predicted(means[:, 0], means[:, 1], means[:, 2], helped_spans(kept.states))


def _whole_mv(volts: float) -> float:
    """Return the board's reading, plus half a microvolt, so that no division rounds a millivolt down."""
    return round(float(volts), 3) + 5e-7


def charge_at_first(bike: Bike, ride: Measured) -> float:
    """Return the charge of the battery at the beginning, 0 to 1, from its voltage corrected for the sag."""
    battery = bike.battery
    sag_v = battery.resistance_ohm * float(ride.battery_w[0] / max(ride.battery_v[0], 1.0))
    charge = (float(ride.battery_v[0]) + sag_v - battery.empty_v) / (battery.full_v - battery.empty_v)
    return min(max(charge, 0.0), 1.0)
