"""Settings whose values are all SmallInts: the defaults, with the changes of a test."""

from firmware.settings import TABLE, Settings
from host_sim.rig.small_int import SmallInt

DEFAULTS: dict[str, int] = {row[0]: row[1] for row in TABLE}


def settings_with(**values: int) -> Settings:
    """Return the default settings changed by `values`, every one a SmallInt."""
    return Settings({**{name: SmallInt(value) for name, value in DEFAULTS.items()}, **small(values)})


def small(values: dict[str, int]) -> dict[str, int]:
    """Return the same values as SmallInt."""
    return {name: SmallInt(value) for name, value in values.items()}
