"""Rules that only the campaign asks: what is true of power and speed while the sensors fail that limit them.

The limits are constants of their own, to be made tighter as the firmware finds such faults sooner.
"""

from host_sim.bikes.model import Bike
from host_sim.rules.rule import Rule
from tests.rules.campaign_probes import LostWheelDrive, PowerExcess

# Joules in one go. A power loop with the worst of the legal gains swings by up to 62 J without any fault of
# the shunt (rides 1 to 10,000); a shunt that has failed may add 10 J until it is found.
POWER_EXCESS_MOST_J = 75.0
# Seconds: a wheel sensor that is lost while driving is found within one, and the motor's current has to fall.
LOST_WHEEL_DRIVE_MOST_S = 1.2
OWN = "this project's own number"


def _power_excess_limit_j(bike: Bike) -> float | None:
    """Without a shunt nobody knows the power; and no motor turns freely on less than its no-load power."""
    no_load_w = bike.motor.no_load_current_a * bike.battery.full_v
    asked = bike.shunt.fitted and bike.firmware_settings.power_limit_w > 2.0 * no_load_w
    return POWER_EXCESS_MOST_J if asked else None


CAMPAIGN_RULES = (
    Rule(
        "true power",
        "Whatever fails, the battery gives more than 1.1 times the power limit only for a moment.",
        "J",
        _power_excess_limit_j,
        OWN,
        (),
        PowerExcess,
    ),
    Rule(
        "lost wheel above the cut-off",
        "A bicycle without its wheel sensor is not driven on above the cut-off speed and its tolerance.",
        "s",
        lambda bike: LOST_WHEEL_DRIVE_MOST_S,
        OWN,
        (),
        LostWheelDrive,
    ),
)
