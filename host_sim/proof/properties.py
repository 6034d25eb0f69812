"""What is proved: each property in a sentence, what it assumes, and the lemmas it follows from."""

from firmware.drive.feed_forward import FIRST_CURRENT_MA
from firmware.guard.plausibility import LASTING_STEPS, SILENT_STEPS
from firmware.sense.motor_model import CEILING_LEAST_W
from host_sim.proof.lemma_list import LEMMAS
from host_sim.proof.lemmas_sense import LONGEST_STEP_GAP_US

ORDER = "edges come in the order of their times; a crank that is not standing gave one within its standstill"
GAP = f"steps are at most {LONGEST_STEP_GAP_US} us apart ({LONGEST_STEP_GAP_US / 1e6:.6f} s)"
SETTINGS = (
    "settings are legal, and at their defaults where a lemma does not make them symbolic; numbers derived"
    " from them lie in ranges that are checked over all legal settings"
)
COMPOSED = (
    "components are joined by hand, as controller.py joins them: what a lemma shows of one the next takes for"
    " given"
)
NO_CURRENT = (
    "a motor draws no current while less is read above the reading at rest than the no-load current, a"
    f" quarter more and {FIRST_CURRENT_MA} mA; one reading above that may be noise, two in a row are not"
)


class Property:
    """A property: `name`, `sentence`, `assumptions`, and the lemmas that it follows from."""

    __slots__ = ("assumptions", "lemmas", "name", "sentence")

    def __init__(
        self, name: str, sentence: str, assumptions: tuple[str, ...], lemmas: tuple[str, ...]
    ) -> None:
        """State the property; KeyError for a lemma that is not there."""
        self.name = name
        self.sentence = sentence
        self.assumptions = assumptions
        self.lemmas = tuple(LEMMAS[lemma].name for lemma in lemmas)


MOTOR_COMMANDS = (
    "motor_lags",
    "motor_command_for",
    "motor_changes",
    "motor_ceiling",
    "feed_forward_seeks",
    "feed_forward_follows",
)
DERIVED = ("derived_crank_numbers", "derived_wheel_numbers")
PROPERTIES = (
    Property(
        "stop",
        "Later than the stop gap and a control period after the last forward edge, pedalling gives none.",
        (SETTINGS, GAP, COMPOSED, "the throttle is closed; what it may do alone is the property `throttle`"),
        (
            "stop_gap",
            "pedalling",
            "events",
            "engagement_table",
            "controller_drive",
            "crank_two_channels",
            *DERIVED,
        ),
    ),
    Property(
        "backward",
        "While the last edges run backward there is no drive from pedalling.",
        (SETTINGS, ORDER, COMPOSED),
        (
            "crank_two_channels",
            "pedalling",
            "events",
            "engagement_table",
            "guard_permit",
            "guard_two_channels",
        ),
    ),
    Property(
        "cut",
        "A pulled brake, a latched fault or expired inputs mean an output of zero in the same step.",
        (SETTINGS, COMPOSED),
        ("brake_ends_drive", "fault_ends_drive", "guard_permit", "controller_outputs"),
    ),
    Property(
        "range",
        "The output is always in its range, and never above what the guard permits.",
        (SETTINGS, COMPOSED),
        (
            "guard_permit",
            "controller_outputs",
            "controller_drive",
            "slew_limiter",
            "power_loop",
            "open_map",
            "request",
            "slew_seek",
            "loop_moves",
            "drive_torque",
            "drive_speed",
            *MOTOR_COMMANDS,
        ),
    ),
    Property(
        "rise",
        "Above the dead band the command never rises faster than the rise rate, or while it seeks the"
        " back-EMF of a motor that draws no current, than the seek rate if that is higher, whatever the call"
        " times.",
        (SETTINGS, COMPOSED, "less than a millivolt may be carried from one step to the next", NO_CURRENT),
        (
            "slew_limiter",
            "slew_seek",
            "controller_drive",
            "drive_torque",
            "drive_speed",
            "feed_forward_seeks",
            "feed_forward_follows",
        ),
    ),
    Property(
        "cut-off",
        "At and above the cut-off speed nothing is allowed, and nothing is commanded.",
        (SETTINGS, "the speed is the one that the wheel sensor shows"),
        (
            "ceilings",
            "wheel",
            "controller_drive",
            "drive_torque",
            "drive_speed",
            "guard_permit",
            "derived_wheel_numbers",
        ),
    ),
    Property(
        "small integers",
        "Every intermediate value of every component fits the 31 bits of a small integer.",
        (SETTINGS, ORDER, GAP),
        tuple(lemma.name for lemma in LEMMAS.values() if not lemma.must_fail),
    ),
    Property(
        "clock",
        f"Times are right across the wrap if steps are at most {LONGEST_STEP_GAP_US} us apart, and no more.",
        ("the crank's standstill is the longest time that anything remembers",),
        ("ticks", "ticks_forward", "crank_standstill", "crank_standstill_too_late", "rotation"),
    ),
    Property(
        "clock back",
        "A clock that goes back ends help in the same step, and nothing counts as recent after it.",
        (SETTINGS, COMPOSED, "a step back is less than half the clock's period"),
        ("controller_clock_back", "guard_clock_back", "pedalling", "engagement_table"),
    ),
    Property(
        "latch",
        "A latched fault changes only on its explicit request.",
        ("conditions are looked at one by one as faults.py looks at them",),
        ("fault_latch", "fault_step", "fault_readings", "fault_noise", "fault_plausibility"),
    ),
    Property(
        "table",
        "The engagement table is total, every state can be reached, fault and brake lead to safety.",
        (),
        ("engagement_table", "events"),
    ),
    Property(
        "rest",
        "When the bicycle rests and nothing changes, a step changes nothing.",
        ("readings stand still",),
        ("rest",),
    ),
    Property(
        "throttle",
        "The throttle gives nothing before it was at rest, outside its window, or where it may not.",
        (SETTINGS, COMPOSED),
        ("throttle", "events", "ceilings", "request", "guard_permit"),
    ),
    Property(
        "levers",
        "Selector and supply give values in their ranges for any voltage.",
        (SETTINGS,),
        ("selector", "supply"),
    ),
    Property(
        "model",
        "The motor model's formulas fit 31 bits for every legal motor and all readings; its back-EMF, drop,"
        " current and power stay in their ranges, what it has learned stays from 750 to 1250 permille.",
        (SETTINGS, COMPOSED),
        (
            "motor_emf_torque",
            "motor_emf_speed",
            "motor_newton",
            "motor_voltage",
            "motor_power",
            "motor_limited",
            "motor_learn_torque",
            "motor_learn_speed",
            "motor_step",
            *MOTOR_COMMANDS,
            "derived_motor_numbers",
        ),
    ),
    Property(
        "ceiling",
        "On a motor of the torque kind the command never rises above that of the current which the motor"
        f" model allows for the allowed watts and a tenth more, at least {CEILING_LEAST_W} W more, whatever"
        " the shunt says.",
        (
            SETTINGS,
            COMPOSED,
            "a command that is above the ceiling when the ceiling comes down falls at the fall rate",
            "the current comes nearer from above by a step of Newton's method a control period; until it is"
            " there more is allowed. No step falls short of the watts by 6 W or more, where the winding drops"
            " less than 100 V and the power is below 10 kW",
        ),
        ("motor_ceiling", "motor_newton", "motor_newton_above", "drive_torque"),
    ),
    Property(
        "overdue",
        "When wheel pulses stop at a speed from which no brake stops before the next pulse, nothing is"
        " commanded from the step in which less than half of that speed is left until a pulse comes.",
        (SETTINGS, COMPOSED, "no brake: none of 10 m/s2, from the mean speed between the last two pulses"),
        ("square_roots", "wheel_late", "wheel_overdue", "doubt_ends_drive", "derived_wheel_numbers"),
    ),
    Property(
        "doubt",
        "While help is withheld nothing is commanded. Every suspicion of the motor or the wheel withholds"
        f" help, and comes only after {SILENT_STEPS} steps in a row without current or {LASTING_STEPS} of"
        " another contradiction; the motor is a fault from the second suspicion on, the wheel from the"
        " third.",
        (
            SETTINGS,
            COMPOSED,
            "suspicions of all kinds are counted together",
            "a shunt that the battery voltage shows to be dead or stuck is a fault at once",
            "a latched fault leaves no command, and clearing it forgets what was suspected",
        ),
        (
            "shunt_sag",
            "shunt_standstill",
            "shunt_fall",
            "shunt_rest",
            "judge_torque",
            "judge_speed",
            "judge_learns",
            "judge_shunt",
            "judge_forgets",
            "doubt_ends_drive",
            "fault_plausibility",
            "fault_ends_drive",
            "derived_motor_numbers",
        ),
    ),
)
