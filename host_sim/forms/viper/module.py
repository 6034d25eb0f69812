"""The generated module: functions over the array, and the class that replaces the translated one."""

from typing import Any

from host_sim.forms.model import Function, Program
from host_sim.forms.viper.functions import Functions, Written, written
from host_sim.forms.viper.graph import Cell, Component, Layout, Outside, components_in
from host_sim.forms.viper.plan import Plan, Target

HEADING = '''"""The board form of {module}: made from the sources by a translator, don't edit.

Every number of every component has a place in one array of 32 bits; each method is a viper function over it.
"""

from array import array

import micropython
{imports}

class View:
    """A component as others read it: its public fields by name. Truths have their places below zero."""

    def __init__(self, cells, places):
        self._cells = cells
        self._places = places

    @micropython.native
    def __getattr__(self, name):
        place = self._places.get(name, 0)
        if place > 0:
            return self._cells[place]
        if place == 0:
            raise AttributeError(name)
        return self._cells[-place] != 0
'''


class Fused:
    """The result. Read: `source`; `cells`, the place of each number and list element by its path."""

    def __init__(self, program: Program, built: Any, taken: dict[str, Any], wide: bool) -> None:
        """Translate the class of `built`.

        `taken` has, by class name, an example of each record that its public methods take;
        `wide` makes the form for a MicroPython of 64 bits.
        """
        self._program = program
        self._wide = wide
        self._layout = Layout(type(built).__module__.split(".")[0])
        self._root = self._layout.add(built, "")
        self._taken = {name: self._layout.add(one, name.lower(), whole=False) for name, one in taken.items()}
        self._class = program.classes[type(built).__name__]
        self._parts = list(components_in(self._root))
        self.cells = self._named_cells()
        functions: list[str] = []
        self._views: list[str] = []
        self._names: dict[str, str] = {}
        methods = self._constructor(functions)
        for method in self._class.methods.values():
            if not method.name.startswith("_"):
                methods += self._method(method, functions)
        self.source = self._put_together(functions, methods)

    # The object graph.

    def _named_cells(self) -> dict[str, int]:
        named = {}
        for part in self._parts:
            for name, field in part.fields.items():
                path = f"{part.path}.{name}" if part.path else name
                if isinstance(field, Cell):
                    named[path] = field.at
                elif not isinstance(field, Component | Outside):
                    named |= {f"{path}[{number}]": field.at + number for number in range(field.length)}
        return named

    # The constructor.

    def _constructor(self, functions: list[str]) -> list[str]:
        """Return `__init__` of the replacement; the computation is in a plain function."""
        init = self._class.methods["__init__"]
        given = [(name, self._declared(name)) for name in _objects(init)]
        target = Target(init, self._root, tuple(given))
        plan = Plan()
        plan.everything = True
        found = written(self._program, self._layout, plan, target, viper=False, wide=False)
        functions.append(_function("_build", ["m", *found.parameters], "", found.lines, viper=False))
        names = list(init.parameters)
        lines = [f"def __init__(self, {', '.join(names)}):"]
        lines += [f"    self.{part.path} = {name}" for name, part in given]
        lines.append("    m = array('i', bytes(4 * SIZE))")
        for name, part in given:
            lines.append(
                f"    for at, name in enumerate({part.cls.__name__}.__slots__, {self._first_of(part)}):"
            )
            lines.append(f"        m[at] = getattr({name}, name)")
        numbers = [name for name in names if name not in dict(given)]
        lines += [
            "    for at, values in TABLES:",
            "        for value in values:",
            "            m[at] = value",
            "            at += 1",
            f"    _build(m, {', '.join(numbers)})",
            "    self._cells = m",
        ]
        returned = self._returned_parts()
        for part in self._parts:
            if part is self._root or part in dict(given).values() or "." in part.path:
                continue
            if part in returned:
                lines.append(f"    self.{part.path} = {part.cls.__name__}()")
            else:
                lines += self._view(part, functions)
        return lines

    def _first_of(self, part: Component) -> int:
        cells = [field.at for field in part.fields.values() if isinstance(field, Cell)]
        assert cells == list(range(cells[0], cells[0] + len(part.fields)))
        return cells[0]

    def _declared(self, name: str) -> Component:
        field = self._root.fields[name]
        assert isinstance(field, Component)
        return field

    def _returned_parts(self) -> list[Component]:
        found = []
        for method in self._class.methods.values():
            if not method.name.startswith("_") and method.returns.kind == "object":
                found += [part for part in self._parts if part.cls.__name__ == method.returns.name]
        return found

    def _view(self, part: Component, functions: list[str]) -> list[str]:
        """Return the line that creates the view of a part; none if it has nothing public to read."""
        places = [
            f"{name!r}: {-field.at if field.truth else field.at}"
            for name, field in part.fields.items()
            if isinstance(field, Cell) and not name.startswith("_")
        ]
        questions = self._questions(part, functions)
        if not places and not questions:
            return []
        kind = f"{part.cls.__name__}View" if questions else "View"
        if questions:
            self._views.append(f"class {kind}(View):\n" + "\n".join(f"    {line}\n" for line in questions))
        return [f"    self.{part.path} = {kind}(m, {{{', '.join(places)}}})"]

    def _questions(self, part: Component, functions: list[str]) -> list[str]:
        """Return the public methods of a view: those without arguments that change nothing."""
        lines = []
        for method in self._program.classes[part.cls.__name__].methods.values():
            label = method.label
            asked = not method.parameters and method.returns.kind in ("int", "bool")
            if method.name.startswith("_") or not asked or self._program.effects[label].writes:
                continue
            made = Functions(self._program, self._layout, Target(method, part, ()), self._wide, self._names)
            functions += [self._function(made.plan, one) for one in made.written]
            answer = f"{made.plan.name_of(made.written[-1].target)}(self._cells)"
            truth = " != 0" if method.returns.kind == "bool" else ""
            lines += [f"def {method.name}(self):", f"    return {answer}{truth}"]
        return lines

    # Public methods.

    def _method(self, method: Function, functions: list[str]) -> list[str]:
        given = [(name, self._taken[method.parameters[name].name]) for name in _objects(method)]
        target = Target(method, self._root, tuple(given))
        made = Functions(self._program, self._layout, target, self._wide, self._names)
        *inner, entry = made.written
        functions += [self._function(made.plan, one) for one in inner]
        returned = [part for part in self._parts if part.cls.__name__ == method.returns.name]
        functions.append(self._entry(entry, given, returned))
        numbers = [name for name in method.parameters if name not in dict(given)]
        words = [
            "self._cells",
            *[name for name, _ in given],
            *[f"self.{part.path}" for part in returned],
            *numbers,
        ]
        lines = [
            f"def {method.name}(self, {', '.join(method.parameters)}):",
            f"    _{method.name}({', '.join(words)})",
        ]
        if returned:
            lines.append(f"    return self.{returned[0].path}")
        return lines

    def _entry(self, entry: Written, given: list[tuple[str, Component]], returned: list[Component]) -> str:
        """Return the function behind a public method: it copies arguments in and results out."""
        lines = []
        for name, part in given:
            for attribute, field in part.fields.items():
                if isinstance(field, Cell):
                    lines.append(f"m[{field.at}] = int(given_{name}.{attribute})")
                elif isinstance(field, Outside) and field.path in entry.outsides:
                    lines.append(f"{entry.outsides[field.path]} = given_{name}.{attribute}")
        lines += entry.lines
        for part in returned:
            for attribute, field in part.fields.items():
                assert isinstance(field, Cell)
                value = self._loaded(field.at)
                lines.append(f"returned.{attribute} = {f'bool({value})' if field.truth else value}")
        parameters = ["m: ptr32", *[f"given_{name}" for name, _ in given]]
        parameters += ["returned"] * len(returned) + [f"{name}: int" for name in entry.parameters]
        return _function(f"_{entry.target.function.name}", parameters, "", lines)

    def _loaded(self, at: int) -> str:
        return f"(m[{at}] ^ {1 << 31}) - {1 << 31}" if self._wide else f"m[{at}]"

    def _function(self, plan: Plan, one: Written) -> str:
        parameters = ["m: ptr32", *one.outsides.values(), *[f"{name}: int" for name in one.parameters]]
        result = "" if one.target.function.returns.kind == "none" else " -> int"
        return _function(plan.name_of(one.target), parameters, result, one.lines)

    # The module.

    def _put_together(self, functions: list[str], methods: list[str]) -> str:
        kinds = {part.cls for part in self._returned_parts()}
        kinds |= {self._declared(name).cls for name in _objects(self._class.methods["__init__"])}
        imports = sorted(f"from {kind.__module__} import {kind.__name__}" for kind in kinds)
        text = HEADING.format(module=self._class.module.name, imports="\n".join(imports) + "\n")
        tables = "".join(f"({at}, {values}), " for values, at in self._layout.tables.items())
        text += f"\n\nSIZE = {self._layout.size}\nTABLES = ({tables})\n"
        text += "".join(f"\n\n{function}" for function in functions)
        text += "".join(f"\n\n{view}" for view in self._views)
        text += f"\n\nclass {self._class.name}:\n"
        for line in methods:
            text += ("\n    " if line.startswith("def ") else "    ") + line + "\n"
        return text


def _objects(function: Function) -> list[str]:
    """Return the names of the parameters that are objects."""
    return [name for name, kind in function.parameters.items() if kind.kind == "object"]


def _function(name: str, parameters: list[str], result: str, lines: list[str], viper: bool = True) -> str:
    heading = "@micropython.viper\n" if viper else ""
    body = "".join(f"    {line}\n" for line in lines or ["pass"])
    return f"{heading}def {name}({', '.join(parameters)}){result}:\n{body}"
