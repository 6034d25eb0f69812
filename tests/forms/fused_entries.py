"""The functions of the sources one by one in the board form, for the calls of the proofs' path vectors.

The generated module has few functions, since most are inlined. Here the same
translator makes a function of each that lemmas call, over the same array; what a whole step does is asked of
the module itself.
"""

from dataclasses import dataclass
from pathlib import Path

from firmware.controller import Controller
from firmware.records import EdgeLog, Inputs
from firmware.settings import Settings
from host_sim.forms.model import Program
from host_sim.forms.viper.functions import Functions, Written, written
from host_sim.forms.viper.graph import Cell, Component, components_in
from host_sim.forms.viper.module import Fused, _function
from host_sim.forms.viper.plan import Plan, Target
from tests.forms.path_calls import Call, Entry, PathCalls
from tests.forms.path_program import encoded
from tests.forms.path_replay import LOG_PLACES, LOG_SIZE

LOGS = ("inputs.crank", "inputs.wheel")
HEAD = "from array import array\n\nimport micropython\n"


@dataclass(slots=True)
class Entries:
    """The module itself, that of the entries, where numbers are, and the calls that it can take as a file."""

    fused: str
    source: str
    calls: list[Call]
    content: bytes


class EntryModule(Fused):
    """The board form with an entry for each function that lemmas call. Read: `entries`."""

    def __init__(self, program: Program, wanted: list[Entry], wide: bool) -> None:
        """Translate everything; what constants the entries need is in the array of the module."""
        self._wanted = wanted
        self.entries = ""
        super().__init__(program, Controller(Settings({}), 0), {"Inputs": Inputs()}, wide)

    def _put_together(self, functions: list[str], methods: list[str]) -> str:
        """Write the entries first: the tables that they need belong to the module."""
        found = [self._entry_of(number, entry) for number, entry in enumerate(self._wanted)]
        parts = {part.path: part for part in components_in(self._root)}
        settings = self._first_of(parts["settings"])
        inputs = [(name, field.at) for name, field in self._given().fields.items() if isinstance(field, Cell)]
        outputs = [
            (name, field.at) for name, field in parts["outputs"].fields.items() if isinstance(field, Cell)
        ]
        self.entries = "\n\n".join([HEAD, *[text for text, _ in found]])
        self.entries += f"\n\nENTRIES = ({''.join(f'{name}, ' for _, name in found)})\n"
        self.entries += f"SETTINGS = {settings}\nINPUTS = {tuple(inputs)}\nOUTPUTS = {tuple(outputs)}\n"
        return super()._put_together(functions, methods)

    def _given(self) -> Component:
        return self._taken["Inputs"]

    def _component(self, path: str) -> Component:
        if path == "inputs":
            return self._given()
        name = "" if path == "controller" else path.removeprefix("controller.")
        return next(part for part in components_in(self._root) if part.path == name)

    def _entry_of(self, number: int, entry: Entry) -> tuple[str, str]:
        """Return the text of an entry and its name; what the module has itself is its name as text."""
        if entry.label in ("Controller.step", "Controller.__init__", "Inputs.__init__"):
            return "", repr(entry.label)
        function = self._program.functions[entry.label]
        me = None if entry.receiver is None else self._component(entry.receiver)
        given = tuple((name, self._component(path)) for name, path in entry.objects)
        target = Target(function, me, given)
        made: list[str] = []
        if function.is_constructor:
            plan = Plan()
            plan.everything = True
            one = written(self._program, self._layout, plan, target, viper=False, wide=False)
            name = f"entry_{number}"
            made.append(_function(name, ["m", *one.parameters], "", one.lines, viper=False))
        else:
            found = Functions(self._program, self._layout, target, self._wide, _Named(number))
            made += [self._function(found.plan, one) for one in found.written]
            one = found.written[-1]
            name = found.plan.name_of(one.target)
        made.append(self._caller(number, name, one))
        return "\n\n".join(made), f"call_{number}"

    def _caller(self, number: int, name: str, one: Written) -> str:
        outsides = [f"logs[{LOGS.index(path)}]" for path in one.outsides]
        numbers = [f"given[{at}]" for at in range(len(one.parameters))]
        call = f"{name}({', '.join(['m', *outsides, *numbers])})"
        return f"def call_{number}(m, logs, given):\n    return {call}\n"

    def place_of(self, name: str) -> int:
        """Return the place of a number; an edge log is no part of the array, its numbers come after it."""
        root, _, path = name.partition(".")
        if root != "inputs":
            return self.cells[name if root == "settings" else path]
        for number, log in enumerate(LOGS):
            if name.startswith(log + "."):
                return LOG_PLACES + number * LOG_SIZE + _log_names().index(name.removeprefix(log + "."))
        field = self._given().fields[path]
        assert isinstance(field, Cell)
        return field.at


class _Named(dict[str, str]):
    """Names of generated functions that no other entry uses."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self._prefix = f"_of_{number}"

    def __setitem__(self, key: str, name: str) -> None:
        super().__setitem__(key, self._prefix + name)


def _log_names() -> list[str]:
    log = EdgeLog()
    names = []
    for name in sorted(EdgeLog.__slots__):
        value = getattr(log, name)
        names += [f"{name}[{at}]" for at in range(len(value))] if isinstance(value, list) else [name]
    return names


def entries_of(program: Program, paths: PathCalls, wide: bool, calls: list[Call]) -> Entries:
    """Return the modules, and calls as a file for them."""
    made = EntryModule(program, paths.entries, wide)
    names = [made.place_of(name) for name in paths.places.names]
    return Entries(made.source, made.entries, calls, encoded(calls, lambda place: names[place]))


def write_entries(entries: Entries, folder: Path) -> None:
    """Write what path_replay.py needs into a folder."""
    (folder / "fused_controller.py").write_text(entries.fused)
    (folder / "fused_entries.py").write_text(entries.source)
    (folder / "calls").write_bytes(entries.content)
