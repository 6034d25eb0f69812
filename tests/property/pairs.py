"""Kinds of bicycles such that every pair of values of two properties occurs, and settings of them that drive.

The properties are those that change which code runs: the pedal sensor's kind, lead and pulses, the shunt, the
selector and the motor controller. All combinations are 720; the pairs need about twenty.
"""

from itertools import combinations, product

import pytest
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from firmware.settings import (
    A_LEADS,
    B_LEADS,
    DUTY_CODED,
    MOTOR_SPEED,
    MOTOR_TORQUE,
    MOTOR_UNKNOWN,
    ONE_CHANNEL,
    SELECTOR_ABSENT,
    SELECTOR_PROPORTIONAL,
    TWO_CHANNELS,
    Settings,
)
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import small
from host_sim.testing.legal_settings import DrawnSettings, legal_values

_DEFAULT = hypothesis_settings.default
assert _DEFAULT is not None

AXES: dict[str, tuple[int, ...]] = {
    "sensor_kind": (TWO_CHANNELS, ONE_CHANNEL, DUTY_CODED),
    "lead": (A_LEADS, B_LEADS),
    "pulses_per_rev": (4, 6, 12, 32, 64),
    "shunt_fitted": (0, 1),
    "selector_positions": (SELECTOR_ABSENT, SELECTOR_PROPORTIONAL, 4),
    "motor_kind": (MOTOR_UNKNOWN, MOTOR_TORQUE, MOTOR_SPEED),
}
EXAMPLES_A_KIND = max(_DEFAULT.max_examples // 10, 1)
"""Rides of each kind that a test tries and that must all drive: 4, and 100 with the profile `deep`."""

RUNS_A_KIND = max(EXAMPLES_A_KIND // 3, 4)
"""The same for stateful runs, which take longer: 4, and 33 with the profile `deep`."""

RUNS_OF_ANY = min(_DEFAULT.max_examples, 300)
"""Stateful runs with any legal settings, which need not drive."""

Kind = dict[str, int]
Pair = tuple[tuple[str, int], tuple[str, int]]

# Below these a legal setting may forbid all drive, or round it down to nothing.
LEAST = {
    "assist_power_w": 100,
    "power_limit_w": 100,
    "gain_uv_per_w": 200,
    "stop_pitch_percent": 110,
    **{f"share_{position}_permille": 500 for position in range(1, 7)},
}
DRIVES_WITHIN_MS = 14_000  # 128 edges of one channel with 4 pulses take 10 s at the cadence below.
ROLL_MM_PER_S = 500  # Above the least speed to engage.


def pairs_of(kind: Kind) -> set[Pair]:
    """Return the pairs of values that one kind shows."""
    return set(combinations(kind.items(), 2))


def all_pairs() -> set[Pair]:
    """Return every pair of values of two properties."""
    found: set[Pair] = set()
    for one, other in combinations(AXES, 2):
        found |= {((one, low), (other, high)) for low, high in product(AXES[one], AXES[other])}
    return found


def pairwise() -> list[Kind]:
    """Return kinds that show all pairs: of all combinations always the first that shows the most new ones."""
    kinds = [dict(zip(AXES, values, strict=True)) for values in product(*AXES.values())]
    missing = all_pairs()
    chosen = []
    while missing:
        best = max(kinds, key=lambda kind: len(pairs_of(kind) & missing))
        missing -= pairs_of(best)
        chosen.append(best)
    for kind in list(chosen):  # What was chosen first may be shown by later ones together.
        others = [other for other in chosen if other is not kind]
        if set().union(*map(pairs_of, others)) == all_pairs():
            chosen = others
    return chosen


KINDS = pairwise()
few_of_each_kind = hypothesis_settings(max_examples=EXAMPLES_A_KIND)


def name_of(kind: Kind) -> str:
    """Return a short name for a test's id."""
    sensor = ("two", "one", "duty")[kind["sensor_kind"]]
    lead = "AB"[kind["lead"]]
    shunt = "shunt" if kind["shunt_fitted"] else "noshunt"
    motor = ("unknown", "torque", "speed")[kind["motor_kind"]]
    return f"{sensor}-{lead}-{kind['pulses_per_rev']}-{shunt}-selector{kind['selector_positions']}-{motor}"


every_kind = pytest.mark.parametrize("kind", KINDS, ids=name_of)


@st.composite
def driving_settings(draw: st.DrawFn, /, **kind: int) -> Settings:
    """Draw legal settings of a kind that do not forbid all drive."""
    values = draw(legal_values(**kind))
    for name, least in LEAST.items():
        values[name] = max(values[name], least)
    # There must be a speed at which pedalling engages, the power has not begun to fade, and the cut-off
    # distance lasts longer than the motor's lag and a pitch; a pitch of the wheel must take less than 3 s.
    fastest = min(values["taper_start_mm_per_s"] * 3 // 4 - ROLL_MM_PER_S, ROLL_MM_PER_S)
    values["engage_speed_mm_per_s"] = max(min(values["engage_speed_mm_per_s"], fastest), 0)
    if values["engage_speed_mm_per_s"] > 0:
        least = values["wheel_circumference_mm"] // ROLL_MM_PER_S + 1
        values["wheel_pulses_per_rev"] = max(values["wheel_pulses_per_rev"], least)
    return DrawnSettings(small(values))


def start_driving(rig: Rig) -> None:
    """Rest, roll until the speed is known, then pedal well above the engage cadence until the rig drives."""
    settings = rig.settings
    rig.ready()
    fastest = int(settings.taper_start_mm_per_s) * 3 // 4
    rig.wheel_mm_per_s = min(int(settings.engage_speed_mm_per_s) + ROLL_MM_PER_S, fastest)
    if settings.engage_speed_mm_per_s > 0:
        pitch_mm = int(settings.wheel_circumference_mm) // int(settings.wheel_pulses_per_rev)
        rig.run(3_000 * pitch_mm // rig.wheel_mm_per_s)
    rig.rpm = int(settings.engage_rpm) * 4 // 3 + 90
    rig.until(lambda rig: rig.command_mv > 0, DRIVES_WITHIN_MS)
