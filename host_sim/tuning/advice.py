"""What each recommendation assumes, and how a rider checks it on the road."""

from dataclasses import dataclass

JERKS = "jerks on starting"
RUNS_ON = "runs on"
SURGES = "surges"
SLUGGISH = "sluggish"
CUTS_OUT = "cuts out on slow pedalling"
NOTHING = "nothing at all"
BACKWARD = "works backward"


@dataclass(frozen=True, slots=True)
class Advice:
    """`assumes` is what has to be true, `check` what to do about a symptom; both are printed."""

    assumes: str
    check: str


ADVICE = {
    "lead": Advice(
        "The pickup is on the side of the crank that the bike file names, and its wires are not swapped.",
        f"{BACKWARD} or {NOTHING}: turn the crank forward by hand with the wheel off the ground; if only "
        "backward turning drives, set the other lead.",
    ),
    "forward_duty_high": Advice(
        "When the crank turns forward, the sensor is high for the share of a pitch that the bike file says.",
        f"{BACKWARD} or {NOTHING}: turn the crank forward by hand with the wheel off the ground; if only "
        "backward turning drives, set the other value.",
    ),
    "pulses_per_rev": Advice(
        "Every magnet of the ring passes close enough to the pickup to switch it.",
        f"{NOTHING} or {CUTS_OUT}: count the pulses of one turn; if this number is too high, the cadence "
        f"reads too low.",
    ),
    "engage_edges": Advice(
        "Nudges stay below a sixth of a turn, and the ring's flaws are those of the bike file.",
        f"{SLUGGISH} at the start: fewer edges. Drives off when a pedal is nudged: more.",
    ),
    "engage_rpm": Advice(
        "A rider who turns the crank more slowly doesn't want help.",
        f"{NOTHING} at a slow start uphill: lower it. Help comes when you only move a pedal into position: "
        f"raise it.",
    ),
    "release_rpm": Advice(
        "The legs are at most one and a half times as uneven as mass, lowest gear and torque ripple predict.",
        f"{CUTS_OUT}: lower it. {RUNS_ON} after slow pedalling: raise it.",
    ),
    "stop_pitch_percent": Advice(
        "The magnets are spaced as evenly as the bike file says, and the legs slow down gradually.",
        f"{RUNS_ON} after brisk legs stop: lower it. {CUTS_OUT} although release_rpm is low: raise it.",
    ),
    "rise_mv_per_s": Advice(
        "Mass, motor constants and command range are as in the bike file; the empty bicycle jerks most.",
        f"{JERKS}: cut it to two thirds. {SLUGGISH}: raise it by a half.",
    ),
    "fall_mv_per_s": Advice(
        "Brake, stop and faults cut power at once; this rate is for everything else.",
        f"{JERKS} and when the selector is turned down: cut it to two thirds. Power overshoots: raise it.",
    ),
    "gain_uv_per_w": Advice(
        "Shunt, battery resistance and motor controller are as in the bike file.",
        f"{SURGES}: cut it to a half. {SLUGGISH} when a slope begins, or too much power: raise it by a half.",
    ),
    "integral_ms": Advice(
        "The lag of the motor controller is as in the bike file.",
        f"{SURGES} slowly, about once a second: double it. Power takes long to reach its level: halve it.",
    ),
    "open_map_full_w": Advice(
        "Without a shunt nothing corrects the power: the motor draws what its constants predict.",
        f"{SLUGGISH} everywhere: measure the current at full help and 20 km/h; lower this by the share that "
        "is missing.",
    ),
    "assist_power_w": Advice(
        "All-day legs of 75 W, two level kilometres for one up 3 %, and the pack of the bike file.",
        f"{SLUGGISH} on the way home: raise it by a quarter. The battery does not last: lower it as much.",
    ),
    "selector.shares_percent": Advice(
        "A rider's steady 75 W and a grade of 2 %, where the difference between shares is felt most.",
        f"Two positions feel alike: move them apart. {NOTHING} in the first position: intended if its share "
        f"is 0.",
    ),
    "throttle_rest_mv": Advice(
        "The throttle's voltages at its ends are those of the bike file, within the play.",
        f"{NOTHING} from the throttle: its rest reads above this. Creeps with the throttle closed: raise it.",
    ),
    "throttle_full_mv": Advice(
        "The throttle's voltages at its ends are those of the bike file, within the play.",
        "Full power is not reached: lower it. The last part of the travel does nothing: raise it.",
    ),
    "battery_foldback_mv": Advice(
        "Resistance and empty voltage of the pack are as in the bike file, also when it is cold.",
        f"{SURGES} on a low battery only: raise it by half a volt. {SLUGGISH} long before empty: lower it.",
    ),
    "heat_foldback_decicelsius": Advice(
        "The temperature sensor is in the winding, and the motor's heat capacity is as in the bike file.",
        f"{SLUGGISH} on a long climb: feel the hub, let it cool; only then think of raising it.",
    ),
}
