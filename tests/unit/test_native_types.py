"""What the copy of a source file says to the compiler, and that it says nothing else."""

import ast

from host_sim.compiled.build import HOT, ROOT
from host_sim.compiled.native_types import annotated, whole_constants


def said(text: str, vectors: bool = False) -> str:
    """Return the annotated text without its docstring and the line of imports."""
    full = f'"""A module."""\n{text}'
    return annotated(full, whole_constants([full]), vectors).split("\n", 2)[2]


def test_a_constant_is_final_and_one_that_changes_is_not():
    assert said("LIMIT_MV = 5\n") == "LIMIT_MV: Final = 5\n"
    assert said('NAMES: tuple[str, ...] = ("a",)\n') == 'NAMES: Final[tuple[str, ...]] = ("a",)\n'
    assert said("COUNT = 1\nCOUNT = 2\n") == "COUNT = 1\nCOUNT = 2\n"
    assert said("cache = 1\n") == "cache = 1\n"


def test_whole_numbers_of_a_signature_are_machine_numbers_and_lists_of_them_are_not():
    before = "def add(a: int, b: list[int], c: bool) -> int:\n    return a\n"
    assert said(before) == "def add(a: i64, b: list[int], c: bool) -> i64:\n    return a\n"


def test_a_local_variable_is_one_if_its_first_value_is_a_whole_number():
    before = "STEP = 1 << 3\ndef f(a: int) -> int:\n    b = STEP\n    b = a\n    c = 0.5\n    a = 0\n"
    assert "    b: i64 = STEP\n    b = a\n    c = 0.5\n    a = 0\n" in said(before)


def test_the_variable_of_a_loop_is_left_alone():
    before = (
        "def f() -> None:\n    for a in (1, 2):\n        a = 0\n    with open('x') as b:\n        b = 1\n"
    )
    assert said(before) == before


def test_a_field_is_one_where_it_is_first_set():
    before = (
        "class A:\n    limit: int\n\n    def __init__(self) -> None:\n"
        "        self.x = 0\n        self.y = None\n"
        "\n    def f(self) -> None:\n        self.x = 1\n        self.z = -1 if self.x else 2\n"
    )
    after = said(before)
    assert "limit: i64" in after
    assert "self.x: i64 = 0" in after
    assert "self.y = None" in after
    assert "self.x = 1" in after
    assert "self.z: i64 = -1 if self.x else 2" in after


def test_abs_is_written_out_where_there_are_no_floats():
    assert said("def f(a: int) -> bool:\n    return abs(a - 1) > 3\n").endswith(
        "return ((a - 1) if (a - 1) >= 0 else -(a - 1)) > 3\n"
    )
    assert "abs(a)" in said("def f(a: float) -> bool:\n    return abs(a) > 0.5\n")


def test_a_private_field_of_equal_numbers_that_is_only_indexed_becomes_a_vector():
    only_indexed = (
        "class A:\n    def __init__(self) -> None:\n        self._a = [0] * 8\n        self._a[1] = 2\n"
    )
    assert "self._a = vec[i64]([0] * 8)" in said(only_indexed, vectors=True)
    assert "vec" not in said(only_indexed, vectors=False)
    assert "vec[" not in said(only_indexed + "        self._a.append(3)\n", vectors=True)
    assert "vec[" not in said(only_indexed + "        print(self._a)\n", vectors=True)
    assert "vec[" not in said(only_indexed.replace("_a", "a"), vectors=True)


def test_an_open_class_is_marked():
    assert said("\n\nclass StepWatch:\n    pass\n") == (
        "\n@mypyc_attr(allow_interpreted_subclasses=True)\nclass StepWatch:\n    pass\n"
    )


def test_nothing_but_annotations_is_added_to_any_hot_file():
    for part in HOT:
        path = ROOT / part
        for source in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            text = source.read_text(encoding="utf-8")
            assert _bare(annotated(text, frozenset({"TICKS_MAX_US"}))) == _bare(text), source


class _Bare(ast.NodeTransformer):
    """Takes annotations, marks, the added imports and `abs` written out away again."""

    def visit_AnnAssign(self, node):
        self.generic_visit(node)
        if node.value is None:
            return None
        return ast.Assign([node.target], node.value)

    def visit_arg(self, node):
        return ast.arg(node.arg)

    def visit_FunctionDef(self, node):
        self.generic_visit(node)
        node.returns = None
        return node

    def visit_ClassDef(self, node):
        self.generic_visit(node)
        node.decorator_list = [one for one in node.decorator_list if "mypyc_attr" not in ast.unparse(one)]
        node.body = node.body or [ast.Pass()]
        return node

    def visit_IfExp(self, node):
        self.generic_visit(node)
        value, negated = ast.unparse(node.body), ast.unparse(node.orelse)
        if ast.unparse(node.test) == f"{value} >= 0" and negated in (f"-({value})", f"-{value}"):
            return ast.Call(ast.Name("abs"), [node.body], [])
        return node

    def visit_ImportFrom(self, node):
        return None if node.module in ("typing", "mypy_extensions") else node


def _bare(text: str) -> str:
    tree = _Bare().visit(ast.parse(text))
    return ast.unparse(ast.fix_missing_locations(tree))
