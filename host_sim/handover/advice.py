"""Texts for the owner of the bicycle: cautions, the first ride, and what to do when something feels wrong.

The symptoms are those that workshops hear (common practice, no source). Only rows for parts that are fitted
to the bicycle appear.
"""

from firmware.settings import ONE_CHANNEL
from host_sim.bikes.model import Bike

CAUTIONS = (
    "A motor on a bicycle can hurt people. If anything feels wrong: stop pedalling, brake, switch off.",
    "Simulation is not approval. The simulated figures prove nothing about this bicycle: try everything "
    "with care.",
    "Lithium batteries burn. Charge only with the charger for this pack, where you can see it, on ground "
    "that does not burn; never a wet, dropped, swollen or very cold pack. Never open or short it.",
    "Switch off before you push, lift, carry, park or work on the bicycle, and before a child sits on it.",
    "Keep hands, hair and cables away from wheel, chain and motor. Try changes with the driven wheel off the "
    "ground.",
    "Check both brakes before every ride: they must hold the bicycle with the motor at full power.",
)

_BRAKE_STEPS = {
    "all": "Pedal again and pull one brake lever: the push must end. Repeat with the other lever.",
    "some": "Pedal again and pull the brake lever that has a switch: the push must end. The other lever does "
    "not end it: stop pedalling first.",
    "none": "No brake lever ends the push: practise stopping pedalling first, then braking.",
}


def first_ride_steps(bike: Bike) -> list[str]:
    """Return the steps of the first ride."""
    steps = [
        "Ride on private, level ground without traffic, alone, with a helmet, at walking pace.",
        "Try both brakes. Check that the tyres are hard, the battery is locked in, and nobody is in front.",
        "Sit with both feet off the pedals and pull a brake. Switch on; wait until the lamp shows ready.",
    ]
    settings = bike.firmware_settings
    if settings.selector_positions > 1:
        steps.append("Set the switch to the lowest position that gives help.")
    elif settings.selector_positions == 1:
        steps.append("Turn the knob to about a quarter.")
    steps.append("Let go of the brake, pedal slowly, and expect a push after part of a turn of the crank.")
    steps.append("Stop pedalling, with a hand on the brake: the push must end. Do this five times.")
    steps.append(_BRAKE_STEPS[bike.brakes.switches])
    if settings.throttle_fitted:
        steps.append("Leave the throttle alone until you know all of this well.")
    steps.append("Then ride a little faster, a bend, a small hill. Use full help last.")
    return steps


def symptoms(bike: Bike) -> list[tuple[str, str, str]]:
    """Return rows of symptom, likely cause, check."""
    settings = bike.firmware_settings
    hanging, levers = ", a brake switch that sticks", " let every lever snap back;"
    if bike.brakes.switches == "none":
        hanging = levers = ""
    rows = [
        ("No help at all", f"switched off, battery empty{hanging}, or a fault was found",
         f"lamp; charge;{levers} switch off and on with pedals at rest"),
        ("Helps late, or only when pedalling fast", "sensor too far from its magnets, or a magnet lost",
         "switched off, turn the crank: every magnet must pass at the same small gap"),
        ("Cuts out when pedalling slowly", "a weak or missing magnet, or a stop time set too short",
         "check the magnets over one full turn; then the workshop"),
        ("Runs on after the pedals stop", "a stop time set too long, or a slow motor controller",
         "do not ride; workshop"),
        ("Jerks when starting", "help set to rise too fast, slack chain, loose axle",
         "chain and axle nuts first"),
        ("Power comes and goes on a steady hill", "a loose plug at sensor or battery, or a gain set too high",
         "plugs first, then the workshop"),
        ("Weak, or fades on hills", "battery low or cold, motor hot, dragging brake",
         "charge the battery, let the motor cool, spin the wheels"),
    ]  # fmt: skip
    if settings.sensor_kind == ONE_CHANNEL:
        rows.append(("Moves off when pushed or pedalled backward", "this sensor can't tell the direction",
                     "switch off before you push; fit a sensor with two channels"))  # fmt: skip
    else:
        rows.append(("Helps when pedalling backward, not forward", "channels swapped in a repair",
                     "workshop: swap the two wires"))  # fmt: skip
    if bike.throttle.fitted:
        rows.append(("Throttle does nothing",
                     "it was open at switch-on, or you must pedal too in this place",
                     "close it, switch off and on"))  # fmt: skip
    rows.append(("Stops after a few seconds of driving and stays off", "wheel magnet too far from its sensor",
                 "the magnet must pass close to the sensor's mark"))  # fmt: skip
    return rows
