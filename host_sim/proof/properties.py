"""What is proved: each property in a sentence, what it assumes, and the lemmas it follows from."""

from collections.abc import Callable
from typing import Any

from host_sim.proof import (
    lemmas_decide,
    lemmas_drive,
    lemmas_faults,
    lemmas_guard,
    lemmas_sense,
    lemmas_whole,
)
from host_sim.proof.lemmas_sense import LONGEST_STEP_GAP_US

LemmaFunction = Callable[[Any], None]


class Lemma:
    """One function to explore. `must_fail`: it shows that a bound is exact, so a counterexample is wanted."""

    __slots__ = ("must_fail", "name", "run")

    def __init__(self, run: LemmaFunction, must_fail: bool = False) -> None:
        """Name the lemma after its function."""
        self.run = run
        self.name = run.__name__
        self.must_fail = must_fail


def _lemmas(*functions: LemmaFunction) -> tuple[Lemma, ...]:
    return tuple(Lemma(function) for function in functions)


LEMMAS: dict[str, Lemma] = {
    lemma.name: lemma
    for lemma in (
        *_lemmas(
            lemmas_sense.ticks,
            lemmas_sense.ticks_forward,
            lemmas_sense.crank_two_channels,
            lemmas_sense.crank_one_channel,
            lemmas_sense.crank_duty_coded,
            lemmas_sense.crank_glitch,
            lemmas_sense.crank_standstill,
            lemmas_sense.rotation,
            lemmas_sense.wheel,
            lemmas_sense.throttle,
            lemmas_sense.selector,
            lemmas_sense.supply,
            lemmas_decide.stop_gap,
            lemmas_decide.pedalling,
            lemmas_decide.events,
            lemmas_decide.engagement_table,
            lemmas_drive.slew_limiter,
            lemmas_drive.power_loop,
            lemmas_drive.open_map,
            lemmas_drive.request,
            lemmas_drive.ceilings,
            lemmas_faults.fault_latch,
            lemmas_faults.fault_step,
            lemmas_faults.fault_readings,
            lemmas_faults.fault_noise,
            lemmas_guard.guard_permit,
            lemmas_guard.guard_clock_back,
            lemmas_guard.guard_two_channels,
            lemmas_guard.guard_one_channel,
            lemmas_guard.guard_duty_coded,
            lemmas_guard.controller_drive,
            lemmas_guard.controller_clock_back,
            lemmas_guard.controller_outputs,
            lemmas_guard.fault_ends_drive,
            lemmas_guard.brake_ends_drive,
            lemmas_whole.derived_crank_numbers,
            lemmas_whole.derived_wheel_numbers,
            lemmas_whole.rest,
        ),
        Lemma(lemmas_sense.crank_standstill_too_late, must_fail=True),
    )
}

ORDER = "edges come in the order of their times; a crank that is not standing gave one within its standstill"
GAP = f"steps are at most {LONGEST_STEP_GAP_US} us apart ({LONGEST_STEP_GAP_US / 1e6:.6f} s)"
SETTINGS = "settings are legal; numbers derived from them lie in ranges that are checked over all of them"
COMPOSED = (
    "rooms are joined as controller.py joins them: what a lemma shows of a room the next takes for given"
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
        ),
    ),
    Property(
        "rise",
        "Above the dead band the command never rises faster than the rise rate, whatever the call times.",
        (SETTINGS, "less than a millivolt may be carried from one step to the next"),
        ("slew_limiter", "controller_drive"),
    ),
    Property(
        "cut-off",
        "At and above the cut-off speed nothing is allowed, and nothing is commanded.",
        (SETTINGS, "the speed is the one that the wheel sensor shows"),
        ("ceilings", "wheel", "controller_drive", "guard_permit", "derived_wheel_numbers"),
    ),
    Property(
        "small integers",
        "Every intermediate value of every room fits the 31 bits of a small integer.",
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
        ("fault_latch", "fault_step", "fault_readings", "fault_noise"),
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
)
