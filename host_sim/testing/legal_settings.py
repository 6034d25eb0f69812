"""Hypothesis strategies for legal settings: all at random, or the defaults with a few changes."""

from hypothesis import strategies as st

from firmware.settings import ASCENDING, FIRST_PITCH_EDGES, TABLE, TWO_CHANNELS, Settings
from host_sim.rig.small_settings import DEFAULTS, small


def _ranges() -> dict[str, tuple[int, int]]:
    """Return for each setting the range in which every pair of ASCENDING can still be satisfied.

    For the engage edges it is the range that is legal with any sensor.
    """
    ranges = {row[0]: (row[2], row[3]) for row in TABLE}
    for _ in ASCENDING:
        for lower, higher in ASCENDING:
            lowest, highest = ranges[lower]
            ranges[lower] = (lowest, min(highest, ranges[higher][1] - 1))
            lowest, highest = ranges[higher]
            ranges[higher] = (max(lowest, ranges[lower][0] + 1), highest)
    ranges["engage_edges"] = (FIRST_PITCH_EDGES[TWO_CHANNELS], ranges["engage_edges"][1])
    return ranges


def _lower_ones_first() -> list[str]:
    names: list[str] = []
    waiting = [row[0] for row in TABLE]
    while waiting:
        for name in waiting:
            if all(lower in names for lower, higher in ASCENDING if higher == name):
                names.append(name)
        waiting = [name for name in waiting if name not in names]
    return names


RANGES = _ranges()
ORDER = _lower_ones_first()


@st.composite
def legal_values(draw: st.DrawFn, /, **fixed: int) -> dict[str, int]:
    """Draw a legal value for every setting.

    Sometimes all of them vary. More often a few vary and the rest keep their defaults, because if all
    58 settings are random, some of them always prevent any drive.
    """
    few = draw(st.integers(0, 3)) > 0
    varied = draw(st.sets(st.sampled_from(ORDER), max_size=10)) if few else set(ORDER)
    values: dict[str, int] = {}
    for name in ORDER:
        lowest, highest = RANGES[name]
        for lower, higher in ASCENDING:
            if higher == name:
                lowest = max(lowest, values[lower] + 1)
        if name == "engage_edges":
            lowest = FIRST_PITCH_EDGES[values["sensor_kind"]]
        if name in fixed:
            values[name] = fixed[name]
        elif name not in varied and lowest <= DEFAULTS[name] <= highest:
            values[name] = DEFAULTS[name]
        else:
            ends = st.sampled_from([lowest, highest])
            values[name] = draw(ends | st.integers(lowest, highest))
    return values


class DrawnSettings(Settings):
    """Settings that print only the differences from the defaults, so that a counterexample is readable."""

    __slots__ = ()

    def __repr__(self) -> str:
        given = {name: value for name, value in self.as_dict().items() if value != DEFAULTS[name]}
        return "settings_with(" + ", ".join(f"{name}={value}" for name, value in given.items()) + ")"


@st.composite
def legal_settings(draw: st.DrawFn, /, **fixed: int) -> Settings:
    """Draw legal settings, every one a SmallInt; those in `fixed` keep the given values."""
    return DrawnSettings(small(draw(legal_values(**fixed))))
