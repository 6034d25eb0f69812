"""The trace of a ride: a CSV file written during the ride, so that memory use does not grow.

While the controller has no supply, the state is "off" and the controller's estimates are 0.
"""

from collections.abc import Callable
from math import pi
from pathlib import Path
from typing import TextIO

from firmware.controller import Controller
from firmware.decide.ceilings import CEILING_NAMES
from firmware.decide.engagement import STATE_NAMES
from firmware.guard.faults import CAUSE_NAMES
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import EdgeWatch, World

PERIODS_PER_ROW = 10  # 50 ms: twenty rows a second.
RPM_PER_RAD_PER_S = 30.0 / pi
_NEW = -1
_OFF = -2
OFF_NAME = "off"

POWER = "rider_power_w"
COLUMNS = (
    "time_s",
    "distance_m",
    "speed_m_per_s",
    "sensed_speed_m_per_s",
    "grade",
    "cadence_rpm",
    "sensed_cadence_rpm",
    POWER,
    "wanted_w",
    "allowed_w",
    "delivered_w",
    "command_v",
    "state",
    "lowest_ceiling",
    "stop_gap_s",
    "battery_v",
    "motor_celsius",
    "throttle_share",
    "selector_share",
    "brake_pulled",
    "fault",
)


class Trace(StepWatch):
    """Writes a row every 50 ms and whenever the state changes."""

    def __init__(self, file: TextIO, rider_power_estimated: bool = False) -> None:
        """Write the heading to `file`, an open text file; an estimated power has a name that says so."""
        self._write: Callable[[str], int] = file.write
        names = {POWER: f"estimated_{POWER}"} if rider_power_estimated else {}
        self._write(",".join(names.get(column, column) for column in COLUMNS) + "\n")
        self._periods = 0
        self._state = _NEW

    def begin(self, world: World, controller: Controller) -> None:
        """Take a controller that has just been switched on."""
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        """Evaluate one control period."""
        state = self._controller.engagement.state
        self._periods += 1
        if self._periods < PERIODS_PER_ROW and state == self._state:
            return
        self._periods = 0
        self._state = state
        self._row(outputs)

    def look_unpowered(self, world: World) -> None:
        """Record the same time without supply."""
        self._periods += 1
        if self._periods < PERIODS_PER_ROW and self._state == _OFF:
            return
        self._periods = 0
        self._state = _OFF
        self._write(
            f"{world.now_us / US_PER_S:.3f},{world.bicycle.distance_m:.2f},{world.bicycle.speed_m_per_s:.3f},"
            f"0.000,{world.grade:.4f},{world.rider.crank_rad_per_s * RPM_PER_RAD_PER_S:.1f},0,"
            f"{world.rider.delivered_power_w:.0f},0,0,{world.motor.power_w:.1f},0.000,{OFF_NAME},"
            f"{CEILING_NAMES[0]},0.000,{world.battery.voltage_v:.2f},{world.motor.temperature_celsius:.1f},"
            f"{world.throttle_share:.2f},0.000,{world.brake_share > 0.0:d},{CAUSE_NAMES[0]}\n"
        )

    def _row(self, outputs: Outputs) -> None:
        world = self._world
        controller = self._controller
        wanted_w = controller.request.wanted_w
        self._write(
            f"{world.now_us / US_PER_S:.3f},{world.bicycle.distance_m:.2f},{world.bicycle.speed_m_per_s:.3f},"
            f"{controller.wheel.speed_mm_per_s / 1000:.3f},{world.grade:.4f},"
            f"{world.rider.crank_rad_per_s * RPM_PER_RAD_PER_S:.1f},{controller.pedalling.cadence_rpm},"
            f"{world.rider.delivered_power_w:.0f},{wanted_w},{min(wanted_w, controller.ceilings.ceiling_w)},"
            f"{world.motor.power_w:.1f},{outputs.command_mv / 1000:.3f},{STATE_NAMES[self._state]},"
            f"{CEILING_NAMES[controller.ceilings.lowest]},{controller.pedalling.stop_gap_us / 1e6:.3f},"
            f"{world.battery.voltage_v:.2f},{world.motor.temperature_celsius:.1f},{world.throttle_share:.2f},"
            f"{controller.selector.share_permille / 1000:.3f},{world.brake_share > 0.0:d},"
            f"{CAUSE_NAMES[outputs.fault_cause]}\n"
        )


class EdgeWindow(StepWatch, EdgeWatch):
    """Records the crank edges of the second around the first engagement. Read: `edges`, `centre_us`.

    `edges` is a list of (time_us, levels), `before` the levels at its beginning.
    """

    def __init__(self, state: int, levels: int, half_us: int = 500_000) -> None:
        """Centre the window on the first time at which the engagement reaches `state`.

        `levels` are those of the two channels before the first edge.
        """
        self._centre_state = state
        self.half_us = half_us
        self.edges: list[tuple[int, int]] = []
        self.before = levels
        self.centre_us: int | None = None

    def begin(self, world: World, controller: Controller) -> None:
        """Take a controller that has just been switched on."""
        self._world = world
        self._controller = controller

    def edge(self, time_us: int, levels: int) -> None:
        """Record a crank edge."""
        if self.centre_us is None or time_us <= self.centre_us + self.half_us:
            self.edges.append((time_us, levels))
        if self.centre_us is None:
            self._drop_until(time_us - self.half_us)

    def write(self, path: Path) -> None:
        """Write the edges as CSV, each with the levels after it; the first row has the levels before."""
        with path.open("w", encoding="utf-8") as file:
            file.write("time_s,channel_a,channel_b\n")
            if self.centre_us is None:
                return
            rows = [(self.centre_us - self.half_us, self.before), *self.edges]
            for time_us, levels in rows:
                file.write(f"{time_us / US_PER_S:.6f},{levels & 1},{levels >> 1}\n")

    def look(self, outputs: Outputs) -> None:
        """Fix the window when the state is reached for the first time."""
        if self.centre_us is None and self._controller.engagement.state == self._centre_state:
            self.fix(self._world.now_us)

    def fix(self, centre_us: int) -> None:
        """Fix the window around `centre_us`, which is not later than now."""
        self.centre_us = centre_us
        self._drop_until(centre_us - self.half_us)

    def _drop_until(self, time_us: int) -> None:
        while self.edges and self.edges[0][0] < time_us:
            self.before = self.edges.pop(0)[1]
