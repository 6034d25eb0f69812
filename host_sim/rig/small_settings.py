"""Settings whose every value is a SmallInt: the defaults, and what a test puts over them."""

from firmware.settings import TABLE, Settings
from host_sim.rig.small_int import SmallInt

DEFAULTS: dict[str, int] = {row[0]: row[1] for row in TABLE}


def settings_with(**values: int) -> Settings:
    """Return the default settings with `values` over them, every one a SmallInt."""
    return Settings({**{name: SmallInt(value) for name, value in DEFAULTS.items()}, **small(values)})


def small(values: dict[str, int]) -> dict[str, int]:
    """Return the same values as SmallInt."""
    return {name: SmallInt(value) for name, value in values.items()}
