"""Which functions are fully described by exact contracts: a mutant that keeps them behaves the same."""

import ast
from functools import cache

from host_sim.proof.whole.contract import nothing
from host_sim.proof.whole.exact_all import EXACT, JOINED
from tests.mutation.proof_mutants import ROOT


@cache
def is_covered(file: str, name: str) -> bool:
    """Tell whether exact contracts without a condition give all that a function of a file of firmware/ does.

    Either it has one itself, or only functions that have one call it. Of a constructor none gives all. A
    function that joins others is covered, and says nothing about those.
    """
    tree = ast.parse((ROOT / "firmware" / file).read_text(encoding="utf-8"))
    if any(isinstance(node, ast.FunctionDef) and node.name == name for node in tree.body):
        return _has_contract(name)
    kinds = [node for node in tree.body if isinstance(node, ast.ClassDef) and name in _methods(node)]
    return bool(kinds) and all(_in_class(kind, name, ()) for kind in kinds)


def _in_class(kind: ast.ClassDef, name: str, below: tuple[str, ...]) -> bool:
    if _has_contract(f"{kind.name}.{name}"):
        return True
    callers = [one for one, node in _methods(kind).items() if _calls(node, name) and one not in below]
    return (
        name.startswith("_")
        and name != "__init__"
        and bool(callers)
        and all(_in_class(kind, one, (*below, name)) for one in callers)
        and not any(_joins(f"{kind.name}.{one}") for one in callers)
    )


def _has_contract(title: str) -> bool:
    return _joins(title) or (title in EXACT and EXACT[title].needs is nothing)


def _joins(title: str) -> bool:
    return any(one.title == title for one, _ in JOINED.values())


def _methods(kind: ast.ClassDef) -> dict[str, ast.FunctionDef]:
    return {node.name: node for node in kind.body if isinstance(node, ast.FunctionDef)}


def _calls(method: ast.FunctionDef, name: str) -> bool:
    return any(isinstance(node, ast.Attribute) and node.attr == name for node in ast.walk(method))
