"""What an expression of the sources becomes while it is translated."""

from dataclasses import dataclass

from host_sim.forms.model import Value
from host_sim.forms.viper.graph import Block, Component, Outside

SMALL_INT_MAX = (1 << 30) - 1


@dataclass(frozen=True, slots=True)
class Number:
    """A number as text of the target, and its value where that is known."""

    text: str
    constant: int | None = None

    @property
    def operand(self) -> str:
        """Return it as a part of a larger expression."""
        bare = self.text.isidentifier() or self.text.isdigit() or self.constant is not None
        return self.text if bare and not self.text.startswith("-") else _closed(self.text)


@dataclass(frozen=True, slots=True)
class Table:
    """A constant of nested tuples, of which `offset` numbers are skipped."""

    values: tuple[Value, ...]
    offset: "Number | None" = None
    whole: "tuple[Value, ...] | None" = None


Meaning = Number | Table | Component | Block | Outside | str
"""A str is a text of the sources; only messages use it."""


def constant(value: int) -> Number:
    """Return a number that is known."""
    return Number(str(int(value)), constant=int(value))


def _closed(text: str) -> str:
    """Return text in brackets, unless it is a single element of the array."""
    single = text.endswith("]") and text.count("[") == 1 and text.partition("[")[0].isidentifier()
    return text if single else f"({text})"
