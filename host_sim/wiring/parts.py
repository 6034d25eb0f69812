"""Values and ratings of the parts for one bike, each from first principles.

Ohm's law for dividers and pull-ups, P = U^2 / R and P = I^2 R for heat, tau = R C for filters. Margins and
standard rows are named where they are used; where there is no source, it is common practice, no source.
"""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.wiring.board_pins import PIN_FULL_MV, BoardPins

PIN_FULL_V = PIN_FULL_MV / 1000.0
LEVER_BOTTOM_OHM = 15_000.0
BATTERY_BOTTOM_OHM = 10_000.0
PULL_UP_OHM = 4_700.0
SERIES_OHM = 1_000.0
FILTER_F = 100e-9
SHUNT_GAIN = 50.0
COMMAND_FILTER_OHM, COMMAND_FILTER_F = 10_000.0, 220e-9
AMPLIFIER_FEEDBACK_OHM = 10_000.0
# A fuse carries its rating in still air; it is chosen a quarter above what flows for long.
FUSE_OVER_LIMIT = 1.25
FUSES_A = (5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125)  # Usual ratings.
WIRES_MM2 = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0)  # Rows of IEC 60228, from memory.
AMPERES_PER_MM2 = 8.0  # For short leads in free air.
HEAT_MARGIN = 2.0  # A resistor is rated for twice its heat.
SHUNT_WATTS = (0.5, 1, 2, 3, 5, 7, 10, 15, 20)


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the parts list; `worked_out` is the formula with this bike's numbers."""

    what: str
    count: int
    value: str
    rating: str
    worked_out: str


def divider_top_ohm(full_v: float, bottom_ohm: float) -> float:
    """Return the upper resistor for a full scale of `full_v`: U2 / U1 = R2 / (R1 + R2)."""
    return bottom_ohm * (full_v / PIN_FULL_V - 1.0)


def _parallel_ohm(one_ohm: float, other_ohm: float) -> float:
    return one_ohm * other_ohm / (one_ohm + other_ohm)


def pin_v(volts: float, full_v: float) -> float:
    """Return the voltage at the pin behind a divider that makes `full_v` full scale."""
    return volts * PIN_FULL_V / full_v


def shunt_ohm(full_a: float) -> float:
    """Return the shunt whose amplified voltage is full scale at `full_a`: R = U / (gain I)."""
    return PIN_FULL_V / (SHUNT_GAIN * full_a)


def fuse_a(limit_a: float) -> float | None:
    """Return the next usual fuse above a quarter more than the limit; None beyond the largest."""
    return next((fuse for fuse in FUSES_A if fuse >= FUSE_OVER_LIMIT * limit_a), None)


def wire_mm2(amperes: float) -> float | None:
    """Return the next usual cross-section that carries the fuse's current."""
    return next((wire for wire in WIRES_MM2 if wire * AMPERES_PER_MM2 >= amperes), None)


def ohms(value: float) -> str:
    """Return a resistance in words: kΩ, Ω or mΩ, rounded."""
    if value >= 1000.0:
        return f"{value / 1000.0:.4g} kΩ"
    return f"{value:.3g} Ω" if value >= 1.0 else f"{value * 1000.0:.3g} mΩ"


def problems(bike: Bike, pins: BoardPins) -> list[str]:
    """Return a sentence for each voltage or current of this bike that the board's parts can't handle."""
    found = []
    seen_v, seen_a = pins.battery_full_v * pins.seen_share, pins.current_full_a * pins.seen_share
    if bike.battery.full_v > 0.97 * seen_v:
        found.append(
            f"The full battery ({bike.battery.full_v:g} V) is too near the {seen_v:.1f} V that this board "
            "can read: another divider and another BATTERY_FULL_MV in pins.py are needed."
        )
    limit_a = bike.motor_controller.battery_current_limit_a
    if bike.shunt.fitted and limit_a > 0.95 * seen_a:
        found.append(
            f"The battery current limit ({limit_a:g} A) is too near the {seen_a:g} A that this board can "
            "read: another shunt and another CURRENT_FULL_MA in pins.py are needed."
        )
    if bike.motor_controller.full_v > pins.command_full_v:
        found.append(
            f"The motor controller wants up to {bike.motor_controller.full_v:g} V, this board gives "
            f"{pins.command_full_v:g} V."
        )
    return found


def parts_for(bike: Bike, pins: BoardPins) -> list[Part]:
    """Return the parts list of a bike on a board."""
    sensor_wires = (2 if bike.pedal_sensor.kind == "two channels" else 1) + 1
    return [
        *_battery(bike, pins),
        *(_shunt(bike, pins) if bike.shunt.fitted else []),
        *_levers(bike, pins),
        *_sensors(sensor_wires, bike),
        *_command(bike, pins),
        *(_heat() if bike.motor.has_temperature_sensor else []),
        *(_multiplexer() if pins.multiplexed else []),
    ]


def _battery(bike: Bike, pins: BoardPins) -> list[Part]:
    full_v, limit_a = bike.battery.full_v, bike.motor_controller.battery_current_limit_a
    top_ohm = divider_top_ohm(pins.battery_full_v, BATTERY_BOTTOM_OHM)
    across_v = full_v * top_ohm / (top_ohm + BATTERY_BOTTOM_OHM)
    heat_mw = across_v**2 / top_ohm * 1000.0
    fuse = fuse_a(limit_a)
    wire = None if fuse is None else wire_mm2(fuse)
    fuse_sum = f"{FUSE_OVER_LIMIT:g} * {limit_a:g} A = {FUSE_OVER_LIMIT * limit_a:.3g} A, next usual rating"
    return [
        Part(
            "Fuse at the pack, in its positive wire",
            1,
            "none that is usual" if fuse is None else f"{fuse:g} A",
            f"direct current, {full_v:.0f} V or more; a car's flat fuse is made for 32 V only (from memory)",
            fuse_sum,
        ),
        Part(
            "Battery wires",
            2,
            "ask a workshop" if wire is None else f"{wire:g} mm² copper",
            "short, stranded, for the fuse's current",
            ""
            if fuse is None
            else f"{fuse:g} A / {AMPERES_PER_MM2:g} A/mm² = {fuse / AMPERES_PER_MM2:.2g} mm²",
        ),
        Part(
            "Switch that cuts the battery by itself",
            1,
            "within the rider's reach",
            f"direct current, {full_v:.0f} V, {'?' if fuse is None else f'{fuse:g}'} A or more",
            "it must break the current without any electronics",
        ),
        Part(
            "Battery divider, upper resistor, close to the pack",
            1,
            f"{ohms(top_ohm)}, 1 %",
            f"{2 * across_v:.0f} V working voltage (twice), 0.25 W",
            f"10 kΩ * ({pins.battery_full_v:g} V / 3.3 V - 1); {across_v:.1f} V on it, {heat_mw:.0f} mW",
        ),
        Part(
            "Battery divider, lower resistor, at the pin",
            1,
            f"{ohms(BATTERY_BOTTOM_OHM)}, 1 %",
            "0.25 W",
            f"{full_v:g} V become {pin_v(full_v, pins.battery_full_v):.2f} V at the pin",
        ),
        Part(
            "Filter of the battery divider",
            1,
            "100 nF",
            "16 V or more, ceramic",
            f"τ = ({ohms(top_ohm)} ∥ 10 kΩ) * 100 nF = "
            f"{_parallel_ohm(top_ohm, BATTERY_BOTTOM_OHM) * FILTER_F * 1e3:.2f} ms",
        ),
    ]


def _shunt(bike: Bike, pins: BoardPins) -> list[Part]:
    value_ohm = shunt_ohm(pins.current_full_a)
    limit_a = bike.motor_controller.battery_current_limit_a
    heat_w = limit_a**2 * value_ohm
    # Above the limit the controller may go for a moment: rated for the converter's full scale, too.
    wanted_w = max(HEAT_MARGIN * heat_w, pins.current_full_a**2 * value_ohm)
    rated_w = next((watts for watts in SHUNT_WATTS if watts >= wanted_w), SHUNT_WATTS[-1])
    return [
        Part(
            "Shunt in the positive battery wire",
            1,
            f"{ohms(value_ohm)}, 1 %, four-terminal",
            f"{rated_w:g} W or more",
            f"3.3 V / (50 * {pins.current_full_a:g} A); at {limit_a:g} A: {heat_w:.2f} W, "
            f"{limit_a * value_ohm * 1e3:.0f} mV; at full scale {pins.current_full_a**2 * value_ohm:.2f} W",
        ),
        Part(
            "Current-sense amplifier at the shunt",
            1,
            "gain 50, supplied with 3.3 V",
            f"common-mode voltage {bike.battery.full_v * 1.2:.0f} V or more",
            f"full battery {bike.battery.full_v:g} V and a fifth; {50 * value_ohm * 1e3:.0f} mV at the pin "
            "an ampere",
        ),
        Part("Filter behind it", 1, "10 kΩ and 100 nF", "16 V or more, ceramic", "τ = 10 kΩ * 100 nF = 1 ms"),
    ]


def _levers(bike: Bike, pins: BoardPins) -> list[Part]:
    fitted = {"throttle": bike.throttle.fitted, "selector": bike.selector.kind != "none"}
    names = [name for name, here in fitted.items() if here]
    if not names:
        return []
    top_ohm = divider_top_ohm(pins.lever_full_v, LEVER_BOTTOM_OHM)
    told = " and ".join(names)
    parallel_ohm = _parallel_ohm(top_ohm, LEVER_BOTTOM_OHM)
    return [
        Part(
            f"Series resistor: {told}",
            len(names),
            f"{ohms(top_ohm)}, 1 %",
            "0.25 W",
            f"15 kΩ * ({pins.lever_full_v:g} V / 3.3 V - 1); 5 V become "
            f"{pin_v(5.0, pins.lever_full_v):.2f} V at the pin",
        ),
        Part(
            f"Resistor to ground at the pin: {told}",
            len(names),
            f"{ohms(LEVER_BOTTOM_OHM)}, 1 %",
            "0.25 W",
            "pulls a broken wire down to 0 V, which the firmware calls an open wire",
        ),
        Part(
            f"Filter: {told}",
            len(names),
            "100 nF",
            "16 V or more, ceramic",
            f"τ = {ohms(parallel_ohm)} * 100 nF = {parallel_ohm * FILTER_F * 1e3:.2f} ms",
        ),
    ]


def _sensors(wires: int, bike: Bike) -> list[Part]:
    least_us = 60e6 / (bike.pedal_sensor.edges_per_turn * 250.0)
    brakes = 0 if bike.brakes.switches == "none" else 1
    return [
        Part(
            "Pull-up to 3.3 V: pedal sensor, wheel sensor" + (", brake switches" if brakes else ""),
            wires + brakes,
            ohms(PULL_UP_OHM),
            "0.25 W",
            f"3.3 V / 4.7 kΩ = {3.3 / 4.7:.2f} mA; an edge rises in 2.2 * 4.7 kΩ * 1 nF of cable = "
            f"{2.2 * 4.7:.0f} µs; edges come {least_us:.0f} µs apart or more (250 rpm)",
        ),
        Part(
            "Series resistor at each of these sensor pins",
            wires,
            ohms(SERIES_OHM),
            "0.25 W",
            f"limits what a wire at 5 V can push into a pin to {(5.0 - 3.6) / SERIES_OHM * 1e3:.1f} mA",
        ),
    ]


def _command(bike: Bike, pins: BoardPins) -> list[Part]:
    gain = pins.command_full_v / PIN_FULL_V
    ground_ohm = AMPLIFIER_FEEDBACK_OHM / (gain - 1.0)
    tau_ms = COMMAND_FILTER_OHM * COMMAND_FILTER_F * 1e3
    filter_parts = [
        Part(
            "Filter of the command: resistor and capacitor behind the pin",
            1,
            "10 kΩ and 220 nF",
            "16 V or more",
            f"τ = 10 kΩ * 220 nF = {tau_ms:.1f} ms smooths the pulses",
        ),
        Part(
            "Resistor from the command's pin to ground",
            1,
            "10 kΩ",
            "0.25 W",
            "holds 0 V while the pin floats",
        ),
    ]
    return [
        *(filter_parts if pins.pulsed_command else []),
        Part(
            "Amplifier of the command",
            1,
            f"gain {gain:g}: {ohms(AMPLIFIER_FEEDBACK_OHM)} feedback, {ohms(ground_ohm)} to ground, 1 %",
            "rail to rail, supplied with 5 V",
            f"1 + 10 / {ground_ohm / 1e3:g}; reaches {pins.command_full_v:g} V, this motor controller needs "
            f"{bike.motor_controller.full_v:g} V",
        ),
        Part(
            "Resistor from the amplifier's output to ground",
            1,
            "10 kΩ",
            "0.25 W",
            "holds the throttle input at 0 V without supply",
        ),
        Part(
            "Transistors T1 and T2 of the cut-off",
            2,
            "small N-channel, gate threshold below 2 V",
            "30 V, 0.2 A or more",
            "T1 grounds the controller's cut-off input; T2 takes T1's gate down while driving",
        ),
        Part(
            "Pull-up of T1's gate to the controller's 5 V; pull-down of drive enable",
            2,
            "10 kΩ",
            "0.25 W",
            f"5 V / 10 kΩ = {5.0 / 10.0:.1f} mA, 3.3 V / 10 kΩ = {3.3 / 10.0:.2f} mA",
        ),
        Part(
            "Converter from the battery to 5 V for board and sensors",
            1,
            "5 V, 0.5 A",
            f"input {bike.battery.full_v * 1.2:.0f} V or more",
            f"full battery {bike.battery.full_v:g} V and a fifth for what the motor sends back",
        ),
    ]


def _heat() -> list[Part]:
    return [
        Part(
            "For the motor's NTC: to 3.3 V; beside the NTC; filter",
            1,
            "10 kΩ; 100 kΩ; 100 nF",
            "0.25 W",
            f"an open wire then reads {3.3 * 100 / 110:.2f} V, a cold motor less",
        )
    ]


def _multiplexer() -> list[Part]:
    return [
        Part(
            "Analogue multiplexer, eight to one (74HC4051)",
            1,
            "supplied with 3.3 V",
            "",
            "three converters, five voltages",
        )
    ]
