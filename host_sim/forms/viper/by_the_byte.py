"""Turns functions over bytes and numbers into viper functions, one by one; their sources stay plain Python.

The step is translated as a whole, over one array. The recorder and the link work on bytes and are translated
here. A module has constants, classes of numbers, and functions. This is allowed, anything else is refused
with file and line:

* a class of numbers: `__slots__`, and a constructor that gives each a number. It becomes an array of 32 bits;
* parameters and results that are `int`, `bool`, `bytearray` or a class, or no result;
* variables, which are numbers;
* values with a place in an array: fields of a class of numbers, and those of the controller, read-only;
* attributes of other objects: numbers, or objects where another attribute is taken from them;
* constants of modules, which are written in; whole-number arithmetic, comparisons of two, `and`, `or`, `not`
  in conditions; assignments, `if`, `while`, `for` over `range`, `return`;
* calls of functions of the module, as a statement or as the whole right side of an assignment. It
  returns by its last statement only and is inlined at each call, since a call costs a board 8 us.
"""

import ast
from collections.abc import Iterable, Mapping
from importlib import import_module
from pathlib import Path

from host_sim.forms.expressions import COMPARISONS, OPERATORS
from host_sim.forms.outside import OutsideSubsetError, outside
from host_sim.forms.viper.inside import NUMBERS, Inside, called_in, is_text
from host_sim.forms.viper.values import SMALL_INT_MAX

BYTES = "bytearray"
CELLS = "_cells"  # The attribute that holds an object's array; the fused controller's has the same name.
_OPERATORS, _COMPARISONS = tuple(OPERATORS), tuple(COMPARISONS)
Places = Mapping[str, int]


def classes_of_numbers(root: Path, files: Iterable[str]) -> dict[str, Places]:
    """Return the places of the numbers of all classes in some modules below `root`."""
    return {
        node.name: _places_of(root / file, node)
        for file in files
        for node in ast.parse((root / file).read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef)
    }


def by_the_byte(root: Path, file: str, placed: Mapping[str, Places], own: Mapping[str, Places]) -> str:
    """Return the module `file` below `root` with viper functions for its functions.

    `placed` are the classes whose objects have their numbers in an array, with the places, read-only.
    `own` are the classes of numbers of this and other such modules.
    """
    path = root / file
    tree = ast.parse(path.read_text(encoding="utf-8"))
    constants = vars(import_module(file.removesuffix(".py").replace("/", ".")))
    functions = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
    called = {one for node in functions.values() for one in called_in(node)}
    inside = Inside(path, functions)
    body: list[ast.stmt] = ast.parse("from array import array\nimport micropython").body
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            written = inside.written_out(node)
            if node.name in called:
                continue
            node.body = written
            body.append(_Function(path, node, constants, own, placed).translated())
        elif isinstance(node, ast.ClassDef):
            body.append(_class_over_an_array(node, own[node.name]))
        elif isinstance(node, ast.Assign):
            # Evaluated here, since the names in its expression may not be imported there.
            body += ast.parse(f"{(name := ast.unparse(node.targets[0]))} = {constants[name]!r}").body
    return ast.unparse(ast.fix_missing_locations(ast.Module(body, []))) + "\n"


def _places_of(path: Path, node: ast.ClassDef) -> Places:
    """Return the place of each number of a class."""
    names: list[str] = []
    methods: list[ast.stmt] = []
    for statement in node.body:
        if isinstance(statement, ast.Assign) and ast.unparse(statement.targets[0]) == "__slots__":
            names = list(ast.literal_eval(statement.value))
        elif not is_text(statement):
            methods.append(statement)
    if not names or node.bases or [getattr(one, "name", "") for one in methods] != ["__init__"]:
        raise outside(path, node, f"{node.name} is not a class of numbers: __slots__ and a constructor")
    assert isinstance(methods[0], ast.FunctionDef)
    given = []
    for statement in methods[0].body:
        if is_text(statement):
            continue
        target = statement.targets[0] if isinstance(statement, ast.Assign) else None
        value = statement.value if isinstance(statement, ast.Assign) else None
        if not isinstance(target, ast.Attribute) or not isinstance(value, ast.Name | ast.Constant):
            raise outside(path, statement, "such a constructor gives numbers to fields, one by one")
        given.append(target.attr)
    if sorted(given) != sorted(names):
        sentence = (
            f"the constructor of {node.name} must give a number to each of its slots, and do nothing else"
        )
        raise outside(path, node, sentence)
    return {name: place for place, name in enumerate(names)}


def _class_over_an_array(node: ast.ClassDef, places: Places) -> ast.ClassDef:
    """Return the class whose objects have nothing but their array."""
    constructor = next(one for one in node.body if isinstance(one, ast.FunctionDef))
    for argument in constructor.args.args:
        argument.annotation = None
    constructor.returns = None
    made = ast.parse(f"self.{CELLS} = array('i', bytes({4 * len(places)}))").body
    for statement in constructor.body:
        if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Attribute):
            place, value = places[statement.targets[0].attr], ast.unparse(statement.value)
            made += ast.parse(f"self.{CELLS}[{place}] = {value}").body
    constructor.body = made
    node.body = [constructor]
    return node


class _Function:
    """One function being translated."""

    def __init__(
        self,
        path: Path,
        node: ast.FunctionDef,
        constants: dict[str, object],
        own: Mapping[str, Places],
        placed: Mapping[str, Places],
    ) -> None:
        self._path = path
        self._node = node
        self._constants = constants
        self._own = own
        self._placed = {**own, **placed}
        self._kinds: dict[str, str] = {}
        self._reached: list[str] = []

    def translated(self) -> ast.FunctionDef:
        """Return the viper function."""
        node = self._node
        arguments = node.args
        plain = not (arguments.vararg or arguments.kwarg or arguments.kwonlyargs or arguments.defaults)
        if not plain or node.decorator_list or arguments.posonlyargs:
            raise self._refusal(node, f"{node.name} has a decorator, a default or a star")
        for argument in arguments.args:
            self._kinds[argument.arg] = self._kind_of(argument, argument.annotation)
        for inner in ast.walk(node):
            if isinstance(inner, ast.Name) and isinstance(inner.ctx, ast.Store):
                self._kinds.setdefault(inner.id, "int")
        words = {"int": "int", BYTES: "ptr8"}
        for argument in arguments.args:
            kind = self._kinds[argument.arg]
            argument.annotation = ast.Name(words[kind]) if kind in words else None
        node.returns = ast.Name("int") if self._returns_number(node) else None
        body = [self._statement(one) for one in node.body if not is_text(one)]
        pointers = [f"{_cells_of(name)} = ptr32({name}.{CELLS})" for name in self._reached]
        node.body = [*ast.parse("\n".join(pointers)).body, *body]
        node.decorator_list = [ast.Attribute(ast.Name("micropython"), "viper")]
        return node

    def _refusal(self, node: ast.AST, why: str) -> OutsideSubsetError:
        return outside(self._path, node, why)

    def _kind_of(self, node: ast.AST, annotation: ast.expr | None) -> str:
        """Return int, bytearray, or the name of a class."""
        if not isinstance(annotation, ast.Name):
            raise self._refusal(node, "a type must be one name")
        return "int" if annotation.id in NUMBERS else annotation.id

    def _returns_number(self, function: ast.FunctionDef) -> bool:
        if isinstance(function.returns, ast.Name) and function.returns.id in NUMBERS:
            return True
        if isinstance(function.returns, ast.Constant) and function.returns.value is None:
            return False
        raise self._refusal(function, f"{function.name} returns a number or None")

    # Statements.

    def _statement(self, node: ast.stmt) -> ast.stmt:
        if isinstance(node, ast.Assign) and len(node.targets) == 1:
            node.targets = [self._target(node.targets[0])]
            node.value = self._number(node.value)
        elif isinstance(node, ast.AugAssign) and isinstance(node.op, _OPERATORS):
            return self._changed(node)
        elif isinstance(node, ast.If | ast.While):
            node.test = self._condition(node.test)
            node.body = [self._statement(one) for one in node.body]
            node.orelse = [self._statement(one) for one in node.orelse]
        elif isinstance(node, ast.For) and not node.orelse:
            self._range(node)
            node.body = [self._statement(one) for one in node.body]
        elif isinstance(node, ast.Return):
            node.value = None if node.value is None else self._number(node.value)
        else:
            raise self._refusal(node, f"`{ast.unparse(node).splitlines()[0]}` is not taken here")
        return node

    def _changed(self, node: ast.AugAssign) -> ast.stmt:
        read = ast.parse(ast.unparse(node.target), mode="eval").body
        value = ast.copy_location(ast.BinOp(ast.copy_location(read, node), node.op, node.value), node)
        return self._statement(ast.copy_location(ast.Assign([node.target], value), node))

    def _target(self, node: ast.expr) -> ast.expr:
        if isinstance(node, ast.Name) and self._kinds[node.id] == "int":
            return node
        if isinstance(node, ast.Subscript):
            return self._byte(node)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if self._kinds.get(node.value.id) in self._own:
                return self._attribute(node)
        raise self._refusal(node, f"`{ast.unparse(node)}` can't be assigned here")

    def _range(self, node: ast.For) -> None:
        over = node.iter
        if not (
            isinstance(over, ast.Call) and ast.unparse(over.func) == "range" and 1 <= len(over.args) <= 2
        ):
            raise self._refusal(node, "a loop goes over a range of numbers")
        over.args = [self._number(one) for one in over.args]

    # Expressions.

    def _condition(self, node: ast.expr) -> ast.expr:
        if isinstance(node, ast.BoolOp):
            node.values = [self._condition(one) for one in node.values]
            return node
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            node.operand = self._condition(node.operand)
            return node
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and isinstance(node.ops[0], _COMPARISONS):
            node.left = self._number(node.left)
            node.comparators = [self._number(node.comparators[0])]
            return node
        return self._number(node)

    def _number(self, node: ast.expr) -> ast.expr:
        if isinstance(node, ast.Constant) and isinstance(node.value, int):
            return ast.copy_location(ast.Constant(int(node.value)), node)
        if isinstance(node, ast.Name):
            return self._named(node)
        if isinstance(node, ast.Attribute):
            return self._attribute(node)
        if isinstance(node, ast.Subscript):
            return self._byte(node)
        if isinstance(node, ast.BinOp) and isinstance(node.op, _OPERATORS):
            node.left, node.right = self._number(node.left), self._number(node.right)
            return node
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            node.operand = self._number(node.operand)
            return node
        raise self._refusal(node, f"`{ast.unparse(node)}` is not a number here")

    def _named(self, node: ast.Name) -> ast.expr:
        kind = self._kinds.get(node.id)
        if kind == "int":
            return node
        value = self._constants.get(node.id)
        if kind is None and isinstance(value, int) and abs(value) <= SMALL_INT_MAX:
            return ast.copy_location(ast.Constant(int(value)), node)
        raise self._refusal(node, f"{node.id} is not a number here")

    def _byte(self, node: ast.Subscript) -> ast.expr:
        of = node.value
        if not (isinstance(of, ast.Name) and self._kinds.get(of.id) == BYTES):
            raise self._refusal(node, f"`{ast.unparse(of)}` is not a named bytearray")
        node.slice = self._number(node.slice)
        return node

    def _attribute(self, node: ast.Attribute) -> ast.expr:
        """Return a number from an array, or from an object."""
        root, _, path = ast.unparse(node).partition(".")
        kind = self._kinds.get(root, "int")
        if kind in ("int", BYTES):
            raise self._refusal(node, f"{root} is not an object here")
        if kind not in self._placed:
            return ast.Call(ast.Name("int"), [node], [])
        if path not in self._placed[kind]:
            raise self._refusal(node, f"{path} is not a number of {kind}")
        if root not in self._reached:
            self._reached.append(root)
        return ast.Subscript(ast.Name(_cells_of(root)), ast.Constant(self._placed[kind][path]), node.ctx)


def _cells_of(name: str) -> str:
    return f"{name}_cells"
