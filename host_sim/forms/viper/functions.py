"""Generated functions: one for each method and object that is not inlined."""

from dataclasses import dataclass, field

from host_sim.forms.model import Program
from host_sim.forms.viper.frame import Frame, returns_in_loops
from host_sim.forms.viper.graph import Layout
from host_sim.forms.viper.plan import Plan, Target
from host_sim.forms.viper.statements import Statements
from host_sim.forms.viper.values import Number

SMALL_LINES = 40
LONG_LINES = 5000


@dataclass(slots=True)
class Written:
    """The body of a generated function, the outside objects it needs by path, and what it calls."""

    target: Target
    parameters: list[str]
    lines: list[str]
    outsides: dict[str, str]
    calls: list[Target]


def written(program: Program, layout: Layout, plan: Plan, target: Target, viper: bool, wide: bool) -> Written:
    """Translate one function with all that the plan inlines in it."""
    writer = Statements(program, layout, plan, viper, wide)
    frame = Frame(target.function, target.me, dict(target.given))
    parameters = []
    for name in target.numbers:
        local = writer.names.new()
        frame.meanings[name] = Number(local)
        frame.own.add(name)
        parameters.append(local)
    before = len(plan.called)
    writer.frames.append(frame)
    writer.statements(target.function.body)
    lines = writer.pointers() + writer.text.lines
    return Written(target, parameters, lines, writer.outsides, plan.called[before:])


@dataclass(slots=True)
class _Looked:
    """A function without inlining: its lines, and each place where it calls another."""

    target: Target
    lines: int
    calls: list[Target] = field(default_factory=list)


class Functions:
    """Chooses and writes the functions that one needs. Read: `plan`; `written`, called ones before others."""

    def __init__(
        self, program: Program, layout: Layout, root: Target, wide: bool, names: dict[str, str]
    ) -> None:
        """Analyse everything that `root` needs, choose, and write it; `names` are those in use already."""
        self._program = program
        self._layout = layout
        self._wide = wide
        self._looked: dict[str, _Looked] = {}
        self._sites: dict[str, int] = {}
        self._look(root)
        self.plan = Plan(names)
        self._totals: dict[str, int] = {}
        self._choose(root.key)
        self.written: list[Written] = []
        self._write(root)

    def _look(self, target: Target) -> None:
        found = written(self._program, self._layout, Plan(), target, True, self._wide)
        self._looked[target.key] = _Looked(target, len(found.lines), found.calls)
        for called in found.calls:
            self._sites[called.key] = self._sites.get(called.key, 0) + 1
            if called.key not in self._looked:
                self._look(called)

    def _choose(self, key: str) -> int:
        """Decide about the calls in a function; return its resulting length."""
        if key in self._totals:
            return self._totals[key]
        looked = self._looked[key]
        total = looked.lines
        inside: list[tuple[int, str]] = []
        for called in looked.calls:
            length = self._choose(called.key)
            once = self._sites[called.key] == 1
            if not returns_in_loops(called.function) and (once or length <= SMALL_LINES):
                total += length
                inside.append((length, called.key))
        inside.sort()
        while total > LONG_LINES and inside:
            total -= inside.pop()[0]
        self.plan.inside |= {called for _, called in inside}
        self._totals[key] = total
        return total

    def _write(self, target: Target) -> Written:
        found = written(self._program, self._layout, self.plan, target, True, self._wide)
        before = [one.target.key for one in self.written]
        for called in found.calls:
            if called.key not in before:
                self.plan.outsides[called.key] = list(self._write(called).outsides)
                before = [one.target.key for one in self.written]
        if any(called.key in self.plan.outsides for called in found.calls):
            found = written(self._program, self._layout, self.plan, target, True, self._wide)
        self.written.append(found)
        return found
