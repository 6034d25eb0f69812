"""The firmware as the interpreter sees it: modules, classes and functions as trees; objects and lists."""

import ast
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

SMALL_MIN, SMALL_MAX = -(2**30), 2**30 - 1
HALF_PERIOD_US = 1 << 29
TURNS_MAX = 100
BUILTINS = ("min", "max", "abs", "len", "range", "isinstance", "getattr", "setattr", "bool", "int", "str")


class Refused(Exception):
    """The firmware uses what the interpreter does not know."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """A time stamp: `offset`, microseconds after the last step, negative for earlier."""

    offset: Any


class Record:
    """An object of the firmware: its class, and a number; its fields are in the interpreter's store."""

    __slots__ = ("kind", "name", "number")

    def __init__(self, kind: "Kind", number: int) -> None:
        """Name it after its class until a field says better."""
        self.kind = kind
        self.number = number
        self.name = kind.name


@dataclass(frozen=True, slots=True)
class Items:
    """A list of the firmware of fixed length; its items are in the interpreter's store."""

    length: int
    number: int


@dataclass(frozen=True, slots=True)
class Kind:
    """A class of the firmware: its methods by their names."""

    name: str
    module: "Module"
    methods: dict[str, ast.FunctionDef]


class Function:
    """A function of the firmware, or a method with its object."""

    __slots__ = ("kind", "module", "node", "owner")

    def __init__(self, node: ast.FunctionDef, module: "Module", owner: Record | None, kind: Any) -> None:
        """Keep the parts."""
        self.node = node
        self.module = module
        self.owner = owner
        self.kind = kind

    @property
    def title(self) -> str:
        """Return the dotted name."""
        return f"{self.kind.name}.{self.node.name}" if self.kind else self.node.name


class Module:
    """A module of the firmware: its classes and functions as trees, its constants as values."""

    def __init__(self, name: str) -> None:
        """Read the source of a module and the values of its constants."""
        self.name = name
        loaded = import_module(name)
        self.path = str(loaded.__file__)
        tree = ast.parse(Path(self.path).read_text(encoding="utf-8"))
        self.names: dict[str, Any] = {}
        self.elsewhere: dict[str, tuple[str, str]] = {}
        for node in tree.body:
            if isinstance(node, ast.FunctionDef):
                self.names[node.name] = Function(node, self, None, None)
            elif isinstance(node, ast.ClassDef):
                methods = {one.name: one for one in node.body if isinstance(one, ast.FunctionDef)}
                if node.bases or any(one.decorator_list for one in methods.values()):
                    raise Refused(f"{self.path}:{node.lineno}: a class with a base or a decorator")
                self.names[node.name] = Kind(node.name, self, methods)
            elif isinstance(node, ast.ImportFrom):
                for alias in node.names:
                    self.elsewhere[alias.asname or alias.name] = (str(node.module), alias.name)
            elif isinstance(node, (ast.Assign, ast.AnnAssign)):
                for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                    if not isinstance(target, ast.Name):
                        raise Refused(f"{self.path}:{node.lineno}: an assignment to more than a name")
                    self.names[target.id] = vars(loaded)[target.id]
            elif not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
                raise Refused(f"{self.path}:{node.lineno}: {type(node).__name__} at the top of a module")


@dataclass(frozen=True, slots=True)
class Obligation:
    """What must hold at a place of the firmware: `claim` wherever `path` is taken."""

    where: str
    what: str
    path: Any
    claim: Any


class Unset:
    """A variable that not every way has set: it may be passed on, but not used."""


UNSET = Unset()
