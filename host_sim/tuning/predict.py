"""What the identified plant predicts for a ride: the step to full power, and a slope that slows the bicycle.

The plant is the tangent at the operating point; the loop follows the firmware's law: PI whose integral
follows the command that was sent, then rise and fall rate. Below the tangent's zero the motor gives no power,
as a speed controller does in the first part of its travel.

Only the power loop is modelled. On a known motor of the speed kind the firmware also seeks and follows the
back-EMF, so there power comes sooner than predicted here.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.bench.ride_measures import SETTLED_SHARE
from host_sim.bikes.model import Bike
from host_sim.bikes.power_loop_of import back_emf_v, motor_current_a
from host_sim.tuning.identify import Floats, IdentifiedPlant
from host_sim.tuning.simc import PiGains

STEP_SECONDS = 9.0
SLOPE_SECONDS = 4.0
SLOWER = 0.25  # The slope of the step ride takes a quarter of the speed within a second.


@dataclass(frozen=True, slots=True)
class Prediction:
    """Times in s from engaging, other values in percent of the power; as in `DriveMeasures`."""

    reach_s: float
    overshoot_percent: float
    settling_s: float
    disturbance_percent: float


class LinearLoop:
    """The firmware's loop around one identified plant, in floats."""

    def __init__(
        self, bike: Bike, plant: IdentifiedPlant, gains: PiGains, rise_v_per_s: float, fall_v_per_s: float
    ):
        """Start at the lower end of the command range, with no power."""
        settings = bike.firmware_settings
        # The first entry is 0: a command that goes out now is first read a period later.
        self._pulses = plant.lags.sampled_pulses()[1:][::-1] / plant.lags.gain
        self._plant = plant
        self._gains = gains
        self._rise_v, self._fall_v = rise_v_per_s * CONTROL_PERIOD_S, fall_v_per_s * CONTROL_PERIOD_S
        self._low_v, self._high_v = settings.command_start_mv / 1000.0, settings.command_max_mv / 1000.0
        self.command_v = self._integral_v = self._low_v
        self._drawn_w = np.zeros(len(self._pulses))

    def step(self, wanted_w: float, disturbance_w: float) -> float:
        """Run one control period; return the power that is read, W."""
        reading_w = float(self._pulses @ self._drawn_w)
        self._integral_v += (self.command_v - self._integral_v) * CONTROL_PERIOD_S / self._gains.integral_s
        target_v = self._gains.gain * (wanted_w - reading_w) + self._integral_v
        target_v = min(max(target_v, self._low_v), self._high_v)
        self.command_v += min(max(target_v - self.command_v, -self._fall_v), self._rise_v)
        static_w = self._plant.power_w + self._plant.lags.gain * (self.command_v - self._plant.command_v)
        self._drawn_w = np.append(self._drawn_w[1:], max(static_w + disturbance_w, 0.0))
        return reading_w


def predict(
    bike: Bike, plant: IdentifiedPlant, gains: PiGains, rise_mv_per_s: int, fall_mv_per_s: int
) -> Prediction:
    """Predict the measures of the step ride at the plant's operating point."""
    loop = LinearLoop(bike, plant, gains, rise_mv_per_s / 1000.0, fall_mv_per_s / 1000.0)
    power_w = plant.power_w
    steps_w = [loop.step(power_w, 0.0) for _ in range(round(STEP_SECONDS / CONTROL_PERIOD_S))]
    shares: Floats = np.array(steps_w) / power_w
    slope_w = slope_disturbance_w(bike, plant)
    later = [
        loop.step(power_w, slope_w * min(period * CONTROL_PERIOD_S, 1.0)) / power_w
        for period in range(round(SLOPE_SECONDS / CONTROL_PERIOD_S))
    ]
    outside = np.flatnonzero(np.abs(shares - 1.0) > SETTLED_SHARE)
    reached = np.flatnonzero(shares >= 0.9)
    return Prediction(
        reach_s=float(reached[0]) * CONTROL_PERIOD_S if len(reached) else STEP_SECONDS,
        overshoot_percent=100.0 * max(float(np.max(shares)) - 1.0, 0.0),
        settling_s=float(outside[-1] + 1) * CONTROL_PERIOD_S if len(outside) else 0.0,
        disturbance_percent=100.0 * max(abs(share - 1.0) for share in later),
    )


def slope_disturbance_w(bike: Bike, plant: IdentifiedPlant) -> float:
    """Return how the power would change at constant command while the speed falls by SLOWER, W.

    With back-EMF E and P = I (E + I R): a torque controller keeps I, so P falls by I times the fall of E; a
    speed controller keeps E + I R, so I grows by the fall of E divided by R, and P by that times E + I R.
    """
    resistance_ohm = bike.motor.resistance_ohm
    back_v = back_emf_v(bike, plant.point.speed_m_per_s)
    current_a = motor_current_a(bike, plant.power_w, plant.point.speed_m_per_s)
    lost_v = SLOWER * back_v
    if bike.motor_controller.kind == "torque":
        return -current_a * lost_v
    return lost_v / resistance_ohm * (back_v + current_a * resistance_ohm)


def swing_after_kick(
    bike: Bike, plant: IdentifiedPlant, gains: PiGains, rise_mv_per_s: int, fall_mv_per_s: int
) -> Floats:
    """Return the power, period by period, in the last 2 s of a ride with one dip of the speed."""
    loop = LinearLoop(bike, plant, gains, rise_mv_per_s / 1000.0, fall_mv_per_s / 1000.0)
    kick_w = slope_disturbance_w(bike, plant) * 0.05 / SLOWER
    powers_w = []
    for period in range(round(9.2 / CONTROL_PERIOD_S)):
        kicked = 3.0 <= period * CONTROL_PERIOD_S < 3.2
        powers_w.append(loop.step(plant.power_w, kick_w if kicked else 0.0))
    return np.array(powers_w[-round(2.0 / CONTROL_PERIOD_S) :])
