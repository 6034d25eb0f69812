"""The state of a translation: the lines written so far, and the function being translated."""

import ast
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from host_sim.forms.model import Function
from host_sim.forms.viper.graph import Component
from host_sim.forms.viper.values import Meaning


class Text:
    """Lines with their indentation."""

    def __init__(self) -> None:
        """Start without a line."""
        self.lines: list[str] = []
        self.depth = 0

    def line(self, text: str) -> None:
        """Append a line."""
        self.lines.append("    " * self.depth + text)

    @contextmanager
    def block(self, heading: str) -> Iterator[None]:
        """Write a heading, and what follows below it."""
        self.line(heading)
        before = len(self.lines)
        self.depth += 1
        yield
        if len(self.lines) == before:
            self.line("pass")
        self.depth -= 1


@dataclass(slots=True)
class Frame:
    """A function being translated: what its names mean, and how its returns are written.

    If the function is inlined, `result` takes its return value, and a return before the end leaves
    a loop of one pass (`leaves_loop`).
    """

    function: Function
    me: Component | None
    meanings: dict[str, Meaning] = field(default_factory=dict)
    own: set[str] = field(default_factory=set)
    inside: bool = False
    result: str | None = None
    leaves_loop: bool = False
    nesting: int = 0
    mark: int = 0


def returns_in(function: Function) -> list[ast.Return]:
    """Return all return statements of a function."""
    return [node for node in ast.walk(function.node) if isinstance(node, ast.Return)]


def returns_in_loops(function: Function) -> bool:
    """Tell whether a loop of the function holds a return."""
    loops = [node for node in ast.walk(function.node) if isinstance(node, ast.For | ast.While)]
    return any(isinstance(node, ast.Return) for loop in loops for node in ast.walk(loop))


def assigned_in(function: Function) -> set[str]:
    """Return the names that a function assigns to."""
    nodes = ast.walk(function.node)
    return {node.id for node in nodes if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
