"""Compares generated C with the firmware, function by function, after reading both.

The translator is not asked: one parser reads the C, another the sources, and both are brought to what
`meaning.py` describes. Constants stand by value, so a wrong one shows. What is not compared: the check of the
settings and their defaults (`test_c_form.py` asks for both ends of every range and one beyond), the order in
which C takes operands (`test_subset.py`: at most one of them changes anything), and comments.
"""

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from firmware.controller import Controller
from firmware.records import EdgeLog, Inputs
from firmware.settings import Settings
from tests.forms.meaning import Meaning, NotRead
from tests.forms.read_c import CText, read_c
from tests.forms.read_python import PythonFunction, PythonReader, c_name, fields_of, objects_of
from tests.forms.run_c import computed

HELPERS: dict[str, Callable[..., int]] = {
    "floor_div": lambda one, other: one // other,
    "floor_mod": lambda one, other: one % other,
    "min_of": min,
    "max_of": max,
    "abs_of": abs,
}
ENDS = (-(1 << 30), -1_000_001, *range(-17, 18), 999_999, (1 << 30) - 1)
CHECKED_FIRST: Meaning = (
    "if",
    ("call", "Settings_check", ("name", "settings")),
    [("return", ("number", 0))],
    [],
)
"""What the root's constructor does in C before anything else; in Python, `Settings` checks itself."""


def _objects() -> dict[str, Any]:
    return objects_of(Controller(Settings({}), 0), Inputs())


@cache
def _truths() -> frozenset[str]:
    """Return the names of fields that hold a truth in every class that has them."""
    fields = [field for one in _objects().values() for field in fields_of(one).items()]
    other = {name for name, held in fields if not isinstance(held, bool)}
    return frozenset(name for name, held in fields if isinstance(held, bool)) - other


@cache
def sources() -> dict[str, PythonFunction]:
    """Return what a board calls of the firmware, and all that these functions call, by their names in C."""
    objects, found = _objects(), dict[str, PythonFunction]()
    waiting: list[Any] = [Controller.__init__, Controller.step, Inputs.__init__, EdgeLog.record]
    while waiting:
        function = waiting.pop()
        if c_name(function) not in found:
            found[c_name(function)] = PythonReader(function, objects).read()
            waiting += found[c_name(function)].calls
    found["Controller_init"].body.insert(0, CHECKED_FIRST)
    return found


def differences(folder: Path, only: str | None = None) -> list[str]:
    """Return what differs between `assist.c` in a folder and the firmware, or can't be read, in sentences.

    `only` names the one function that the text holds, where it is not the whole.
    """
    try:
        text = read_c(folder, lambda name: name.startswith("Settings_") or name in HELPERS, _truths())
        return [*_of_functions(text, only), *([] if only else _of_structs(text)), *_of_helpers(text, only)]
    except (NotRead, AttributeError, KeyError, TypeError, ValueError) as wrong:
        return [f"not read: {wrong}"]


def _of_functions(text: CText, only: str | None) -> Iterator[str]:
    expected = sources()
    if only is None:
        for name in sorted(expected.keys() ^ text.bodies.keys()):
            yield f"{name} is only in {'the sources' if name in expected else 'C'}"
    for name in sorted(expected.keys() & text.bodies.keys()):
        source, head = expected[name], text.heads[name]
        if (head.result, head.parameters) != (source.result, source.parameters):
            yield f"{name} is called otherwise: {head}"
        if text.bodies[name] != source.body:
            yield f"{name} does something else"


def _of_structs(text: CText) -> Iterator[str]:
    for name, example in _objects().items():
        if name == "Settings":
            continue
        held, fields = fields_of(example), text.structs.get(name, {})
        if fields.keys() != held.keys():
            yield f"{name} has other fields"
        for field, (kind, length) in fields.items():
            if field in held and not _holds(kind, length, held[field]):
                yield f"{name}.{field} is a {kind}, and a list of {length}"


def _holds(kind: str, length: int, value: Any) -> bool:
    """Whether a field of C can hold all that one of Python holds, of which `value` is one."""
    if isinstance(value, list):
        return kind == "int32_t" and length == len(value)
    if isinstance(value, bool):
        return kind in ("int32_t", "bool") and length == 0
    if isinstance(value, int):
        return kind == "int32_t" and length == 0
    return kind.removesuffix(" *") == type(value).__name__ and length == 0


def _of_helpers(text: CText, only: str | None) -> Iterator[str]:
    for name in HELPERS.keys() & text.nodes.keys() & {only or name for name in HELPERS}:
        real, node = HELPERS[name], text.nodes[name]
        for one in ENDS:
            if name == "abs_of":
                pairs: list[tuple[int, ...]] = [(one,)]
            else:
                pairs = [(one, other) for other in ENDS if other > 0 or name in ("min_of", "max_of")]
            for given in pairs:
                if computed(node, *given) != real(*given):
                    yield f"{name}{given} is {computed(node, *given)}"
                    return
