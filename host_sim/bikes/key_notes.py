"""What each key of a bike file means, its typical value, and how to measure it.

Units and ranges are in `model`. An empty source means: common practice, no source.
"""

from dataclasses import dataclass

NO_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class KeyNote:
    """One key: a sentence, what is typical, how to find it out, and where the typical value is from."""

    meaning: str
    typical: str
    measure: str
    source: str = NO_SOURCE


_EXAMPLES = "the range of the four example bikes"
_PLATE = "Read it off the motor's plate."
_READ_SENSOR = "Record the turning crank, and run `treadle inspect` on it."
_COAST = "Run a coast-down on a level road: `treadle measure --coast-down`. "
_ONLY_BENCH = "Used on the bench only, not on the board."

NOTES: dict[str, KeyNote] = {
    "title": KeyNote("What this bicycle is, for people.", "a short sentence", "Your choice."),
    "place": KeyNote(
        "Place whose limits apply: a starting point only, check your local code.",
        "the place where it is ridden",
        "An unknown name is refused with the list of known ones.",
        "host_sim/places/places.toml, with a source for each place",
    ),
    "bicycle.own_mass_kg": KeyNote(
        "Mass of the bicycle with motor and battery.",
        "18 to 48",
        "Weigh yourself with and without it.",
        _EXAMPLES,
    ),
    "bicycle.rider_kg": KeyNote("Mass of the rider with clothes.", "55 to 100", "Weigh the rider."),
    "bicycle.load_kg": KeyNote("Usual load.", "0 to 60", "Weigh it.", _EXAMPLES),
    "bicycle.drag_area_m2": KeyNote(
        "Air drag: frontal area times drag coefficient.",
        "0.5 to 0.85, upright",
        _COAST + _ONLY_BENCH,
    ),
    "bicycle.rolling_coefficient": KeyNote(
        "Rolling resistance over weight.",
        "0.005 to 0.01",
        _COAST + _ONLY_BENCH,
    ),
    "bicycle.wheel_circumference_m": KeyNote(
        "Distance of one turn of the wheel that has the wheel sensor.",
        "1.5 to 2.25",
        "Roll three turns with the rider on it, divide: `treadle calibrate` or `treadle measure --pushed`.",
    ),
    "bicycle.wheel_inertia_kg_m2": KeyNote(
        "Moment of inertia of all wheels together.",
        "0.1 to 0.45",
        "Rim and tyre in kg times radius in m squared, for each wheel. " + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "bicycle.chain_efficiency": KeyNote(
        "Share of the rider's power that reaches the wheel.",
        "0.94 to 0.97",
        "A power meter at the crank and one in the hub: the second over the first. " + _ONLY_BENCH,
    ),
    "bicycle.development_low_m": KeyNote(
        "Distance of one turn of the crank in the lowest gear.",
        "1.9 to 3",
        "Chainring teeth over largest sprocket's teeth, times the wheel circumference.",
        _EXAMPLES,
    ),
    "bicycle.development_high_m": KeyNote(
        "The same in the highest gear.",
        "5 to 8.6",
        "Chainring teeth over smallest sprocket's teeth, times the wheel circumference.",
        _EXAMPLES,
    ),
    "bicycle.brake_deceleration_m_per_s2": KeyNote(
        "Deceleration with all brakes fully pulled on a dry road.",
        "3.5 to 5",
        "Brake from a known speed on an empty, level road: speed squared over twice the distance. "
        + _ONLY_BENCH,
    ),
    "rider.riders": KeyNote(
        "How many people pedal; each does what a recorded ride says.", "1, on a tandem 2", "Count them."
    ),
    "rider.strength_nm": KeyNote(
        "Maximum torque at the crank, as a mean over a turn.",
        "60 to 100",
        "Power meter, one hard start in a high gear: power over crank speed in rad/s. " + _ONLY_BENCH,
    ),
    "rider.dead_centre_share": KeyNote(
        "Torque at the dead centre over the mean.",
        "0.2 to 0.35",
        "A power meter that draws torque over the turn. " + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "rider.cadence_ripple": KeyNote(
        "How much the cadence varies within a turn, as a share.",
        "0.04 to 0.08",
        "Record a steady climb: how far pitch times swing twice a turn about their mean. " + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "motor.rated_power_w": KeyNote("Continuous rated power.", "250 to 750", _PLATE),
    "motor.torque_constant_nm_per_a": KeyNote(
        "Torque at the axle per ampere of motor current; also volts per rad/s.",
        "1 to 2",
        "Wheel off the ground, full throttle: battery voltage over wheel speed in rad/s; a few percent too "
        "high.",
        "V = k w of a DC machine, from its equal torque and voltage constants in SI units",
    ),
    "motor.resistance_ohm": KeyNote(
        "Resistance of the winding between two phase wires, leads included.",
        "0.1 to 0.4",
        "Battery off. Send a known current (1 to 5 A from a bench supply) through two phase wires, read mV.",
    ),
    "motor.no_load_current_a": KeyNote(
        "Battery current with the wheel turning freely.",
        "0.5 to 1.2",
        "Wheel off the ground, full throttle: read the battery current.",
    ),
    "motor.current_limit_a": KeyNote(
        "Motor current at the highest command.",
        "1.5 to 2 times the battery current limit",
        "Data sheet of the motor controller; with a standing wheel it is more than the battery current.",
    ),
    "motor.thermal_resistance_k_per_w": KeyNote(
        "Temperature of the winding above the air, per watt of heat.",
        "1 to 1.6",
        "With a temperature sensor: settled rise over heat. " + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "motor.thermal_capacity_j_per_k": KeyNote(
        "Heat that warms the winding by a kelvin.",
        "1100 to 2400",
        "With a temperature sensor: seconds to 63 % of the settled rise, over the resistance above. "
        + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "motor.has_temperature_sensor": KeyNote(
        "Whether an NTC in the motor is wired to the board.", "false", "Look for two thin extra wires."
    ),
    "motor_controller.kind": KeyNote(
        "What the command controls: the motor's voltage (speed) or its current (torque).",
        "speed",
        "Two-minute test on the wiring sheet (`treadle bundle`): a freely turning wheel at a third of the "
        "throttle settles at a third of its speed (speed kind) or runs up to full speed (torque kind).",
    ),
    "motor_controller.start_v": KeyNote(
        "Throttle voltage at which it begins to drive.",
        "1.0 to 1.2",
        "Wheel off the ground: raise the throttle voltage until the wheel moves.",
    ),
    "motor_controller.full_v": KeyNote(
        "Throttle voltage for its full output.",
        "3.4 to 4.0",
        "Raise the throttle voltage until the wheel gets no faster.",
    ),
    "motor_controller.lag_s": KeyNote(
        "Time constant with which the current follows the command.",
        "0.02 to 0.03",
        "`treadle step` shows the step response of a board beside the bench's. " + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "motor_controller.battery_current_limit_a": KeyNote(
        "Maximum current that it draws from the battery.",
        "10 to 25",
        "Printed on it, or the shunt's highest reading uphill.",
    ),
    "battery.full_v": KeyNote(
        "Voltage without load, fully charged.",
        "4.2 for each lithium-ion cell in series",
        "Measure after charging.",
        "end-of-charge voltage of lithium-ion cells, from memory",
    ),
    "battery.empty_v": KeyNote(
        "Voltage at which help has faded to zero.",
        "3.1 to 3.2 for each cell in series",
        "At least 0.1 V per cell above the cut-off of the pack's own protection.",
    ),
    "battery.capacity_ah": KeyNote("Capacity.", "8 to 20", "Read it off the pack."),
    "battery.resistance_ohm": KeyNote(
        "Resistance of pack, plug and wires.",
        "0.1 to 0.2",
        "Volts at rest less those at 10 A, over 10 A; `treadle measure --load-steps` takes a ride's record.",
    ),
    "battery.charge": KeyNote("Charge at the start of a ride, 0 to 1.", "0.9", "Your choice."),
    "pedal_sensor.kind": KeyNote(
        "Number of wires with pulses, and whether the pulse length shows the direction.",
        "two channels",
        _READ_SENSOR,
    ),
    "pedal_sensor.pulses_per_rev": KeyNote(
        "Pulses of one channel in one turn of the crank.",
        "6 to 32",
        "Count the magnets. " + _READ_SENSOR,
        _EXAMPLES,
    ),
    "pedal_sensor.side": KeyNote("Side of the crank with the sensor.", "right", "Look."),
    "pedal_sensor.leads_on_the_right": KeyNote(
        "Channel that changes first when the crank turns forward, if the sensor is on the right.",
        "A",
        _READ_SENSOR,
    ),
    "pedal_sensor.channel": KeyNote(
        "Input of the board for the only wire of a sensor.", "A", "Look at your wiring."
    ),
    "pedal_sensor.duty_percent": KeyNote(
        "High share of a pitch when the crank turns forward.", "50; duty-coded 30 or 70", _READ_SENSOR
    ),
    "pedal_sensor.phase_deg": KeyNote(
        "Phase between the channels; 360 is a pitch.",
        "90",
        _READ_SENSOR,
        "quadrature, by definition a quarter",
    ),
    "pedal_sensor.angle_errors_deg": KeyNote(
        "Distance of each magnet from its place, one number for each; may be left out.",
        "left out",
        _READ_SENSOR,
    ),
    "pedal_sensor.uneven_deg": KeyNote(
        "Largest error of a magnet, if there is no list.", "0.3 to 2", _READ_SENSOR, _EXAMPLES
    ),
    "pedal_sensor.hysteresis_deg": KeyNote(
        "Angle of the crank between switching on and off at one edge.",
        "0.3 to 1",
        "Rock the crank over one edge. " + _ONLY_BENCH,
        _EXAMPLES,
    ),
    "wheel_sensor.pulses_per_rev": KeyNote(
        "Magnets on the wheel; more of them show a low speed sooner.", "1 to 6", "Count them.", _EXAMPLES
    ),
    "throttle.fitted": KeyNote("Whether there is a throttle.", "false", "Look."),
    "throttle.rest_v": KeyNote(
        "Signal at rest, with a supply of 5 V.", "0.8 to 1.0", "Meter, or `treadle calibrate`."
    ),
    "throttle.full_v": KeyNote("Signal when fully open.", "3.5 to 4.2", "Meter, or `treadle calibrate`."),
    "selector.kind": KeyNote(
        "What scales the assist power: nothing, a potentiometer, or a switch with positions.", "none", "Look."
    ),
    "selector.positions": KeyNote(
        "Number of positions of the switch; not for a potentiometer.", "3", "Count them."
    ),
    "selector.shares_percent": KeyNote(
        "Assist share of each position, the lowest voltage first.", "[0, 50, 100]", "Your choice."
    ),
    "selector.low_v": KeyNote("Signal at the lowest share.", "0.5", "Meter, or `treadle calibrate`."),
    "selector.high_v": KeyNote("Signal at the highest share.", "4.5", "Meter, or `treadle calibrate`."),
    "brakes.switches": KeyNote(
        "Which brake levers have a switch that opens when pulled.",
        "all",
        "Look, and try each lever with a meter before each first ride.",
    ),
    "shunt.fitted": KeyNote("Whether battery current is measured.", "true", "Look."),
    "shunt.noise_a": KeyNote(
        "Noise of its reading.", "0.05", "Watch it at rest: `treadle watch`. " + _ONLY_BENCH
    ),
    "shunt.step_a": KeyNote(
        "Smallest step of its reading.",
        "0.01 to 0.05",
        "One step of the converter. " + _ONLY_BENCH,
        "boards/README.md: 8.1 mA with twelve bits and 33 A",
    ),
    "settings": KeyNote(
        "Firmware settings that override those derived from the parts, as name = value.",
        "empty",
        "`treadle tune` computes them; `treadle watch --settings` lists them.",
        "firmware/settings.py, with the range of each",
    ),
}
