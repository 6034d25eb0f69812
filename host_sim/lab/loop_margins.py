"""Lesson 4's frequency response: the open loop, its margins, and how the sampling delays it."""

from cmath import exp, phase
from dataclasses import dataclass
from math import degrees, pi, sqrt
from math import exp as real_exp

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.bikes.model import Bike
from host_sim.units import KM_PER_H_PER_M_PER_S

LAG_S = 0.1  # A slow power stage, so that each part can be seen.
SPEED_KM_PER_H = 18.0
_SMOOTHED_SHARE = 0.25  # Of each new current reading, as in firmware/sense/supply.py.
_LOWEST_RAD_PER_S, _FREQUENCIES = 0.05, 400


@dataclass(frozen=True, slots=True)
class Margins:
    """What the frequency response predicts; None where the curve crosses nothing.

    `curve` is the open loop at the ascending `frequencies_rad_per_s`. The gain margin `gain_times` is the
    factor by which the gain may grow before the loop surges at `surge_hz` (phase crossover); the phase margin
    `phase_deg` is what is left to -180 degrees at `crossover_hz`, where the gain is 1.
    """

    frequencies_rad_per_s: list[float]
    curve: list[complex]
    gain_times: float | None
    surge_hz: float | None
    phase_deg: float | None
    crossover_hz: float | None


def margins_of(bike: Bike, gain_uv_per_w: int, integral_ms: int) -> Margins:
    """Return the margins of the sampled loop at full power on the roller, while nothing limits it."""
    nyquist_rad_per_s = pi / CONTROL_PERIOD_S
    ratio = (nyquist_rad_per_s / _LOWEST_RAD_PER_S) ** (1.0 / _FREQUENCIES)
    frequencies = [_LOWEST_RAD_PER_S * ratio**step for step in range(_FREQUENCIES)]
    plant_w_per_v = watts_per_volt(bike)
    curve = [_open_loop(at, plant_w_per_v, gain_uv_per_w * 1e-6, integral_ms * 1e-3) for at in frequencies]
    gain_times = surge_hz = phase_deg = crossover_hz = None
    for at, before, now in zip(frequencies[1:], curve, curve[1:], strict=False):
        if surge_hz is None and before.imag < 0.0 <= now.imag and now.real < 0.0:
            surge_hz, gain_times = at / (2.0 * pi), 1.0 / abs(now)
        if phase_deg is None and abs(before) > 1.0 >= abs(now):
            phase_deg, crossover_hz = 180.0 + degrees(phase(now)), at / (2.0 * pi)
    if phase_deg is not None and phase_deg > 180.0:
        phase_deg -= 360.0  # Beyond -180 degrees the angle wraps to positive values.
    return Margins(frequencies, curve, gain_times, surge_hz, phase_deg, crossover_hz)


def watts_per_volt(bike: Bike) -> float:
    """Return the change of full power per volt of command, W/V: d(E I + R I^2)/dI times amperes per volt."""
    motor, controller = bike.motor, bike.motor_controller
    wheel_rad_per_s = SPEED_KM_PER_H / KM_PER_H_PER_M_PER_S / bike.bicycle.wheel_circumference_m * 2.0 * pi
    back_v = motor.torque_constant_nm_per_a * wheel_rad_per_s
    root_v = sqrt(back_v**2 + 4.0 * motor.resistance_ohm * bike.firmware_settings.assist_power_w)
    return root_v * motor.current_limit_a / (controller.full_v - controller.start_v)


def _open_loop(rad_per_s: float, plant_w_per_v: float, gain_v_per_w: float, integral_s: float) -> complex:
    """Return the open loop: PI, a period of holding and computing, the power stage's lag, the smoothing."""
    z = exp(1j * rad_per_s * CONTROL_PERIOD_S)
    kept = real_exp(-CONTROL_PERIOD_S / LAG_S)
    controller = gain_v_per_w * (z - 1.0 + CONTROL_PERIOD_S / integral_s) / (z - 1.0)
    stage = plant_w_per_v * (1.0 - kept) / (z - kept) / z
    smoothing = _SMOOTHED_SHARE * z / (z - (1.0 - _SMOOTHED_SHARE))
    return controller * stage * smoothing
