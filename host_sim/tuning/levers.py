"""Computes selector shares, throttle range and fold-back points."""

from math import ceil

from scipy.optimize import brentq

from host_sim.bench.assemble import bicycle_of
from host_sim.bikes.model import Bike
from host_sim.tuning.operating import LEGS_W, motor_shaft_w
from host_sim.units import KM_PER_H_PER_M_PER_S

FELT_GRADE = 0.02  # Shares are felt most on a gentle slope; on a steep one the motor is at its limit anyway.
SHARE_STEP_PERCENT = 5
FELT_LEAST_KM_PER_H = 0.5
# Margin at both ends of the throttle: a share of its travel, within limits (common practice, no source).
PLAY_SHARE, PLAY_LEAST_MV, PLAY_MOST_MV = 0.05, 80, 150
# The battery's fold-back is a loop of its own: less power, less sag, more voltage. Its lag is the
# smoothing of the voltage (firmware/sense/supply.py: 32 periods); the power loop's response counts as its
# dead time. A loop gain of half the lag over the dead time leaves a gain margin of about 3, as the tight
# SIMC setting does.
VOLTAGE_LAG_S = 0.16
POWER_ANSWER_S = 0.16
SAG_MARGIN_V = 0.15
HEAT_FADE_K, HEAT_FADE_S = 30.0, 30.0  # The fade is at least this wide, and this long at full current.
HEAT_FADE_FROM_DECICELSIUS = 600  # A motor reaches this on any climb in summer.


def steady_speed_m_per_s(bike: Bike, motor_w: float, grade: float) -> float:
    """Return the speed that legs of LEGS_W and `motor_w` at the rim keep on `grade`, m/s."""
    bicycle = bicycle_of(bike)
    power_w = LEGS_W * bike.bicycle.chain_efficiency + motor_w

    def missing_w(speed_m_per_s: float) -> float:
        return bicycle.road_load_n(speed_m_per_s, grade, 0.0) * speed_m_per_s - power_w

    return float(brentq(missing_w, 0.01, 40.0))


def felt_speed_km_per_h(bike: Bike, share: float) -> float:
    """Return the speed on the felt grade at a share (0 to 1) of the assist power."""
    drawn_w = bike.firmware_settings.assist_power_w * share
    speed_m_per_s = steady_speed_m_per_s(bike, 0.0, FELT_GRADE)
    for _ in range(30):  # The motor's efficiency depends on the speed, so one iteration is not enough.
        speed_m_per_s = steady_speed_m_per_s(bike, motor_shaft_w(bike, drawn_w, speed_m_per_s), FELT_GRADE)
    return speed_m_per_s * KM_PER_H_PER_M_PER_S


def selector_shares(bike: Bike) -> list[float]:
    """Return shares in percent with which each position adds the same speed on the felt grade.

    Empty for a selector without positions, or where the motor adds almost no speed. The first position stays
    without help if the bike file has none there; the last gives full help.
    """
    selector = bike.selector
    if selector.kind != "positions" or not selector.positions:
        return []
    first = 0.0 if selector.shares_percent[0] == 0.0 else 1.0 / selector.positions
    low, high = felt_speed_km_per_h(bike, first), felt_speed_km_per_h(bike, 1.0)
    if high - low < FELT_LEAST_KM_PER_H:
        return []
    shares = []
    for number in range(selector.positions):
        wanted = low + (high - low) * number / (selector.positions - 1)
        steps = round(100.0 * _share_for(bike, wanted, first) / SHARE_STEP_PERCENT)
        shares.append(float(min(max(steps * SHARE_STEP_PERCENT, 0), 100)))
    return shares


def _share_for(bike: Bike, speed_km_per_h: float, first: float) -> float:
    """Return the share from `first` to 1 that gives a speed on the felt grade."""
    low, high = first, 1.0
    for _ in range(20):
        middle = 0.5 * (low + high)
        if felt_speed_km_per_h(bike, middle) < speed_km_per_h:
            low = middle
        else:
            high = middle
    # The ends are exact; bisection leaves a rounding error.
    return first if high < first + 1e-4 else 1.0 if low > 1.0 - 1e-4 else 0.5 * (low + high)


def throttle_ends_mv(bike: Bike) -> tuple[int, int]:
    """Return rest and full voltage of the throttle for the firmware, with a margin at both ends."""
    rest_mv, full_mv = round(bike.throttle.rest_v * 1000.0), round(bike.throttle.full_v * 1000.0)
    play_mv = round(min(max(PLAY_SHARE * (full_mv - rest_mv), PLAY_LEAST_MV), PLAY_MOST_MV))
    return rest_mv + play_mv, full_mv - play_mv


def battery_loop_gain(bike: Bike, foldback_mv: int) -> float:
    """Return the gain of the fold-back's own loop: watts allowed per volt, times volts of sag per watt."""
    settings, battery = bike.firmware_settings, bike.battery
    span_v = (foldback_mv - settings.battery_empty_mv) / 1000.0
    return settings.power_limit_w / span_v * battery.resistance_ohm / battery.empty_v


def battery_foldback_mv(bike: Bike) -> int:
    """Return where power begins to fade, mV: late enough to use the pack, early enough not to oscillate."""
    settings, battery = bike.firmware_settings, bike.battery
    watts_sag_v = settings.power_limit_w * battery.resistance_ohm / battery.empty_v
    most_gain = 0.5 * VOLTAGE_LAG_S / POWER_ANSWER_S
    span_v = max(watts_sag_v / most_gain, watts_sag_v + SAG_MARGIN_V)
    half_v = 0.5 * (battery.full_v - battery.empty_v)
    span_v = min(span_v, half_v)  # With such a weak pack, power would fade all the time.
    return settings.battery_empty_mv + ceil(span_v * 1000.0 / 50.0) * 50


def heating_k_per_s(bike: Bike) -> float:
    """Return how fast the winding warms up at the motor's current limit, without cooling."""
    motor = bike.motor
    return motor.current_limit_a**2 * motor.resistance_ohm / motor.thermal_capacity_j_per_k


def heat_foldback_decicelsius(bike: Bike) -> int:
    """Return where power begins to fade with heat: 30 K before the limit, earlier if it warms up quickly."""
    span_k = max(HEAT_FADE_K, heating_k_per_s(bike) * HEAT_FADE_S)
    limit_decicelsius = bike.firmware_settings.heat_limit_decicelsius
    return max(limit_decicelsius - ceil(span_k) * 10, HEAT_FADE_FROM_DECICELSIUS)
