"""Checks whether two versions of a firmware class differ: steps both from the same state, on symbols.

One call from any state that the invariant allows, with any arguments: if all fields and the result agree
afterwards, then so they do after any number of calls.
"""

from collections.abc import Callable
from types import ModuleType
from typing import Any

from host_sim.proof.explorer import Explorer

Situation = Callable[[Any], tuple[Any, str, tuple[Any, ...]]]
"""Makes an object in any state, and says which method to call with which arguments; or a module and which
function of it."""


def check_equivalent(situation: Situation, changed: dict[str, Callable[..., Any]]) -> int:
    """Return on how many paths the class with its `changed` methods does the same as the class as it is.

    Failure names what differs, and the numbers for which it does.
    """

    def both(ex: Any) -> None:
        plain, method, arguments = situation(ex)
        if isinstance(plain, ModuleType):
            result, other = getattr(plain, method)(*arguments), changed[method](*arguments)
            check_same(ex, result, other, f"what {method} returns")
            return
        twin, twin_arguments = twin_of(plain), [twin_of(value) for value in arguments]
        kind = type(plain)
        twin.__class__ = type(kind.__name__, (kind,), {"__slots__": (), **changed})
        result, twin_result = getattr(plain, method)(*arguments), getattr(twin, method)(*twin_arguments)
        check_same(ex, result, twin_result, f"what {method} returns")
        check_same(ex, plain, twin, kind.__name__)
        for value, other in zip(arguments, twin_arguments, strict=True):
            check_same(ex, value, other, type(value).__name__)

    explorer = Explorer()
    explorer.explore(both)
    return explorer.paths


def is_record(value: Any) -> bool:
    """Tell whether `value` is an object of the firmware, with fields of its own."""
    return type(value).__module__.startswith("firmware.")


def fields_of(value: Any) -> list[str]:
    """Return the names of a record's fields."""
    return [name for kind in type(value).__mro__ for name in getattr(kind, "__slots__", ())]


def twin_of(value: Any) -> Any:
    """Return a copy of a record or a list, with copies of the records and lists in it; numbers are shared."""
    if isinstance(value, list):
        return [twin_of(one) for one in value]
    if not is_record(value):
        return value
    twin = object.__new__(type(value))
    names = fields_of(value) or list(vars(value))
    for name in names:
        setattr(twin, name, twin_of(getattr(value, name)))
    return twin


def check_same(ex: Any, one: Any, other: Any, what: str) -> None:
    """Make sure that two values agree: numbers by number, truths by truth, records field by field."""
    if isinstance(one, list):
        for index, (mine, theirs) in enumerate(zip(one, other, strict=True)):
            check_same(ex, mine, theirs, f"{what} {index}")
    elif is_record(one):
        for name in fields_of(one) or list(vars(one)):
            check_same(ex, getattr(one, name), getattr(other, name), f"{what}.{name}")
    elif isinstance(one, bool):
        ex.check(bool(one) == bool(other), f"{what} is the same")
    else:
        ex.check(one == other, f"{what} is the same")
