"""The results of translating an expression."""

from dataclasses import dataclass

from host_sim.forms.model import Value
from host_sim.forms.viper.graph import Block, Component, Outside

SMALL_INT_MAX = (1 << 30) - 1


@dataclass(frozen=True, slots=True)
class Number:
    """A number as target text, and its value if that is known."""

    text: str
    constant: int | None = None

    @property
    def operand(self) -> str:
        """Return it as an operand of a larger expression."""
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
    """Return a known number."""
    return Number(str(int(value)), constant=int(value))


def _closed(text: str) -> str:
    """Return text in parentheses, unless it is a single element of the array."""
    single = text.endswith("]") and text.count("[") == 1 and text.partition("[")[0].isidentifier()
    return text if single else f"({text})"
