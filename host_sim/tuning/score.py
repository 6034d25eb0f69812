"""The score by which settings are compared: lower is better; a term of 1 is the most that counts as good.

README.md in this folder has the formula. The terms are this project's own judgement (common practice, no
source). They use measures of the bench, so any sweep can be compared with the recommendation.
"""

from dataclasses import dataclass

from host_sim.tuning.drive_rides import DriveMeasures
from host_sim.tuning.engage_rides import EngageMeasures
from host_sim.tuning.release_rides import ReleaseMeasures


@dataclass(frozen=True, slots=True)
class Priority:
    """What a rider wants: `haste` weighs waiting, `care` false starts; `jerk_m_per_s3` is the comfort limit.

    With `thrift` the assist power is chosen too, for two thirds of the energy (`road_rides.py`).
    Comfort limits: common practice, no source. Passengers who stand are carried at about 1 m/s3 and less.
    """

    name: str
    haste: float
    care: float
    jerk_m_per_s3: float
    thrift: bool = False


PRIORITIES = {
    "calm": Priority("calm", 0.5, 2.0, 0.5),
    "balanced": Priority("balanced", 1.0, 1.0, 1.0),
    "quick": Priority("quick", 2.0, 0.5, 2.0),
    # Home on one battery: less help, and the time that takes.
    "range": Priority("range", 1.0, 1.0, 1.0, thrift=True),
    # Starting up a slope: help at once counts, and the slope takes the edge off it.
    "hill": Priority("hill", 1.5, 0.5, 1.5),
    # No false start, and nothing sudden.
    "learner": Priority("learner", 0.5, 4.0, 0.35),
}

ENGAGE_DELAY_S = 0.5
FALSE_SHARE = 0.1
RUN_ON_S = 0.25
LAPSES_PER_MIN = 1.0
# A ring with a flaw is to be repaired: until then help may lapse now and then, but not in every turn.
FLAWED_LAPSES_PER_MIN = 10.0
HALF_S = 0.5  # Until then the rider can't tell whether help comes at all.
REACH_S = 2.0
OVERSHOOT_PERCENT = 10.0
SWING_PERCENT = 5.0
DISTURBANCE_PERCENT = 25.0
RECOVERY_S = 1.0
# A tight SIMC loop has Ms 1.59 (Skogestad 2003); beyond 1.6 each tenth costs as much as half a second.
SENSITIVITY = 1.6
SENSITIVITY_SPAN = 0.2
# The rules "help resumed at speed" and "power when a slope begins" allow 1.1 s and 40 J. Values near that are
# too bad for any priority.
EDGE_HALF_S, EDGE_HALF_SPAN_S = 0.92, 0.04
EXCESS_J, EXCESS_SPAN_J = 25.0, 5.0


def engage_score(measures: EngageMeasures, priority: Priority) -> float:
    """Return the score for waiting for help and for false starts."""
    wait = priority.haste * measures.delay_s / ENGAGE_DELAY_S
    return wait + priority.care * measures.false_share / FALSE_SHARE


def sound_score(measures: ReleaseMeasures) -> float:
    """Return the score for run-on and lapses with a sound ring."""
    return measures.run_on_s / RUN_ON_S + measures.lapses_per_min / LAPSES_PER_MIN


def release_score(measures: ReleaseMeasures) -> float:
    """Return the score for run-on and lapses, flawed rings included; the same for every priority."""
    flawed = measures.weak_lapses_per_min + measures.missing_lapses_per_min
    return sound_score(measures) + flawed / FLAWED_LAPSES_PER_MIN


def drive_score(measures: DriveMeasures, sensitivity: float, priority: Priority) -> float:
    """Return the score for jerk, waiting for power, overshoot, swing, disturbance and small margins.

    `sensitivity` is the greatest Ms over the operating range, 1 without a loop.
    """
    return (
        (measures.jerk_m_per_s3 / priority.jerk_m_per_s3) ** 2
        + priority.haste * (measures.half_s / HALF_S + measures.reach_s / REACH_S)
        + measures.overshoot_percent / OVERSHOOT_PERCENT
        + measures.swing_percent / SWING_PERCENT
        + measures.disturbance_percent / DISTURBANCE_PERCENT
        + measures.recovery_s / RECOVERY_S
        + max(sensitivity - SENSITIVITY, 0.0) / SENSITIVITY_SPAN
        + max(measures.edge_half_s - EDGE_HALF_S, 0.0) / EDGE_HALF_SPAN_S
        + max(measures.excess_j - EXCESS_J, 0.0) / EXCESS_SPAN_J
    )
