"""The values that proofs consider: every legal setting, every reading a board may give."""

from firmware.settings import ASCENDING, TABLE, Settings
from host_sim.proof.numbers import Numbers

COMMAND_MAX_MV = 5000
SPEED_MAX_MM_PER_S = 30_000  # The wheel's own limit is 100 km/h; see the lemma `wheel`.
READING_LOW = -1_000  # A current reading that a board may give; `supply` treats it as 0.
READING_HIGH = 200_000
RANGES = {row[0]: (row[2], row[3]) for row in TABLE}


def any_setting(ex: Numbers, name: str) -> int:
    """Return a symbol for any legal value of one setting."""
    low, high = RANGES[name]
    return ex.integer(name, low, high)


def any_settings(ex: Numbers, names: tuple[str, ...]) -> Settings:
    """Return settings in which `names` have any legal values together; the others are the defaults."""
    settings = Settings({})
    for name in names:
        setattr(settings, name, any_setting(ex, name))
    for lower, higher in ASCENDING:
        if lower in names and higher in names:
            ex.assume(getattr(settings, lower) < getattr(settings, higher))
    return settings


def lies_in(ex: Numbers, value: int, bounds: tuple[int, int], what: str) -> None:
    """Check that a number lies in the range in which other lemmas look for it."""
    ex.check(bounds[0] <= value <= bounds[1], what + " lies where the lemmas look for it")
