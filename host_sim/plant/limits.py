"""Refuses a number in one sentence: its name, the allowed range, and the value."""


def require(name: str, value: object, low: float, high: float, unit: str = "") -> float:
    """Return `value` as a float if it is a finite number from `low` to `high`.

    Anything else (text, a bool, nan, infinity, out of range) raises ValueError in one sentence.
    """
    if not isinstance(value, bool) and isinstance(value, (int, float)) and low <= value <= high:
        return float(value)
    raise ValueError(f"{name} must be {low:g} to {high:g}{' ' + unit if unit else ''}, got {value!r}")


def require_whole(name: str, value: object, low: int, high: int) -> int:
    """Return `value` if it is a whole number from `low` to `high`, else ValueError in one sentence."""
    if not isinstance(value, bool) and isinstance(value, int) and low <= value <= high:
        return value
    raise ValueError(f"{name} must be a whole number from {low} to {high}, got {value!r}")
