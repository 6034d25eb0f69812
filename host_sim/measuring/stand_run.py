"""The motor and its controller from a stand run: the driven wheel turns freely at three speeds, then stops.

`stand_laws.py` has the laws, `stand_search.py` finds the unknowns and their intervals. This module decides
which of them the log determines.
"""

from dataclasses import dataclass
from math import pi

from host_sim.measuring.estimate import Estimate
from host_sim.measuring.log import Log, Series
from host_sim.measuring.stand_data import StandData
from host_sim.measuring.stand_kind import kind_of
from host_sim.measuring.stand_laws import (
    FULL,
    LIMIT,
    NAMES,
    NO_LOAD,
    OHM,
    SPEED,
    START,
    VOLTS,
)  # fmt: skip
from host_sim.measuring.stand_search import Guess, StandSearch

UNSURE_SHARE = 0.5  # If half the interval is more than this share of the number, it is not given.
UNSURE_LEAST = {START: 0.15, NO_LOAD: 0.2}  # These may be near 0.
UNITS = ("V s/m", "ohm", "A", "s", "V", "V", "A")
WORDS = (
    "the volts for a speed", "the motor's resistance", "the no-load current", "the lag", "the dead band",
    "the full command", "the motor current at full command",
)  # fmt: skip
# The name of each number of `treadle measure`.
MEASURED_NAMES = (
    "volts_per_m_per_s", "motor_resistance_ohm", "no_load_current_a", "controller_lag_s", "command_start_v",
    "command_full_v", "motor_current_limit_a",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StandFit:
    """`numbers` by their name in NAMES; `unsure`: sentences about numbers that the log does not determine.

    `misses` are in units of their noise, at `time_s`.
    """

    kind: str
    numbers: dict[str, Estimate]
    unsure: list[str]
    time_s: Series
    misses: Series


def fit_stand_run(log: Log, guess: Guess) -> StandFit:
    """Return what a stand run shows; NotEnoughError says what is missing."""
    data = StandData(log)
    fit = StandSearch(data, kind_of(data.holds), guess)
    fit.search()
    numbers: dict[str, Estimate] = {}
    half = fit.half_widths()
    untold = _scaled_by_full(fit, half)
    vague = []
    for place, width in half.items():
        value = float(fit.unknowns[place])
        if place not in untold and width <= max(UNSURE_SHARE * value, UNSURE_LEAST.get(place, 0.0)):
            numbers[NAMES[place]] = Estimate(value, width, UNITS[place])
        else:
            vague.append(place)
    counted = fit.laws.counted()
    misses = fit.laws.misses(fit.unknowns)[counted]
    return StandFit(fit.kind, numbers, _reasons(fit, vague), data.time_s[fit.laws.rows][counted], misses)


def _scaled_by_full(fit: StandSearch, half: dict[int, float]) -> set[int]:
    """Return the numbers that depend on the full command, if no command was certainly above that."""
    highest_v = max(hold.command_v for hold in fit.data.holds)
    if FULL not in half or float(fit.unknowns[FULL]) + half[FULL] < highest_v:
        return set()
    return {VOLTS, OHM, NO_LOAD, FULL} if fit.kind == SPEED else {FULL, LIMIT}


def _reasons(fit: StandSearch, vague: list[int]) -> list[str]:
    """Return which numbers the log does not determine, and why."""
    reasons = []
    if vague:
        words = ", ".join(WORDS[place] for place in vague)
        why = "the intervals are too wide"
        if FULL in vague:
            why = "the throttle must open until the wheel gets no faster, at a quick opening too"
        reasons.append(f"{words}: {why}")
    if fit.fixed:
        words = ", ".join(WORDS[place] for place in fit.fixed)
        why = (
            "the speed is read too seldom or by wheel pulses" if fit.data.shunt else "no current is measured"
        )
        reasons.append(f"{words}: {why}")
    return reasons


def bike_numbers(fit: StandFit, around_m: float) -> dict[str, Estimate]:
    """Return the numbers by their names in `treadle measure`, and the torque constant.

    That is `volts_per_m_per_s` times the wheel's radius (`around_m` is the circumference): V = k w for a
    direct-current machine.
    """
    found = {MEASURED_NAMES[NAMES.index(name)]: estimate for name, estimate in fit.numbers.items()}
    volts = fit.numbers.get("volts_s_per_m")
    if volts is not None:
        radius_m = around_m / (2.0 * pi)
        half = (volts.high - volts.value) * radius_m
        found["torque_constant_nm_per_a"] = Estimate(volts.value * radius_m, half, "N m/A")
    return found
