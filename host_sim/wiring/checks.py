"""What to measure before the motor is connected, and the two-minute test of the motor controller."""

from host_sim.bikes.model import Bike
from host_sim.wiring.board_pins import BoardPins
from host_sim.wiring.parts import pin_v

CAUTIONS = (
    "Battery unplugged while you wire. Driven wheel off the ground for every test; hands, hair and cables "
    "clear.",
    "A fuse at the pack and a switch within reach that cuts the battery without any electronics, before "
    "anything else.",
    "Lithium batteries burn. Never short, open or crush a pack; insulate the divider and the shunt, which "
    "are always live.",
    "The brakes must hold the motor at full power. What stops the motor must not depend on this board alone: "
    "wire the brake switches to the motor controller's own cut-off input as well, where it has one.",
    "No part here protects against reverse polarity, surges, water or vibration. One common ground, at one "
    "point.",
    "Don't connect a computer's USB while the charger is connected, unless the USB port is isolated.",
    "Local codes, and licensed practice where they require it, decide what may be built and ridden.",
)


def before_the_motor(bike: Bike, pins: BoardPins) -> list[tuple[str, str]]:
    """Return (what to do, what the meter must show); the motor's wires are still off."""
    full_v = bike.battery.full_v
    rows = [
        (
            "Board and pack off: ohms from battery plus to ground, and from 5 V and 3.3 V to ground",
            "no short",
        ),
        ("Ohms from the board's ground to the motor controller's battery minus", "below 1 Ω: one ground"),
        ("Battery on: volts at the converter's output, board not yet on it", "5.0 V ± 0.25 V"),
        (
            "Volts at the battery's divider, at the pin's end (before the pin is connected)",
            f"battery volts * {3.3 / pins.battery_full_v:.4f}: {pin_v(full_v, pins.battery_full_v):.2f} V "
            "when full, never above 3.3 V",
        ),
        (
            "Each pedal and wheel sensor wire, turning slowly by hand",
            "changes between below 0.4 V and 3.3 V, never 5 V",
        ),
    ]
    if bike.throttle.fitted:
        rest, full = (
            pin_v(volts, pins.lever_full_v) for volts in (bike.throttle.rest_v, bike.throttle.full_v)
        )
        rows.append(
            ("Throttle pin at rest, then fully open", f"{rest:.2f} V, {full:.2f} V; 0 V with its plug off")
        )
    if bike.selector.kind != "none":
        low, high = (pin_v(volts, pins.lever_full_v) for volts in (bike.selector.low_v, bike.selector.high_v))
        rows.append(("Selector pin at its lowest, then its highest position", f"{low:.2f} V, {high:.2f} V"))
    if bike.brakes.switches != "none":
        rows.append(
            ("Brake pin: all levers released, then each lever pulled alone", "0 V; 3.3 V for each lever")
        )
    if bike.shunt.fitted:
        rows.append(("Current pin, nothing drawing current", "below 0.05 V"))
    rows += [
        ("Command behind the amplifier, board running, nobody pedalling", "below 0.05 V"),
        ("Drive enable, board running, nobody pedalling", "below 0.1 V"),
        ("The same two, with the board's supply taken off", "0 V: the motor stays cut without us"),
    ]
    return rows


# Observation, meaning, action. The test is ours; the meanings follow from how the two kinds work.
METER_STEPS = (
    "Driven wheel off the ground, a hand at the battery switch. The controller's own throttle is plugged in; "
    "our board is not.",
    "Supply: volts between the throttle plug's supply and ground.",
    "Dead band: volts at the signal wire while opening the throttle slowly; note where the wheel starts, and "
    "where it gets no faster.",
    "Kind: hold the throttle a third of the way from start to full and wait ten seconds.",
    "Brake input: volts at it while open; then ground it while the wheel turns slowly.",
    "Open throttle wire: wheel still, pull the signal wire off (leave supply and ground), hand at the "
    "switch.",
)


def meter_decisions(bike: Bike) -> list[tuple[str, str, str]]:
    """Return the decision table: what is seen, what it means, what to do."""
    controller = bike.motor_controller
    return [
        (
            "Supply 4.5 to 5.5 V",
            "a usual throttle input",
            "fits; leave the supply wire unconnected, join signal and ground",
        ),
        (
            "Supply above 5.5 V, or none",
            "another kind of input",
            "don't connect; the command is made for 0 to 5 V",
        ),
        (
            "The wheel starts at … V",
            "end of the dead band",
            f"motor_controller.start_v (now {controller.start_v:g})",
        ),
        (
            "No faster above … V",
            "end of the travel",
            f"motor_controller.full_v (now {controller.full_v:g}); leave 0.3 V below its fault voltage, if "
            "it has one",
        ),
        (
            "At a third it settles at about a third of full speed",
            "speed kind: the command sets the motor's voltage",
            f'motor_controller.kind = "speed" (now "{controller.kind}")',
        ),
        (
            "At a third it runs up to nearly full speed",
            "torque kind: the command sets the motor's current",
            f'motor_controller.kind = "torque" (now "{controller.kind}")',
        ),
        (
            "Brake input at 3 to 5 V open; grounding it stops the motor at once",
            "active when grounded",
            "T1 fits as drawn",
        ),
        (
            "Grounding it does nothing, or it must be pulled up",
            "active when high, or no brake input",
            "don't ride: the cut-off as drawn doesn't hold; change the circuit or the motor controller",
        ),
        (
            "Signal wire off: the wheel stays still",
            "an open wire means no drive",
            "good; the 10 kΩ at the amplifier stays all the same",
        ),
        (
            "Signal wire off: the wheel runs",
            "an open wire means full drive",
            "don't ride: solder 10 kΩ from signal to ground at the controller's own end, test again, or "
            "change it",
        ),
    ]
