"""Describes a key in figures and tables: its sentence, its unit, its name without the unit."""

from firmware.settings import TABLE
from host_sim.bikes.key_notes import NOTES

# The longest ending that matches is the unit; without a match it is a pure number.
_UNITS = {
    "a": "A", "ah": "Ah", "celsius": "°C", "decicelsius": "0.1 °C", "deg": "°", "j_per_k": "J/K",
    "k_per_w": "K/W", "kg": "kg", "kg_m2": "kg m²", "m": "m", "m2": "m²", "m_per_s2": "m/s²", "ma": "mA",
    "mm": "mm", "mm_per_s": "mm/s", "mohm": "mΩ", "ms": "ms", "mv": "mV", "mv_per_m_per_s": "mV s/m",
    "mv_per_s": "mV/s", "nm": "N m", "nm_per_a": "N m/A", "ohm": "Ω", "per_s": "/s", "percent": "%",
    "permille": "‰", "rpm": "rpm", "s": "s", "share": "share", "us": "µs", "uv_per_w": "µV/W", "v": "V",
    "w": "W",
}  # fmt: skip
_SETTINGS = {name: sentence for name, _, _, _, sentence in TABLE}


def unit_of(key: str) -> str:
    """Return the unit of a key, full or by its last name; "" for a pure number."""
    parts = key.split(".")[-1].split("_")
    for first in range(1, len(parts)):
        if unit := _UNITS.get("_".join(parts[first:])):
            return unit
    return ""


def sentence_of(key: str) -> str:
    """Return what a full key means, as its table says it, without a full stop."""
    section, name = key.split(".")
    if section == "settings":
        return _SETTINGS[name].split(";")[0]
    meaning = NOTES[key].meaning if key in NOTES else name.replace("_", " ")
    return meaning.split(". ")[0].rstrip(".")


def short_name(key: str) -> str:
    """Return the last name of a key in words, without its unit."""
    name = key.split(".")[-1]
    parts = name.split("_")
    for first in range(1, len(parts)):
        if "_".join(parts[first:]) in _UNITS and parts[first:] != ["share"]:
            return " ".join(parts[:first])
    return " ".join(parts)


def with_unit(text: str, unit: str) -> str:
    """Return `text (unit)`, or the text alone for a pure number."""
    return f"{text} ({unit})" if unit else text
