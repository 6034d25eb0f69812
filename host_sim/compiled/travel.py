"""Lets settings be pickled by their values, since pickle can't make an empty instance of a compiled class.

It is enough that both processes import it.
"""

import copyreg

from firmware.settings import Settings


def rebuilt(values: dict[str, int]) -> Settings:
    """Return settings with these values; unpickling calls it."""
    return Settings(values)


def _reduced(settings: Settings) -> tuple[object, tuple[dict[str, int]]]:
    return rebuilt, (settings.as_dict(),)


copyreg.pickle(Settings, _reduced)  # type: ignore[arg-type]
