"""The values of a test of which the first few are in the quick set; with the others it is long."""

from collections.abc import Iterable
from typing import Any

import pytest


def quick_first(count: int, values: Iterable[Any]) -> list[Any]:
    """Return the first `count` values as they are, and the others marked long."""
    listed = list(values)
    marked = [
        pytest.param(*(value if isinstance(value, tuple) else (value,)), marks=pytest.mark.long)
        for value in listed[count:]
    ]
    return [*listed[:count], *marked]
