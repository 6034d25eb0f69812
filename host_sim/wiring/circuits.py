"""Which signals a bike has on a board: from which part of the bicycle, through what, to which pin."""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.wiring.board_pins import BoardPins
from host_sim.wiring.parts import (
    BATTERY_BOTTOM_OHM,
    LEVER_BOTTOM_OHM,
    PULL_UP_OHM,
    SERIES_OHM,
    divider_top_ohm,
    ohms,
)

PULLED_UP, DIVIDED, SMOOTHED, SWITCHED, OUTPUT, BRIDGED, WARMED = range(7)
SERIES, PULL_UP = ohms(SERIES_OHM), ohms(PULL_UP_OHM)


@dataclass(frozen=True, slots=True)
class Circuit:
    """One wire: `shape` says what the drawing shows between `part` and `pin`."""

    part: str
    pin: str
    shape: int
    series: str = ""
    shunt: str = ""
    note: str = ""


def circuits_for(bike: Bike, pins: BoardPins) -> list[Circuit]:
    """Return every wire of this bike, sensors first, outputs last; nothing of other kinds of sensor."""
    return [
        *_crank(bike, pins),
        _wheel(pins),
        _brake(bike, pins),
        *_levers(bike, pins),
        *_power(bike, pins),
        *_out(pins),
    ]


def _crank(bike: Bike, pins: BoardPins) -> list[Circuit]:
    sensor = bike.pedal_sensor
    note = f"{sensor.kind}, {sensor.pulses_per_rev} pulses, on the {sensor.side}"
    channels = ["A", "B"] if sensor.kind == "two channels" else [sensor.channel]
    return [
        Circuit(
            f"Pedal sensor, wire {channel}" if len(channels) > 1 else "Pedal sensor, its wire",
            pins.pins[f"CRANK_{channel}"],
            PULLED_UP,
            SERIES,
            PULL_UP,
            note if channel == channels[0] else "",
        )
        for channel in channels
    ]


def _wheel(pins: BoardPins) -> Circuit:
    return Circuit("Wheel sensor", pins.pins["WHEEL"], PULLED_UP, SERIES, PULL_UP)


def _brake(bike: Bike, pins: BoardPins) -> Circuit:
    if bike.brakes.switches == "none":
        return Circuit(
            "No brake switch", pins.pins["BRAKE"], BRIDGED, note="bridge to ground, or nothing drives"
        )
    return Circuit(
        "Brake switches in series, opened by the lever",
        pins.pins["BRAKE"],
        SWITCHED,
        "",
        PULL_UP,
        "to ground; open means pulled",
    )


def _levers(bike: Bike, pins: BoardPins) -> list[Circuit]:
    lever = (ohms(divider_top_ohm(pins.lever_full_v, LEVER_BOTTOM_OHM)), ohms(LEVER_BOTTOM_OHM))
    found = []
    if bike.throttle.fitted:
        found.append(Circuit("Throttle signal (5 V supply)", pins.pins["THROTTLE_ADC"], DIVIDED, *lever))
    if bike.selector.kind != "none":
        pin = _shared(pins, 0, "SELECTOR_ADC")
        found.append(Circuit(f"Selector, {bike.selector.kind} (5 V supply)", pin, DIVIDED, *lever))
    return found


def _power(bike: Bike, pins: BoardPins) -> list[Circuit]:
    top = ohms(divider_top_ohm(pins.battery_full_v, BATTERY_BOTTOM_OHM))
    bottom, note = ohms(BATTERY_BOTTOM_OHM), f"{bike.battery.full_v:g} V full: {top} close to the pack"
    pin = _shared(pins, 1, "BATTERY_ADC")
    found = [Circuit("Battery +, behind the fuse", pin, DIVIDED, top, bottom, note)]
    if bike.shunt.fitted:
        found.append(Circuit("Shunt amplifier, gain 50", pins.pins["CURRENT_ADC"], SMOOTHED, "10 kΩ"))
    if bike.motor.has_temperature_sensor:
        found.append(
            Circuit("NTC in the motor, 100 kΩ beside it", _shared(pins, 2, "HEAT_ADC"), WARMED, "", "10 kΩ")
        )
    return found


def _out(pins: BoardPins) -> list[Circuit]:
    command = pins.pins["COMMAND_PWM" if pins.pulsed_command else "COMMAND_DAC"]
    series = "10 kΩ" if pins.pulsed_command else ""
    enable = pins.pins["DRIVE_ENABLE"]
    gain = f"amplifier x {pins.command_full_v / 3.3:g}"
    return [
        # The resistor behind the amplifier keeps the input at 0 V while the amplifier has no supply.
        Circuit("Motor controller: throttle input", command, OUTPUT, series, "10 kΩ", gain),
        Circuit("Motor controller: cut-off input", enable, OUTPUT, note="T2, T1; 10 kΩ to ground"),
    ]


def _shared(pins: BoardPins, channel: int, name: str) -> str:
    """Return the pin of a slow voltage: a converter of its own, or a channel of the multiplexer."""
    return f"mux {channel}" if pins.multiplexed else pins.pins[name]


def pin_rows(bike: Bike, pins: BoardPins) -> list[tuple[str, str, str]]:
    """Return the pin table: pin, what goes there, and what to mind."""
    rows = [(circuit.pin, circuit.part, circuit.note) for circuit in circuits_for(bike, pins)]
    if pins.multiplexed:
        rows = [
            (f"multiplexer, channel {pin[-1]}" if pin.startswith("mux") else pin, part, note)
            for pin, part, note in rows
        ]
        lines = f"{pins.pins['MULTIPLEXER_LOW']}, {pins.pins['MULTIPLEXER_HIGH']}"
        rows.append((lines, "Select lines 0 and 1 of the multiplexer", "its line 2 and inhibit to ground"))
        rows.append((pins.pins["MULTIPLEXED_ADC"], "Common pin of the multiplexer", ""))
    if not bike.throttle.fitted:
        rows.append((pins.pins["THROTTLE_ADC"], "No throttle: to ground", "a floating input picks up noise"))
    if not bike.shunt.fitted:
        rows.append((pins.pins["CURRENT_ADC"], "No shunt: to ground", ""))
    rows.append((pins.pins["CLEAR_BUTTON"], "Button that clears a fault, to ground", ""))
    rows.append((pins.pins["MAINTENANCE"], "Maintenance jumper, to ground while restarting", "else open"))
    rows.append((pins.pins["SAFE_START"], "Safe-start jumper, to ground while switching on", "else open"))
    return rows
