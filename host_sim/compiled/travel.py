"""Passes settings between processes by their values, since a compiled class has no empty instance.

Importing it is enough, on both sides.
"""

import copyreg

from firmware.settings import Settings


def settings_again(values: dict[str, int]) -> Settings:
    """Return the settings on the other side."""
    return Settings(values)


def _departing(settings: Settings) -> tuple[object, tuple[dict[str, int]]]:
    return settings_again, (settings.as_dict(),)


copyreg.pickle(Settings, _departing)  # type: ignore[arg-type]
