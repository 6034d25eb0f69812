"""Values for a new bike file from a few answers: what is known, and what must be guessed.

Every formula gives a starting value, so that the bench can ride at once; measurements at the bicycle replace
the guesses. Sources: physics where a formula says so, else common practice, no source.
"""

from dataclasses import dataclass
from math import pi, sqrt

from host_sim.places.limits import Place
from host_sim.units import KM_PER_H_PER_M_PER_S

# Lithium-ion cells in a row: 3.65 V nominal for each, 4.2 V full, 3.15 V nearly empty (from memory).
CELL_V, CELL_FULL_V, CELL_EMPTY_V = 3.65, 4.2, 3.15
CELL_OHM = 0.011  # With its share of plug and wires, two to four cells side by side.
# 14 cells are 58.8 V full: below the 62.7 V that the boards' dividers read, and below the 60 V direct current
# where extra-low voltage ends (IEC 61140, from memory).
VOLTS_LEAST, VOLTS_MOST = 20.0, 52.0
# A hub motor is wound so that it runs somewhat beyond the speed where help ends.
_NO_LOAD_OVER_CUTOFF = 1.2
_DROP_SHARE = 0.05  # Of the voltage, lost in the winding at the rated battery current.
_LIMIT_OVER_RATED = 1.5
_MOTOR_OVER_BATTERY = 1.7


@dataclass(frozen=True, slots=True)
class Answers:
    """The user's answers. None where a guess is used instead."""

    title: str
    place: str
    volts: float
    watts: float
    sensor: str
    pulses: int
    side: str | None = None
    controller: str | None = None
    wheel_m: float | None = None
    rider_kg: float | None = None
    bike_kg: float | None = None
    throttle: bool | None = None
    selector: str | None = None
    brakes: str | None = None
    shunt: bool | None = None


@dataclass(frozen=True, slots=True)
class Value:
    """A value in the new file, and whether it is a guess."""

    value: float | str | bool | list[int]
    guessed: bool = True


def cells_of(volts: float) -> int:
    """Return how many lithium-ion cells in a row make this nominal voltage."""
    return round(volts / CELL_V)


def values_for(answers: Answers, place: Place) -> dict[str, Value]:
    """Return every key of the new bike file, by its dotted name, in any order."""
    wheel_m = answers.wheel_m or 2.1
    return {
        "title": Value(answers.title, False),
        "place": Value(answers.place, False),
        **_bicycle(answers, wheel_m),
        **_motor(answers, place, wheel_m),
        **_battery(answers),
        **_sensors(answers),
        **_levers(answers),
    }


def _told(said: float | str | bool | None, guess: float | str | bool) -> Value:
    return Value(guess if said is None else said, said is None)


def _bicycle(answers: Answers, wheel_m: float) -> dict[str, Value]:
    return {
        "bicycle.own_mass_kg": _told(answers.bike_kg, 28.0),
        "bicycle.rider_kg": _told(answers.rider_kg, 80.0),
        "bicycle.load_kg": Value(10.0),
        "bicycle.drag_area_m2": Value(0.65),
        "bicycle.rolling_coefficient": Value(0.007),
        "bicycle.wheel_circumference_m": Value(wheel_m, answers.wheel_m is None),
        "bicycle.wheel_inertia_kg_m2": Value(0.25),
        "bicycle.chain_efficiency": Value(0.95),
        "bicycle.development_low_m": Value(round(1.1 * wheel_m, 2)),
        "bicycle.development_high_m": Value(round(2.8 * wheel_m, 2)),
        "bicycle.brake_deceleration_m_per_s2": Value(4.0),
        "rider.riders": Value(1, False),
        "rider.strength_nm": Value(80.0),
        "rider.dead_centre_share": Value(0.27),
        "rider.cadence_ripple": Value(0.05),
    }


def _motor(answers: Answers, place: Place, wheel_m: float) -> dict[str, Value]:
    """Guess the motor from its voltage, its power and the speed at which help ends here."""
    volts, watts = answers.volts, answers.watts
    no_load_rad_per_s = (
        _NO_LOAD_OVER_CUTOFF * place.cutoff_km_per_h / KM_PER_H_PER_M_PER_S / wheel_m * 2.0 * pi
    )
    limit_a = round(_LIMIT_OVER_RATED * watts / volts)
    return {
        "motor.rated_power_w": Value(watts, False),
        # V = k w: at no load the back-EMF is the battery voltage.
        "motor.torque_constant_nm_per_a": Value(round(volts / no_load_rad_per_s, 2)),
        # R I = share of V, with I = P / V.
        "motor.resistance_ohm": Value(round(_DROP_SHARE * volts**2 / watts, 2)),
        "motor.no_load_current_a": Value(0.8),
        "motor.current_limit_a": Value(round(_MOTOR_OVER_BATTERY * limit_a)),
        "motor.thermal_resistance_k_per_w": Value(round(1.4 * sqrt(250.0 / watts), 2)),
        "motor.thermal_capacity_j_per_k": Value(round(1350.0 * (watts / 250.0) ** 0.8, -1)),
        "motor.has_temperature_sensor": Value(False),
        "motor_controller.kind": _told(answers.controller, "speed"),
        "motor_controller.start_v": Value(1.1),
        "motor_controller.full_v": Value(3.6),
        "motor_controller.lag_s": Value(0.025),
        "motor_controller.battery_current_limit_a": Value(limit_a),
    }


def _battery(answers: Answers) -> dict[str, Value]:
    cells = cells_of(answers.volts)
    return {
        "battery.full_v": Value(round(CELL_FULL_V * cells, 1)),
        "battery.empty_v": Value(round(CELL_EMPTY_V * cells, 1)),
        "battery.capacity_ah": Value(13.0),
        "battery.resistance_ohm": Value(round(CELL_OHM * cells, 2)),
        "battery.charge": Value(0.9, False),
    }


def _sensors(answers: Answers) -> dict[str, Value]:
    values = {
        "pedal_sensor.kind": Value(answers.sensor, False),
        "pedal_sensor.pulses_per_rev": Value(answers.pulses, False),
        "pedal_sensor.side": _told(answers.side, "right"),
        "pedal_sensor.hysteresis_deg": Value(0.5),
        "pedal_sensor.duty_percent": Value(70.0 if answers.sensor == "duty-coded" else 50.0),
        "pedal_sensor.uneven_deg": Value(0.5),
        "wheel_sensor.pulses_per_rev": Value(1),
    }
    if answers.sensor == "two channels":
        values["pedal_sensor.leads_on_the_right"] = Value("A")
        values["pedal_sensor.phase_deg"] = Value(90.0)
    else:
        values["pedal_sensor.channel"] = Value("A")
    return values


def _levers(answers: Answers) -> dict[str, Value]:
    selector = answers.selector or "none"
    values = {
        "throttle.fitted": _told(answers.throttle, False),
        "selector.kind": Value("positions" if selector.isdigit() else selector, answers.selector is None),
        # The most careful guess: with "all" some places allow a longer way to the end of help.
        "brakes.switches": _told(answers.brakes, "some"),
        "shunt.fitted": _told(answers.shunt, True),
        "shunt.noise_a": Value(0.05),
        "shunt.step_a": Value(0.03),
    }
    if answers.throttle:
        values |= {"throttle.rest_v": Value(0.85), "throttle.full_v": Value(3.6)}
    if selector.isdigit():
        count = int(selector)
        shares = [round(100 * place / (count - 1)) for place in range(count)]
        values |= {"selector.positions": Value(count, False), "selector.shares_percent": Value(shares)}
    if selector != "none":
        values |= {"selector.low_v": Value(0.5), "selector.high_v": Value(4.5)}
    return values
