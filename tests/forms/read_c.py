"""Reads generated C with a parser of C, as `meaning.py` says. It does not use the translator."""

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pycparser import c_ast, c_parser

from tests.forms.building import need
from tests.forms.meaning import (
    Meaning,
    NotRead,
    applied,
    both,
    chosen,
    denied,
    extreme,
    minus,
    truth,
)

ROUNDED = {"floor_div": "//", "floor_mod": "%"}
EXTREMES = {"min_of": "min", "max_of": "max", "abs_of": "abs"}
WORDS = {"int8_t": (8, True), "uint8_t": (8, False), "int16_t": (16, True), "uint16_t": (16, False)}
WORDS |= {"int32_t": (32, True)}
PLAIN = ("*", "+", "-", ">>", "<<", "&", "|", "^", "<", "<=", ">", ">=", "==", "!=")


@dataclass(frozen=True, slots=True)
class Head:
    """What a function is called with: its result, and names and kinds of its parameters, `self` first."""

    result: str
    parameters: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class CText:
    """What the functions of a C text do and take, the nodes of all of them, and the fields of structs.

    A field has its kind in C's words, and the length of its list or 0.
    """

    bodies: dict[str, list[Meaning]]
    heads: dict[str, Head]
    nodes: dict[str, c_ast.FuncDef]
    structs: dict[str, dict[str, tuple[str, int]]]


def read_c(folder: Path, left_out: Callable[[str], bool], truths: frozenset[str]) -> CText:
    """Read `assist.c` in a folder, but for the bodies of functions to be left out.

    `truths` are the fields that hold a truth only, though C may give them a word.
    Raises NotRead where it holds anything unknown.
    """
    words = folder / "words"
    words.mkdir(exist_ok=True)
    for name in ("stdint.h", "stdbool.h", "stddef.h"):
        (words / name).write_text("", encoding="utf-8")
    kinds = "".join(f"typedef int {name};\n" for name in (*WORDS, "uint32_t", "bool"))
    command = [need("gcc"), "-E", "-P", "-nostdinc", f"-I{words}", "-D__attribute__(x)=", "assist.c"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True, timeout=60)
    if done.stderr:
        raise NotRead(done.stderr)
    tree = c_parser.CParser().parse(kinds + done.stdout)
    tables, structs = {}, {}
    for node in tree.ext:
        if isinstance(node, c_ast.Decl) and isinstance(node.type, c_ast.Struct) and node.type.decls:
            structs[node.type.name] = {one.name: _field(one) for one in node.type.decls}
        if isinstance(node, c_ast.Decl) and node.init is not None and not left_out(node.name):
            tables[node.name] = _table(node)
    nodes = {node.decl.name: node for node in tree.ext if isinstance(node, c_ast.FuncDef)}
    kept = {name: node for name, node in nodes.items() if not left_out(name)}
    truths |= {node.name for node in tree.ext if isinstance(node, c_ast.Decl) and _is_of_truth(node.type)}
    truths |= {name for name, node in nodes.items() if _is_of_truth(node.decl.type)}
    return CText(
        {name: Reader(tables, truths).block(node.body) for name, node in kept.items()},
        {name: _head(node.decl.type) for name, node in kept.items()},
        nodes,
        structs,
    )


def _kind(node: c_ast.Node) -> str:
    """Return a type in C's words without its qualifiers; `*` for a pointer."""
    if isinstance(node, c_ast.PtrDecl):
        return _kind(node.type) + " *"
    if isinstance(node, c_ast.TypeDecl) and isinstance(node.type, c_ast.IdentifierType):
        return " ".join(node.type.names)
    raise NotRead(f"a type at {node.coord}")


def _field(node: c_ast.Decl) -> tuple[str, int]:
    """Return the kind of a field, and the length of a list or 0."""
    if isinstance(node.type, c_ast.ArrayDecl):
        return _kind(node.type.type), int(node.type.dim.value)
    return _kind(node.type), 0


def _head(node: c_ast.FuncDecl) -> Head:
    given = [one for one in node.args.params if isinstance(one, c_ast.Decl)] if node.args else []
    return Head(_kind(node.type), tuple((one.name, _kind(one.type)) for one in given))


def _is_of_truth(node: c_ast.Node) -> bool:
    return isinstance(node, c_ast.FuncDecl) and _kind(node.type) == "bool"


def _table(node: c_ast.Decl) -> Meaning:
    """Return a table of numbers as nested tuples; each has to fit its word."""
    inner = node.type
    while isinstance(inner, c_ast.ArrayDecl):
        inner = inner.type
    bits, signed = WORDS[_kind(inner)]
    lowest, highest = (-(1 << bits - 1), (1 << bits - 1) - 1) if signed else (0, (1 << bits) - 1)

    def values(part: c_ast.Node) -> Meaning | int:
        if isinstance(part, c_ast.InitList):
            return tuple(map(values, part.exprs))
        found = Reader({}, frozenset()).value(part)
        if found[0] != "number" or not lowest <= found[1] <= highest:
            raise NotRead(f"an element of {node.name}: {found}")
        return int(found[1])

    return ("table", values(node.init))


class Reader:
    """Reads statements and expressions of one function."""

    def __init__(self, tables: dict[str, Meaning], truths: frozenset[str]) -> None:
        """Read with the tables of the text, and the names of functions and fields that give a truth."""
        self._tables = tables
        self._truths = truths
        self._bits: set[str] = set()
        """Variables that hold 0 or 1 only: another number would be cut."""

    def block(self, node: c_ast.Node | None) -> list[Meaning]:
        """Return the statements of a block."""
        items = node.block_items or [] if isinstance(node, c_ast.Compound) else [node] if node else []
        return [found for item in items for found in self._statement(item)]

    def _statement(self, node: c_ast.Node) -> Iterator[Meaning]:
        if isinstance(node, c_ast.Decl):
            yield from self._declared(node)
        elif isinstance(node, c_ast.Assignment):
            yield self._assigned(node)
        elif isinstance(node, c_ast.FuncCall):
            yield ("do", self.value(node))
        elif isinstance(node, c_ast.Return):
            yield ("return", self.value(node.expr) if node.expr is not None else None)
        elif isinstance(node, c_ast.If):
            otherwise = self.block(node.iffalse)
            yield ("if", truth(self.value(node.cond)), self.block(node.iftrue), otherwise)
        elif isinstance(node, c_ast.While):
            yield ("while", truth(self.value(node.cond)), self.block(node.stmt))
        elif isinstance(node, c_ast.For):
            yield self._counted(node)
        elif not (isinstance(node, c_ast.Cast) and _kind(node.to_type.type) == "void"):
            raise NotRead(f"{type(node).__name__} at {node.coord}")

    def _declared(self, node: c_ast.Decl) -> Iterator[Meaning]:
        is_pointer = isinstance(node.type, c_ast.PtrDecl)
        if node.storage or not (is_pointer or _kind(node.type) in ("int32_t", "bool")):
            raise NotRead(f"a variable of another kind at {node.coord}")
        if not is_pointer and _kind(node.type) == "bool":
            self._bits.add(node.name)
        if node.init is not None:
            value = self.value(node.init)
            self._fits(node.name, value)
            yield ("set", ("name", node.name), value)

    def _fits(self, name: str, value: Meaning) -> None:
        if name in self._bits and not self._is_truth(value):
            raise NotRead(f"{name} is a truth and takes {value}")

    def _is_truth(self, value: Meaning) -> bool:
        if value[0] in ("number", "name", "call", "choice"):
            return (
                value[1:] in ((0,), (1,))
                or (value[0] == "name" and value[1] in self._bits)
                or (value[0] == "call" and value[1] in self._truths)
                or (value[0] == "choice" and all(map(self._is_truth, value[2:])))
            )
        if value[0] == "field":
            return value[2] in self._truths
        return value[0] in ("not", "and", "or", "<", "<=", ">", ">=", "==", "!=")

    def _assigned(self, node: c_ast.Assignment) -> Meaning:
        place, value = self.value(node.lvalue), self.value(node.rvalue)
        if place[0] == "name":
            self._fits(place[1], value)
        sign = node.op.removesuffix("=")
        if sign and sign not in PLAIN:
            raise NotRead(f"{node.op} at {node.coord}")
        return ("set", place, applied(sign, place, value) if sign else value)

    def _counted(self, node: c_ast.For) -> Meaning:
        """Return a loop that counts a variable of its own up by one."""
        (start,) = node.init.decls
        name = ("name", start.name)
        step = node.next
        ends = isinstance(node.cond, c_ast.BinaryOp) and node.cond.op == "<"
        if not ends or self.value(node.cond.left) != name:
            raise NotRead(f"the end of a loop at {node.coord}")
        if not (isinstance(step, c_ast.UnaryOp) and step.op == "p++" and self.value(step.expr) == name):
            raise NotRead(f"the step of a loop at {node.coord}")
        return (
            "count",
            start.name,
            self.value(start.init),
            self.value(node.cond.right),
            self.block(node.stmt),
        )

    def value(self, node: c_ast.Node) -> Meaning:
        """Return an expression."""
        if isinstance(node, c_ast.Constant) and node.type == "int":
            return ("number", int(node.value, 0))
        if isinstance(node, c_ast.ID):
            if node.name in ("true", "false"):
                return ("number", int(node.name == "true"))
            return self._tables.get(node.name, ("name", node.name))
        if isinstance(node, c_ast.StructRef):
            return ("field", self.value(node.name), node.field.name)
        if isinstance(node, c_ast.ArrayRef):
            return ("element", self.value(node.name), self.value(node.subscript))
        if isinstance(node, c_ast.Cast) and _kind(node.to_type.type) == "int32_t":
            return self.value(node.expr)
        if isinstance(node, c_ast.TernaryOp):
            return chosen(self.value(node.cond), self.value(node.iftrue), self.value(node.iffalse))
        if isinstance(node, c_ast.UnaryOp):
            return self._unary(node)
        if isinstance(node, c_ast.BinaryOp):
            return self._binary(node)
        if isinstance(node, c_ast.FuncCall):
            return self._called(node)
        raise NotRead(f"{type(node).__name__} at {node.coord}")

    def _unary(self, node: c_ast.UnaryOp) -> Meaning:
        it = self.value(node.expr)
        if node.op == "&" and it[0] == "field":
            return it  # An object, and where it is.
        if node.op == "!":
            return denied(it)
        if node.op == "-":
            return minus(it)
        raise NotRead(f"{node.op} at {node.coord}")

    def _binary(self, node: c_ast.BinaryOp) -> Meaning:
        left, right = self.value(node.left), self.value(node.right)
        if node.op in ("&&", "||"):
            return both("and" if node.op == "&&" else "or", [left, right])
        if node.op not in PLAIN:
            raise NotRead(f"{node.op} at {node.coord}")
        return applied(node.op, left, right)

    def _called(self, node: c_ast.FuncCall) -> Meaning:
        name, given = node.name.name, [self.value(one) for one in node.args.exprs] if node.args else []
        if name in ROUNDED:
            return applied(ROUNDED[name], *given)
        if name in EXTREMES:
            return extreme(EXTREMES[name], given)
        return ("call", name, *given)
