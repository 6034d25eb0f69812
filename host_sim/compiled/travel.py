"""How settings travel between processes: by their values, since a compiled class has no empty instance.

Imported by whoever sends or answers; importing it is all there is to do.
"""

import copyreg

from firmware.settings import Settings


def settings_again(values: dict[str, int]) -> Settings:
    """Return settings that have travelled."""
    return Settings(values)


def _departing(settings: Settings) -> tuple[object, tuple[dict[str, int]]]:
    return settings_again, (settings.as_dict(),)


copyreg.pickle(Settings, _departing)  # type: ignore[arg-type]
