"""Reads the options of `treadle measure` that are pairs of numbers."""

from pathlib import Path

from host_sim.cli.options import number
from host_sim.errors import RequestError
from host_sim.measuring.calibration import calibrated_pairs
from host_sim.refusals import closest

MASS_KG = (10.0, 1000.0)
DENSITY_KG_PER_M3 = (0.5, 1.6)
# Readings that a meter can check: true = scale times reading plus offset.
KNOWN_UNITS = {"divider": "V", "shunt": "A", "throttle": "V", "selector": "V"}


def kilograms(text: str) -> float:
    """Read --total-mass-kg."""
    return number("--total-mass-kg", text, "a number of kg, {:g} to {:g}".format(*MASS_KG))


def air_density_of(text: str) -> float:
    """Read --air-density."""
    return number("--air-density", text, "a number of kg/m3, {:g} to {:g}".format(*DENSITY_KG_PER_M3))


def read_push(text: str) -> tuple[float, float]:
    """Read one --pushed: way in metres and turns of the wheel."""
    allowed = "metres:turns, for example 21.34:10"
    way, colon, turns = text.partition(":")
    if not colon:
        raise RequestError(f"--pushed is {text[:60]!r}, allowed is {allowed}")
    push = number("--pushed", way, allowed), number("--pushed", turns, allowed)
    if not 1.0 <= push[1] <= 1000.0 or not 0.3 <= push[0] / push[1] <= 4.0:
        raise RequestError(f"--pushed is {text[:60]!r}, allowed is {allowed}: 1 turn or more of 0.3 to 4 m")
    return push


def known_values(texts: list[str]) -> dict[str, list[tuple[float, float]]]:
    """Read all --known, pairs or records of calibrate: for each part the pairs of reading and true value."""
    found: dict[str, list[tuple[float, float]]] = {}
    for text in texts:
        if text.endswith(".json"):
            for name, pairs in calibrated_pairs(Path(text)).items():
                found.setdefault(name, []).extend(pairs)
            continue
        name, _, pair = text.partition("=")
        if name not in KNOWN_UNITS:
            raise RequestError(
                f"--known is {text[:60]!r}, its part is unknown: {closest(name, list(KNOWN_UNITS))}"
            )
        allowed = f"{name}=reading:true, for example {name}=3.51:3.60"
        reading, colon, true = pair.partition(":")
        if not colon:
            raise RequestError(f"--known is {text[:60]!r}, allowed is {allowed}")
        values = number("--known", reading, allowed), number("--known", true, allowed)
        if not all(-1000.0 <= value <= 1000.0 for value in values):
            raise RequestError(f"--known is {text[:60]!r}, allowed is {allowed}, each -1000 to 1000")
        found.setdefault(name, []).append(values)
    return found
