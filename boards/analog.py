"""Converter readings to millivolts, milliamperes and tenths of a degree, in integers without allocating."""

RAW_MAX = 65_535
_TWELVE_BITS = 4_095

# A 10 kohm NTC with B = 3950 K, 100 kohm in parallel, 10 kohm to the converter's reference: the reading
# in twelve bits at -20, 0 ... 160 degrees Celsius. boards/README.md has the formula, a test computes them.
NTC_LOWEST_DECICELSIUS = -200
NTC_STEP_DECICELSIUS = 200
NTC_RAW = (3_427, 2_930, 2_158, 1_371, 799, 456, 265, 160, 100, 65)
NTC_OPEN_RAW = 3_560  # Without the NTC the 100 kohm leave 3723.
OPEN_DECICELSIUS = -500  # Outside the plausible range of the firmware, so it is a fault.
SHORTED_DECICELSIUS = 3_000


def scaled(raw: int, full: int) -> int:
    """Return `full` times `raw` over its full scale; `raw` 0 to 65535, `full` up to 260_000."""
    # In twelve bits, like the converters: the product fits a small int.
    return (raw >> 4) * full // _TWELVE_BITS


def ntc_decicelsius(raw: int) -> int:
    """Return the motor's temperature from the reading of the NTC, by straight lines through NTC_RAW.

    Accurate to 2 degrees plus the part's own tolerance. Colder than the table counts as -20 degrees; an open
    or shorted wire gives an implausible temperature.
    """
    raw >>= 4
    if raw > NTC_OPEN_RAW:
        return OPEN_DECICELSIUS
    if raw > NTC_RAW[0]:
        return NTC_LOWEST_DECICELSIUS
    for place in range(1, len(NTC_RAW)):
        lower = NTC_RAW[place]
        if raw >= lower:
            upper = NTC_RAW[place - 1]
            at_decicelsius = NTC_LOWEST_DECICELSIUS + NTC_STEP_DECICELSIUS * place
            return at_decicelsius - NTC_STEP_DECICELSIUS * (raw - lower) // (upper - lower)
    return SHORTED_DECICELSIUS
