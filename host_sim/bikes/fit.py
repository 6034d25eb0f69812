"""Checks keys of a bike file against each other; each refusal names key, value and allowed range."""

from itertools import pairwise

from host_sim.bikes.model import Bike, PedalSensor, Selector
from host_sim.places.limits import Place

# Between two edges of a ring there must be this much of a pitch, or their order is random.
EDGE_GAP_LEAST = 0.04
# On a single channel the firmware takes a pulse of under an eighth of a pitch for noise. Its pulses must be
# longer by a quarter, so that a changing cadence doesn't make one look like noise (measured; see
# tests/ride/test_rings_of_one_channel.py).
PULSE_LEAST = 0.16
# Turns of the wheel in one of the crank; no chain drive is built beyond (common practice, no source).
GEAR_LEAST, GEAR_MOST = 0.5, 7.0


def check_fit(bike: Bike, place: Place) -> None:
    """Raise ValueError for the first pair of keys that contradict each other."""
    _check_bicycle(bike)
    _check_drive(bike)
    _check_sensor(bike.pedal_sensor)
    _check_levers(bike)
    _check_place(bike, place)


def refuse(key: str, value: float | str, allowed: str) -> ValueError:
    """Return the refusal of a key's value in the common form."""
    shown = value if isinstance(value, str) else f"{value:g}"
    return ValueError(f"{key} is {shown}, allowed is {allowed}")


def edge_gaps(sensor: PedalSensor) -> list[float]:
    """Return the gaps between neighbouring edges of a perfect ring, as shares of a pitch."""
    duty = sensor.duty_percent / 100.0
    edges = [0.0, duty]
    if sensor.kind == "two channels":
        phase = sensor.phase_deg / 360.0
        edges += [phase, (phase + duty) % 1.0]
    edges.sort()
    return [after - before for before, after in pairwise([*edges, edges[0] + 1.0])]


def neighbour_error(sensor: PedalSensor) -> float:
    """Return the largest difference between the errors of neighbouring magnets, as a share of a pitch."""
    errors = sensor.magnet_errors_deg()
    around = pairwise([*errors, errors[0]]) if errors else []
    return max((abs(two - one) for one, two in around), default=0.0) * sensor.pulses_per_rev / 360.0


def _check_bicycle(bike: Bike) -> None:
    bicycle = bike.bicycle
    low_m, high_m = bicycle.development_low_m, bicycle.development_high_m
    if high_m < low_m:
        raise refuse("bicycle.development_high_m", high_m, f"{low_m:g} (development_low_m) or more (m)")
    around_m = bicycle.wheel_circumference_m
    for key, development_m in (("development_low_m", low_m), ("development_high_m", high_m)):
        if not GEAR_LEAST <= development_m / around_m <= GEAR_MOST:
            allowed = f"{GEAR_LEAST * around_m:.3g} to {GEAR_MOST * around_m:.3g} (m) with this wheel"
            raise refuse(f"bicycle.{key}", development_m, allowed)


def _check_drive(bike: Bike) -> None:
    motor, controller, battery = bike.motor, bike.motor_controller, bike.battery
    if controller.full_v < controller.start_v + 0.5:
        allowed = f"{controller.start_v + 0.5:g} (start_v and half a volt) or more (V)"
        raise refuse("motor_controller.full_v", controller.full_v, allowed)
    least_a = min(motor.current_limit_a, controller.battery_current_limit_a)
    if motor.no_load_current_a > 0.5 * least_a:
        allowed = f"up to half of the lower limit, {least_a / 2:g} (A)"
        raise refuse("motor.no_load_current_a", motor.no_load_current_a, allowed)
    if battery.full_v < battery.empty_v + 1.0:
        allowed = f"{battery.empty_v + 1.0:g} (empty_v and a volt) or more (V)"
        raise refuse("battery.full_v", battery.full_v, allowed)
    # Once half the voltage is lost inside the battery, power falls with more current: P = E^2 / 4R.
    most_a = battery.empty_v / (2.0 * battery.resistance_ohm)
    if controller.battery_current_limit_a > most_a:
        allowed = f"up to {most_a:.3g} (A), half of the battery's short-circuit current"
        raise refuse("motor_controller.battery_current_limit_a", controller.battery_current_limit_a, allowed)


def _check_sensor(sensor: PedalSensor) -> None:
    key = "pedal_sensor"
    if sensor.kind != "two channels" and not 20.0 <= sensor.duty_percent <= 80.0:
        allowed = f'20 to 80 (percent) on a "{sensor.kind}" sensor: shorter pulses look like noise'
        raise refuse(f"{key}.duty_percent", sensor.duty_percent, allowed)
    if sensor.kind == "two channels" and sensor.channel == "B":
        raise refuse(f"{key}.channel", "B", "A with two channels: both wires are used")
    if sensor.kind == "duty-coded" and 45.0 < sensor.duty_percent < 55.0:
        allowed = "20 to 45 or 55 to 80 (percent): closer to a half it shows no direction"
        raise refuse(f"{key}.duty_percent", sensor.duty_percent, allowed)
    if sensor.angle_errors_deg and sensor.uneven_deg:
        raise refuse(f"{key}.uneven_deg", sensor.uneven_deg, "0 (degrees) beside angle_errors_deg")
    errors = sensor.angle_errors_deg
    if errors and len(errors) != sensor.pulses_per_rev:
        allowed = f"one for each of {sensor.pulses_per_rev}"
        raise refuse(f"{key}.angle_errors_deg", f"a list of {len(errors)}", allowed)
    gap = min(edge_gaps(sensor))
    if gap < EDGE_GAP_LEAST:
        where = f"{sensor.phase_deg:g} with duty_percent {sensor.duty_percent:g}"
        allowed = f"what leaves {EDGE_GAP_LEAST:g} of a pitch between edges, not {gap:.2g}"
        raise ValueError(f"{key}.phase_deg is {where}, allowed is {allowed}")
    error = neighbour_error(sensor)
    most = gap - EDGE_GAP_LEAST / 2.0
    if sensor.kind != "two channels":
        most = min(most, _error_for_pulses(sensor.duty_percent / 100.0))
    if error > most:
        name = "angle_errors_deg" if errors else "uneven_deg"
        most_deg = most * 360.0 / sensor.pulses_per_rev
        found = f"{error * 360.0 / sensor.pulses_per_rev:.3g}"
        allowed = f"up to {most_deg:.3g} (degrees)"
        raise ValueError(f"{key}.{name} moves neighbouring magnets {found} apart, allowed is {allowed}")
    half_pitch_deg = 180.0 / sensor.pulses_per_rev
    if sensor.hysteresis_deg > half_pitch_deg:
        allowed = f"up to half a pitch, {half_pitch_deg:.3g} (degrees)"
        raise refuse(f"{key}.hysteresis_deg", sensor.hysteresis_deg, allowed)


def _error_for_pulses(duty: float) -> float:
    """Return how much the errors of neighbouring magnets may differ so that no pulse is under PULSE_LEAST.

    Both as shares of a pitch. A pitch that is longer by the error e has the high share duty / (1 + e), one
    that is shorter the low share (1 - duty - e) / (1 - e).
    """
    return min(duty / PULSE_LEAST - 1.0, (1.0 - duty - PULSE_LEAST) / (1.0 - PULSE_LEAST))


def _check_levers(bike: Bike) -> None:
    throttle, selector = bike.throttle, bike.selector
    if throttle.full_v < throttle.rest_v + 0.5:
        allowed = f"{throttle.rest_v + 0.5:g} (rest_v and half a volt) or more (V)"
        raise refuse("throttle.full_v", throttle.full_v, allowed)
    if selector.high_v < selector.low_v + 0.5:
        allowed = f"{selector.low_v + 0.5:g} (low_v and half a volt) or more (V)"
        raise refuse("selector.high_v", selector.high_v, allowed)
    _check_selector(selector)


def _check_selector(selector: Selector) -> None:
    shares = selector.shares_percent
    given = f"a list of {len(shares)}"
    if selector.kind != "positions":
        if selector.positions is not None:
            raise refuse("selector.positions", selector.positions, 'a key of kind "positions" only')
        if shares:
            raise refuse("selector.shares_percent", given, 'a key of kind "positions" only')
        return
    if selector.positions is None:
        raise ValueError("selector.positions is missing, allowed is a whole number, 2 to 6")
    if len(shares) != selector.positions:
        allowed = f"one share for each of {selector.positions} positions"
        raise refuse("selector.shares_percent", given, allowed)


def _check_place(bike: Bike, place: Place) -> None:
    rated_w = bike.motor.rated_power_w
    if rated_w > place.power_limit_w or (place.power_strict and rated_w == place.power_limit_w):
        allowed = f"{'below' if place.power_strict else 'up to'} {place.power_limit_w:g} (W) in {bike.place}"
        raise refuse("motor.rated_power_w", rated_w, allowed)
    if place.brake_must_release and bike.brakes.switches == "none":
        allowed = f'"all" or "some" in {bike.place}: a brake must end assistance'
        raise refuse("brakes.switches", '"none"', allowed)
