"""The rules of the house, read from the source by its syntax tree: arrows, units, and what a step may do."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from firmware.settings import TABLE
from host_sim.compiled.build import HOT

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = sorted((ROOT / "firmware").rglob("*.py"))
BASE_MODULES = {"firmware.ticks", "firmware.integers", "firmware.records", "firmware.settings"}

# Which components a component may import, besides itself.
ARROWS = {
    "firmware.sense": BASE_MODULES,
    "firmware.decide": BASE_MODULES | {"firmware.sense"},
    "firmware.drive": BASE_MODULES | {"firmware.sense"},
    "firmware.guard": BASE_MODULES | {"firmware.sense"},
    "firmware.controller": BASE_MODULES
    | {"firmware.sense", "firmware.decide", "firmware.drive", "firmware.guard"},
    "firmware.loop": BASE_MODULES | {"firmware.controller"},
    "firmware.link": {"firmware"},  # Imports everything; nothing else imports it.
}

# Every number that is a quantity ends in one of these. `_uv` and `_uv_per_w` are the power loop's: its
# gain and its state need more than whole millivolts.
SUFFIXES = (
    "_us",
    "_ms",
    "_mv",
    "_ma",
    "_nv",
    "_uv",
    "_uv_per_w",
    "_w",
    "_mm",
    "_mm_per_s",
    "_mohm",
    "_rpm",
    "_decicelsius",
    "_permille",
    "_percent",
    "_raw",
    "_mv_per_s",
    "_mv_per_m_per_s",
)

# Every other number is a plain count, state, choice or truth; a new one is added here, on purpose.
PLAIN_SETTINGS = {
    "sensor_kind",
    "lead",
    "forward_duty_high",
    "pulses_per_rev",
    "engage_edges",
    "backward_edges",
    "throttle_unpedalled",
    "wheel_pulses_per_rev",
    "motor_kind",
    "shunt_fitted",
    "throttle_fitted",
    "selector_positions",
    "heat_sensor_fitted",
    "fault_samples",
    "noise_limit",
}
PLAIN_NUMBERS = PLAIN_SETTINGS | {
    # Helpers whose numbers may be of any kind.
    "value",
    "lowest",
    "highest",
    "start",
    "end",
    "permille",
    "scale",
    # Levels, positions, kinds, counts and steps.
    "levels",
    "level",
    "high",
    "changed",
    "conditions",
    "kind",
    "form",
    "edges",
    "samples",
    "pulses_per_rev",
    "state",
    "event",
    "cause",
    "fault_cause",
    "sequence",
    "crc",
    "blocks",
}
UNITS_OF_TIME_AND_ELECTRICITY = re.compile(
    r"(^|_)(time|delay|duration|timeout|voltage|volts?|current|amps?|power|watts?|speed|cadence|distance|"
    r"temperature|millis|micros|secs?|seconds|period|gap)$"
)
# Named after a quantity, but not one: a choice, a reason, an object.
NO_QUANTITIES = {"BY_SPEED", "MOTOR_SPEED", "THROTTLE_BELOW_STARTUP_SPEED", "_cadence"}

# What a 32-bit MicroPython allocates memory for, or does not have.
TAKES_MEMORY = (
    ast.JoinedStr,
    ast.Tuple,
    ast.List,
    ast.Dict,
    ast.Set,
    ast.ListComp,
    ast.SetComp,
    ast.DictComp,
    ast.GeneratorExp,
    ast.Lambda,
    ast.Yield,
    ast.YieldFrom,
    ast.Await,
    ast.With,
    ast.Raise,
    ast.Assert,
    ast.Try,
    ast.Slice,
    ast.Starred,
    ast.Global,
    ast.Nonlocal,
    ast.FunctionDef,
    ast.ClassDef,
    ast.Import,
    ast.ImportFrom,
    ast.Div,
    ast.Pow,
    ast.MatMult,
)
CALLS_THAT_TAKE_MEMORY = {
    "divmod",
    "round",
    "enumerate",
    "zip",
    "map",
    "filter",
    "sorted",
    "reversed",
    "list",
    "tuple",
    "dict",
    "set",
    "str",
    "bytes",
    "bytearray",
    "float",
    "sum",
    "print",
    "getattr",
    "setattr",
    "isinstance",
    "iter",
    "next",
    "pow",
    "super",
}
MISSING_MODULES = {
    "typing",
    "__future__",
    "dataclasses",
    "enum",
    "abc",
    "functools",
    "time",
    "collections",
    "contextlib",
}


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports name the whole path"
            found.add(node.module or "")
    return found


def files_below(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def inside(module: str, components: set[str]) -> bool:
    return any(module == component or module.startswith(component + ".") for component in components)


def place(path: Path, node: ast.AST) -> str:
    return f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', '?')}"


def functions_in_a_step() -> Iterator[tuple[Path, ast.FunctionDef]]:
    """Yield what `step` may reach: every function but the constructors, the settings and the loop."""
    for path in FIRMWARE:
        if name_of(path) in ("firmware.settings", "firmware.loop") or "link" in path.parts:
            continue
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.FunctionDef) and node.name != "__init__":
                yield path, node


def body_nodes(function: ast.FunctionDef) -> Iterator[ast.AST]:
    """Yield all nodes of a function's body, without its docstring, its annotations and itself."""
    for statement in function.body:
        yield from ast.walk(statement)


# Arrows.


def test_there_is_a_firmware_to_look_at():
    assert len(FIRMWARE) >= 24
    assert len(list(functions_in_a_step())) > 60


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_firmware_imports_only_firmware_along_the_arrows(path):
    module = name_of(path)
    imports = imports_of(path)
    assert all(inside(imported, {"firmware"}) for imported in imports), imports
    if module in BASE_MODULES or module == "firmware":
        assert inside_all(imports, BASE_MODULES)
        return
    components = [component for component in ARROWS if inside(module, {component})]
    assert len(components) == 1, f"{module} is in no component of ARROWS"
    assert inside_all(imports, ARROWS[components[0]] | {components[0]})


def inside_all(imports: set[str], components: set[str]) -> bool:
    return all(inside(imported, components) for imported in imports)


def test_the_output_guard_imports_base_modules_only():
    assert inside_all(imports_of(ROOT / "firmware/guard/output_guard.py"), BASE_MODULES)


def test_the_plant_does_not_import_the_firmware():
    files = files_below("host_sim/plant")
    assert files
    for path in files:
        assert not any(inside(imported, {"firmware"}) for imported in imports_of(path)), path


@pytest.mark.parametrize(
    ("folder", "never"),
    [("host_sim", {"tests", "boards"}), ("boards", {"tests", "host_sim"}), ("firmware", {"tests"})],
)
def test_no_top_folder_imports_one_above_it(folder, never):
    for path in files_below(folder):
        for imported in imports_of(path):
            assert not inside(imported, never), f"{path}: {imported}"


# Units.


def test_every_setting_has_its_unit_in_its_name_or_is_a_plain_number():
    for name, *_ in TABLE:
        assert name.endswith(SUFFIXES) != (name in PLAIN_SETTINGS), name
    assert {row[0] for row in TABLE} >= PLAIN_SETTINGS


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_every_int_parameter_has_its_unit_in_its_name_or_is_a_plain_number(path):
    for node in ast.walk(tree_of(path)):
        if not isinstance(node, ast.FunctionDef):
            continue
        for argument in node.args.args:
            if isinstance(argument.annotation, ast.Name) and argument.annotation.id == "int":
                known = argument.arg.endswith(SUFFIXES) or argument.arg in PLAIN_NUMBERS
                assert known, f"{place(path, argument)} {argument.arg}"


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_no_attribute_or_variable_is_named_for_a_quantity_without_its_unit(path):
    for node in ast.walk(tree_of(path)):
        name = ""
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            name = node.attr
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            name = node.id
        named_for_a_quantity = (
            UNITS_OF_TIME_AND_ELECTRICITY.search(name.lower()) and name not in NO_QUANTITIES
        )
        assert not named_for_a_quantity, f"{place(path, node)} {name}"


def test_a_function_that_returns_a_quantity_of_time_or_voltage_says_its_unit():
    for path, function in functions_in_a_step():
        found = UNITS_OF_TIME_AND_ELECTRICITY.search(function.name)
        assert not found, f"{place(path, function)} {function.name}"


# What a step may do.


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_firmware_has_no_float_and_no_true_division(path):
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Constant):
            assert not isinstance(node.value, float | complex), place(path, node)
        assert not isinstance(node, ast.Div), place(path, node)


def test_nothing_in_a_step_takes_memory():
    for path, function in functions_in_a_step():
        for node in body_nodes(function):
            assert not isinstance(node, TAKES_MEMORY), f"{place(path, node)} {type(node).__name__}"


def test_nothing_in_a_step_calls_what_takes_memory():
    for path, function in functions_in_a_step():
        for node in body_nodes(function):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in CALLS_THAT_TAKE_MEMORY, f"{place(path, node)} {node.func.id}"
                assert not node.func.id[0].isupper(), f"{place(path, node)} builds a {node.func.id}"


def test_a_step_has_no_star_arguments_and_no_defaults():
    for path, function in functions_in_a_step():
        arguments = function.args
        assert arguments.vararg is None, place(path, function)
        assert arguments.kwarg is None, place(path, function)
        assert not arguments.defaults, place(path, function)


def test_a_step_stores_no_method():
    """A stored bound method is a new object: methods are called where they are named."""
    methods = {function.name for _, function in functions_in_a_step()}
    for path, function in functions_in_a_step():
        for node in body_nodes(function):
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Attribute):
                assert node.value.attr not in methods, f"{place(path, node)} {node.value.attr}"


def test_every_attribute_that_a_step_sets_was_set_by_its_constructor():
    for path in FIRMWARE:
        for made in ast.walk(tree_of(path)):
            if not isinstance(made, ast.ClassDef):
                continue
            slots = slots_of(made)
            for node in ast.walk(made):
                if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                    if isinstance(node.value, ast.Name) and node.value.id == "self":
                        assert node.attr in slots, f"{place(path, node)} {node.attr}"


@pytest.mark.parametrize("folder", ["boards", "host_sim", "tests"])
def test_every_dataclass_has_slots_and_nothing_is_a_named_tuple(folder):
    for path in sorted((ROOT / folder).rglob("*.py")):
        for made in ast.walk(tree_of(path)):
            if isinstance(made, ast.ClassDef):
                assert "NamedTuple" not in [ast.unparse(base) for base in made.bases], place(path, made)
                for decorator in map(ast.unparse, made.decorator_list):
                    if decorator.startswith("dataclass"):
                        assert "slots=True" in decorator, place(path, made)


def test_a_class_that_only_keeps_its_arguments_is_a_dataclass():
    native = [ROOT / part for part in HOT]
    for path in sorted((ROOT / "host_sim").rglob("*.py")):
        if path in native or any(folder in path.parents for folder in native):
            continue
        for made in ast.walk(tree_of(path)):
            if isinstance(made, ast.ClassDef) and not made.bases and not made.decorator_list:
                assert not only_keeps(made), f"{place(path, made)} {made.name}"


def only_keeps(made: ast.ClassDef) -> bool:
    """Whether a class has a constructor that stores its arguments, and nothing else."""
    functions = [node for node in made.body if isinstance(node, ast.FunctionDef)]
    if [function.name for function in functions] != ["__init__"]:
        return False
    taken = {argument.arg for argument in functions[0].args.args + functions[0].args.kwonlyargs}
    return all(
        isinstance(node, ast.Assign) and isinstance(node.value, ast.Name) and node.value.id in taken
        for node in functions[0].body
        if not isinstance(node, ast.Expr)
    )


def slots_of(made: ast.ClassDef) -> list[str]:
    for node in made.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            if node.targets[0].id == "__slots__" and isinstance(node.value, ast.Tuple):
                return [ast.literal_eval(item) for item in node.value.elts]
    return []


def test_proofs_reach_hidden_parts_of_the_firmware_by_their_declared_names_only():
    declared = {
        name
        for path in FIRMWARE
        for made in ast.walk(tree_of(path))
        if isinstance(made, ast.ClassDef)
        for name in [*slots_of(made), *(one.name for one in made.body if isinstance(one, ast.FunctionDef))]
    }
    reached = 0
    for folder in ("host_sim/proof", "tests/paths", "tests/property", "tests/mutation"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            names = [node for node in ast.walk(tree_of(path)) if isinstance(node, ast.Attribute)]
            own = {node.attr for node in names if is_own_attribute(node)}
            for node in names:
                if node.attr.startswith("_") and not node.attr.startswith("__"):
                    assert node.attr in own, f"{place(path, node)} {node.attr}"
            for node in inside_names(tree_of(path)):
                assert f"_{node.attr}" in declared, f"{place(path, node)} {node.attr}"
                reached += 1
    assert reached > 300


def inside_names(tree: ast.AST) -> list[ast.Attribute]:
    """Return each `x.name` in which x is `Inside(...)`, or stands for that within its function."""
    found = []
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            made = [node for node in ast.walk(function) if isinstance(node, ast.Assign) and opens(node.value)]
            views = {ast.unparse(node.targets[0]) for node in made}
            for node in ast.walk(function):
                if isinstance(node, ast.Attribute):
                    if opens(node.value) or ast.unparse(node.value) in views:
                        found.append(node)
    return found


def opens(node: ast.AST) -> bool:
    """Whether an expression is `Inside(...)`."""
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Inside"


def is_own_attribute(node: ast.AST) -> bool:
    return isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "self"


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_firmware_speaks_the_language_of_every_runtime(path):
    for node in ast.walk(tree_of(path)):
        where = place(path, node)
        assert not isinstance(node, ast.Match | ast.TryStar | ast.NamedExpr | ast.AsyncFunctionDef), where
        if isinstance(node, ast.FunctionDef):
            assert not node.args.posonlyargs, where
            for decorator in node.decorator_list:
                assert isinstance(decorator, ast.Name), where
                assert decorator.id in ("property", "staticmethod"), where
        if isinstance(node, ast.Attribute):
            assert node.attr not in ("bit_length", "removeprefix", "removesuffix", "monotonic"), where
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "const":
            raise AssertionError(f"{where}: const() at module level can't be imported")
        if isinstance(node, ast.List | ast.Tuple) and isinstance(node.ctx, ast.Load):
            assert not any(isinstance(item, ast.Starred) for item in node.elts), where
        if isinstance(node, ast.Constant) and type(node.value) is int:
            assert node.value < 2**30, where
    assert not imports_of(path) & MISSING_MODULES


def test_no_name_reads_a_clock():
    clocks = {"ticks_us", "ticks_ms", "time", "time_ns", "sleep", "sleep_ms"}
    for path in FIRMWARE:
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Attribute):
                assert node.attr not in clocks, place(path, node)
            elif isinstance(node, ast.Name):
                assert node.id not in clocks, place(path, node)


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_files_are_small_and_say_what_they_are(path):
    tree = tree_of(path)
    assert ast.get_docstring(tree), path
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 260, path
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{place(path, node)} {node.name}"


def test_every_folder_has_a_readme():
    tops = ("firmware", "boards", "host_sim", "tests")
    folders = {path.parent for top in tops for path in (ROOT / top).rglob("*.py")}
    silent = {str(folder.relative_to(ROOT)) for folder in folders if not (folder / "README.md").exists()}
    assert silent == set()


def test_no_two_test_files_share_a_name():
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py")]
    assert sorted(names) == sorted(set(names))
