"""Measures start, smoothness, power and stop of one ride, on the plant, during the ride.

Compiled for sweeps, so it keeps running values instead of a trace. The rules' probes measure the same
values one by one; `tests/ride/test_ride_measures.py` compares the two.
"""

from math import pi

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import TURNING_RAD_PER_S, World

SETTLED_SHARE = 0.1  # The power has settled when it stays within a tenth of what is allowed.
SURGE_WINDOW_US = 4_000_000
JERK_PERIODS = 20  # 0.1 s: a shorter change is not felt (common practice, no source).
MEAN_SAMPLES = 100  # 10 s in tenths: the mean that counts as continuous power.
SAMPLE_PERIODS = 20
NOT_SEEN = -1.0


class RideMeasures(StepWatch):
    """Observes one ride. Read after it; a number is NOT_SEEN if the ride did not measure it.

    `engage_s` from the first movement of the crank to the first help, `first_help_deg` the crank's angle
    until the command passes the dead band, `jerk_m_per_s3` the steepest rise of the motor's push over 0.1 s
    for this mass, `overshoot_share`, `settling_s` and `surge_share` of the power relative to its limit,
    `mean_power_w` the highest over 10 s, `engagements` before the first stop, `stop_time_s` from the crank's
    stop to a command of zero, the mean of all stops.
    """

    __slots__ = (
        "_assisting",
        "_command_max_mv",
        "_command_start_mv",
        "_controller",
        "_energies_j",
        "_engaged_us",
        "_forces_n",
        "_highest_share",
        "_index",
        "_late_sum_us",
        "_late_us",
        "_lowest_share",
        "_mass_kg",
        "_mean_index",
        "_outside_us",
        "_periods",
        "_start_rad",
        "_steepest_n",
        "_stop_us",
        "_stops",
        "_turning_since_us",
        "_waiting",
        "_world",
        "engage_s",
        "engagements",
        "first_help_deg",
        "mean_power_w",
        "overshoot_share",
    )

    def __init__(self, mass_kg: float, stop_us: int) -> None:
        """Expect that the rider stops for the first time at `stop_us`; `mass_kg` is everything that moves."""
        self._mass_kg = mass_kg
        self._stop_us = stop_us
        self._forces_n = [0.0] * JERK_PERIODS
        self._energies_j = [0.0] * MEAN_SAMPLES
        self._index = 0
        self._mean_index = 0
        self._periods = 0
        self._steepest_n = 0.0
        self._engaged_us = 0
        self._outside_us = 0
        self._lowest_share = 1e9
        self._highest_share = -1e9
        self._start_rad = 0.0
        self._turning_since_us = 0
        self._waiting = True
        self._command_start_mv = 0
        self._command_max_mv = 0
        self._assisting = False
        self._late_us = -1  # Of the present stop; below 0 while there is none to measure.
        self._late_sum_us = 0
        self._stops = 0
        self.engagements = 0
        self.engage_s = NOT_SEEN
        self.first_help_deg = NOT_SEEN
        self.overshoot_share = 0.0
        self.mean_power_w = 0.0

    @property
    def jerk_m_per_s3(self) -> float:
        """The steepest rise of the motor's push over 0.1 s, divided by the mass."""
        return self._steepest_n / self._mass_kg / (float(JERK_PERIODS) * 0.005)

    @property
    def settling_s(self) -> float:
        """Seconds from engaging until the power stays within a tenth of its limit."""
        if self._engaged_us == 0:
            return NOT_SEEN
        return float(self._outside_us - self._engaged_us) * 1e-6

    @property
    def surge_share(self) -> float:
        """Swing of the power in the 4 s before the stop, as a share of its limit."""
        if self._highest_share < self._lowest_share:
            return NOT_SEEN
        return self._highest_share - self._lowest_share

    @property
    def stop_time_s(self) -> float:
        """Seconds from the crank's stop to a command of zero: the mean of the stops that ended help."""
        open_us = max(self._late_us, 0)
        stops = self._stops + (1 if self._late_us >= 0 else 0)
        if stops == 0:
            return NOT_SEEN
        return float(self._late_sum_us + open_us) * 1e-6 / float(stops)

    def begin(self, world: World, controller: Controller) -> None:
        """Register the world and a controller that has just been switched on."""
        self._world = world
        self._controller = controller
        self._command_start_mv = controller.settings.command_start_mv
        self._command_max_mv = controller.settings.command_max_mv

    def look(self, outputs: Outputs) -> None:
        """Evaluate one control period."""
        world = self._world
        if self.engage_s == NOT_SEEN or self.first_help_deg == NOT_SEEN:
            self._start(world, outputs.command_mv)
        self._push(world.motor.force_n)
        self._periods += 1
        if self._periods == SAMPLE_PERIODS:
            self._periods = 0
            self._mean(world.assist_j)
        assisting = self._controller.engagement.state == ASSISTING
        if assisting:
            self._follow(world, outputs.command_mv)
        if world.now_us > self._stop_us:
            self._stop(world, outputs.command_mv)
        elif assisting and not self._assisting:
            self.engagements += 1
        self._assisting = assisting

    def _stop(self, world: World, command_mv: int) -> None:
        """Measure how long the command lasts after the crank stops, stop by stop."""
        if world.rider.target_rad_per_s > 0.0:
            if self._late_us >= 0:
                self._late_sum_us += self._late_us
                self._stops += 1
                self._late_us = -1
        elif command_mv > 0:
            self._late_us = world.now_us - world.last_forward_us

    def _start(self, world: World, command_mv: int) -> None:
        """Measure the start from the last moment at which the crank stood."""
        rider = world.rider
        if self._waiting and rider.crank_rad_per_s <= TURNING_RAD_PER_S and command_mv == 0:
            self._start_rad = rider.crank_rad
            self._turning_since_us = world.now_us
            return
        self._waiting = False
        if self.first_help_deg == NOT_SEEN and command_mv >= max(self._command_start_mv, 1):
            self.first_help_deg = (rider.crank_rad - self._start_rad) * 180.0 / pi
        if self.engage_s == NOT_SEEN and world.motor.assisting():
            self.engage_s = float(world.now_us - self._turning_since_us) * 1e-6

    def _push(self, force_n: float) -> None:
        """Keep the steepest rise of the motor's push."""
        index = self._index
        rise_n = force_n - self._forces_n[index]
        if rise_n > self._steepest_n:
            self._steepest_n = rise_n
        self._forces_n[index] = force_n
        self._index = 0 if index == JERK_PERIODS - 1 else index + 1

    def _mean(self, energy_j: float) -> None:
        """Keep the highest mean power over 10 s."""
        index = self._mean_index
        mean_w = (energy_j - self._energies_j[index]) / (float(MEAN_SAMPLES * SAMPLE_PERIODS) * 0.005)
        if mean_w > self.mean_power_w:
            self.mean_power_w = mean_w
        self._energies_j[index] = energy_j
        self._mean_index = 0 if index == MEAN_SAMPLES - 1 else index + 1

    def _follow(self, world: World, command_mv: int) -> None:
        """Follow battery power as a share of its limit."""
        now_us = world.now_us
        if self._engaged_us == 0:
            self._engaged_us = now_us
            self._outside_us = now_us
        allowed_w = min(self._controller.request.wanted_w, self._controller.ceilings.ceiling_w)
        if allowed_w == 0 or now_us > self._stop_us:
            return
        share = world.motor.power_w / float(allowed_w)
        if share < 1.0 and command_mv == self._command_max_mv:
            share = 1.0  # The motor can't draw more at this speed, so the power can't follow.
        if share - 1.0 > self.overshoot_share:
            self.overshoot_share = share - 1.0
        if share > 1.0 + SETTLED_SHARE or share < 1.0 - SETTLED_SHARE:
            self._outside_us = now_us
        if now_us > self._stop_us - SURGE_WINDOW_US:
            self._lowest_share = min(self._lowest_share, share)
            self._highest_share = max(self._highest_share, share)
