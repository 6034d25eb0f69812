"""The values of a test of which the first few are in the quick set; with the others it is long."""

from collections.abc import Iterable
from typing import Any

import pytest


def quick_first(count: int, values: Iterable[Any]) -> list[Any]:
    """Return the first `count` values as they are, and the others marked long."""
    listed = list(values)
    return [*listed[:count], *map(_long, listed[count:])]


def _long(value: Any) -> Any:
    """Return a value, several in a tuple, or what `pytest.param` made of them, marked long."""
    if hasattr(value, "marks"):
        return pytest.param(*value.values, marks=(*value.marks, pytest.mark.long), id=value.id)
    return pytest.param(*(value if isinstance(value, tuple) else (value,)), marks=pytest.mark.long)
