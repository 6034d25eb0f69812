"""What is proved: each property in a sentence, its assumptions, the statements and lemmas that show it."""

from firmware.drive.feed_forward import FIRST_CURRENT_MA
from firmware.guard.plausibility import LASTING_STEPS, SILENT_STEPS
from firmware.sense.motor_model import CEILING_LEAST_W
from host_sim.proof.lemma_list import LEMMAS
from host_sim.proof.lemmas_sense import LONGEST_STEP_GAP_US
from host_sim.proof.whole.evidence import INDUCTION, needed_jobs
from host_sim.proof.whole.exact_all import EXACT_JOBS, exact_jobs_of
from host_sim.proof.whole.induction import DUTY_GAP_US
from host_sim.proof.whole.statements import STATEMENTS

ALL_SETTINGS = "settings are legal: all that the constructor accepts, each over its whole range"
STEPS = (
    f"steps are at most {LONGEST_STEP_GAP_US} us apart, with a duty-coded ring {DUTY_GAP_US} us; where time"
    " goes back, the property `clock back` holds; edges come in the order of their times, none before the"
    " last step"
)
NO_CURRENT = (
    "the motor draws no current while the reading exceeds the reading at rest by less than 1.25 times the"
    f" no-load current plus {FIRST_CURRENT_MA} mA; one reading above that may be noise, two in a row are not"
)


class Property:
    """A property: `name`, `sentence`, `assumptions`; the `statements` and `lemmas` that it follows from.

    `jobs`: those of its statements and the induction that they assume, or the ones that are named; and
    the exact contracts of the `components` whose fields its statements read.
    """

    __slots__ = ("assumptions", "jobs", "lemmas", "name", "sentence", "statements")

    def __init__(
        self,
        name: str,
        sentence: str,
        assumptions: tuple[str, ...],
        lemmas: tuple[str, ...] = (),
        statements: tuple[str, ...] = (),
        jobs: tuple[str, ...] = (),
        components: tuple[str, ...] = (),
    ) -> None:
        """Store the property; KeyError for a lemma or a statement that doesn't exist."""
        self.name = name
        self.sentence = sentence
        self.assumptions = assumptions
        self.lemmas = tuple(LEMMAS[lemma].name for lemma in lemmas)
        self.statements = tuple(STATEMENTS[statement].name for statement in statements)
        self.jobs = (*(jobs or needed_jobs(self.statements)), *exact_jobs_of(components))


PROPERTIES = (
    Property(
        "stop",
        "When the stop gap has passed since the last forward edge, pedalling gives no drive; the stop gap is"
        " at most the pitch at the release cadence.",
        (ALL_SETTINGS, STEPS, "what the throttle may do alone is the property `throttle`"),
        statements=("step stop", "gate stops", "gate one channel"),
        components=(
            "Crank",
            "Wheel",
            "Rotation",
            "Pedalling",
            "Events",
            "Engagement",
            "OutputGuard",
            "Controller",
        ),
    ),
    Property(
        "backward",
        "In the step in which the set number of backward edges is reached, there is no output. The direction"
        " of an edge of two channels, or of a pitch of a duty-coded ring, follows from raw levels, raw times"
        " and the settings, independently in the sensing part and in the gate.",
        (ALL_SETTINGS, STEPS, "a single channel tells no direction"),
        statements=("step backward", "edge two channels", "edge duty", "gate two channels", "gate duty"),
        components=("Crank", "OutputGuard", "Pedalling", "Events", "Controller"),
    ),
    Property(
        "cut",
        "A pulled brake, a latched fault or expired inputs mean an output of zero in the same step. The"
        " decision alone stops for brake and fault, and the gate alone for brake and expired inputs.",
        (ALL_SETTINGS, STEPS, "inputs are stamped less than half the clock's period from the step"),
        statements=("step cut", "step decides", "gate stops"),
        components=("Faults", "Events", "Engagement", "OutputGuard", "Controller"),
    ),
    Property(
        "late",
        "After a gap of more than 50 ms between two steps the output starts again from zero.",
        (ALL_SETTINGS, STEPS),
        statements=("step stall",),
        components=("SlewLimiter", "Controller"),
    ),
    Property(
        "range",
        "The output is from 0 to the highest command, drive is enabled if and only if there is an output, and"
        " the gate can only lower it; it passes a command if its raw readings show nothing wrong.",
        (ALL_SETTINGS, STEPS),
        statements=("step range", "gate stops", "gate opens"),
        components=("Controller", "SlewLimiter", "OutputGuard"),
    ),
    Property(
        "rise",
        "Above the dead band the command never rises faster than the rise rate, or while it seeks the"
        " back-EMF of a motor that draws no current, than the seek rate if that is higher, whatever the call"
        " times.",
        (
            ALL_SETTINGS,
            STEPS,
            "less than a millivolt may be carried from one step to the next; over 0.1 s count as 0.1 s",
            "that a search ends with the first current is shown by a lemma, at default settings",
            NO_CURRENT,
        ),
        ("feed_forward_seeks",),
        ("step rise",),
        components=("SlewLimiter", "FeedForward", "Controller"),
    ),
    Property(
        "cut-off",
        "At and above the cut-off speed there is no output: no watts are allowed, and the gate lets nothing"
        " pass while its own measure of the wheel's period is shorter.",
        (ALL_SETTINGS, STEPS, "the speed is the one that the wheel sensor shows"),
        statements=("step cut-off", "step decides", "gate wheel", "gate stops"),
        components=("Wheel", "Rotation", "Ceilings", "OutputGuard", "Controller"),
    ),
    Property(
        "small integers",
        "Every intermediate value of every component fits the 31 bits of a small integer, and every field"
        " stays in its range.",
        (ALL_SETTINGS, STEPS),
        (
            "ticks",
            "ticks_forward",
            "square_roots",
            "derived_wheel_numbers",
            "edge_log_record",
            "edge_log_take",
        ),
        jobs=INDUCTION,
    ),
    Property(
        "clock",
        f"Times are right across the wrap if steps are at most {LONGEST_STEP_GAP_US} us apart, and no more.",
        (
            ALL_SETTINGS,
            f"with a duty-coded ring steps are at most {DUTY_GAP_US} us apart",
            "that a longer gap would not do is shown for the crank's standstill, the longest stored time",
        ),
        (
            "ticks",
            "ticks_forward",
            "derived_crank_numbers",
            "crank_standstill",
            "crank_standstill_too_late",
            "rotation",
        ),
        jobs=INDUCTION,
    ),
    Property(
        "clock back",
        "A clock that goes back ends help in the same step: no output, pedalling has stopped, no run of edges"
        " is left and the gate sees no turning crank. The state meets the invariant again.",
        (
            ALL_SETTINGS,
            "a step back is by less than half the clock's period less 10 s, and its edges came before it",
        ),
        statements=("step clock back",),
        components=("Crank", "Wheel", "Pedalling", "OutputGuard", "Controller"),
    ),
    Property(
        "latch",
        "A latched fault changes only on an explicit request, and a fault that the readings show together"
        " is latched in the same step.",
        (ALL_SETTINGS, STEPS),
        statements=("step latch",),
        components=("Faults", "Plausibility", "Controller"),
    ),
    Property(
        "table",
        "The engagement table is total, every state can be reached, fault and brake lead to safety. Pedalling"
        " starts to drive only with the set forward edges, cadence and speed; nothing drives in the"
        " step after waiting for rest, a brake or a fault.",
        (ALL_SETTINGS, STEPS, "that the table is total and its states are reached is shown by a lemma"),
        ("engagement_table",),
        ("step begins",),
        components=("Crank", "Pedalling", "Events", "Engagement", "Controller"),
    ),
    Property(
        "rest",
        "At default settings, when the bicycle rests and nothing changes, a step changes nothing but times.",
        ("readings stand still", "settings are the defaults; readings and the clock are any"),
        ("rest",),
    ),
    Property(
        "throttle",
        "The throttle gives nothing before it was at rest, outside its window, or when it is not allowed.",
        (ALL_SETTINGS, STEPS),
        statements=("step throttle", "gate throttle", "gate stops"),
        components=("Throttle", "Events", "OutputGuard", "Controller"),
    ),
    Property(
        "levers",
        "Selector and throttle give shares from 0 to 1000 permille and the supply values in its ranges, for"
        " any voltage and a selector of any kind.",
        (ALL_SETTINGS, STEPS),
        statements=("step levers", "step shares"),
        components=("Throttle", "Selector", "Supply", "Controller"),
    ),
    Property(
        "model",
        "The motor model's formulas fit 31 bits for every legal motor and all readings; its back-EMF, drop,"
        " current and power stay in their ranges, what it has learned stays from 750 to 1250 permille.",
        (ALL_SETTINGS, STEPS),
        jobs=INDUCTION,
        components=("MotorModel",),
    ),
    Property(
        "ceiling",
        "On a motor of the torque kind the command never rises above that of the current which the motor"
        f" model allows for the allowed watts and a tenth more, at least {CEILING_LEAST_W} W more, whatever"
        " the shunt reads.",
        (
            ALL_SETTINGS,
            STEPS,
            "a command that is above the ceiling when the ceiling comes down falls at the fall rate",
            "the current approaches from above by a step of Newton's method per control period; until then"
            " more is allowed. No step falls short of the watts by 6 W or more, where the winding drops"
            " less than 100 V and the power is below 10 kW: shown by lemmas",
        ),
        ("motor_newton", "motor_newton_above"),
        ("step ceiling",),
        components=("MotorModel", "Ceilings", "Controller"),
    ),
    Property(
        "overdue",
        "When wheel pulses stop at a speed from which no brake can stop before the next pulse, nothing is"
        " commanded from the step in which less than half of that speed is left until a pulse comes.",
        (ALL_SETTINGS, STEPS, "no brake: none of 10 m/s2, from the mean speed between the last two pulses"),
        ("square_roots", "wheel_late", "wheel_overdue", "derived_wheel_numbers"),
        ("step overdue", "edge wheel"),
        components=("Wheel", "Controller"),
    ),
    Property(
        "doubt",
        "While help is withheld nothing is commanded. Every suspicion of the motor or the wheel withholds"
        f" help, and comes only after {SILENT_STEPS} steps in a row without current or {LASTING_STEPS} of"
        " another contradiction; the motor is a fault from the second suspicion on, the wheel from the"
        " third.",
        (
            ALL_SETTINGS,
            STEPS,
            "suspicions of all kinds are counted together",
            "a shunt that the battery voltage shows to be dead or stuck is a fault at once",
            "a latched fault leaves no command, and clearing it resets all suspicions",
        ),
        statements=("step doubt", "step cut", "step latch"),
        components=("Plausibility", "ShuntWatch", "Faults", "Controller"),
    ),
    Property(
        "formulas",
        "The functions of sensing, model, comparison, fault latch, decisions, power loop and gate give to the"
        " last bit what their exact contracts say, from settings, arguments and fields, and change nothing"
        " else: each fault with its condition, count and cause, each ceiling, each event, each rate. The"
        " controller calls its parts in the written order, each with its own readings, and gives every edge"
        " that waits to the sensing part and to the gate. A new controller starts at rest with nothing"
        " learned. Exactly the legal settings are accepted, and a controller takes all of them.",
        (
            ALL_SETTINGS,
            "the contracts state the formulas a second time: a mistake that both share is left to the other"
            " properties",
            "functions without an exact contract are left to the statements about whole steps",
            "that every edge that waits is given on is shown with none and with two on each side",
            "the ring between interrupt and step is tried with each end at every place, empty, full, and with"
            " 1, 2, 31 and 62 edges",
        ),
        ("edge_log_record", "edge_log_take", "records_start"),
        jobs=EXACT_JOBS,
    ),
)
