"""Looks for numbers that break a statement on the firmware itself, and tells them as a sequence and a test.

With all settings symbolic and contracts in the way the solver may say "unknown", or give numbers that no step
comes to. So settings are fixed to one bicycle after another, and nothing is left to contracts. What this does
not find, rides of a real controller may (`ridden.py`). All numbers are tried on the firmware; then as many of
them as possible are made those of a new controller.
"""

from typing import Any

from firmware.controller import Controller
from firmware.settings import TABLE, Settings
from host_sim.proof.whole.edges import begun
from host_sim.proof.whole.gate import alone_run
from host_sim.proof.whole.induction import Run, longest_gap_us
from host_sim.proof.whole.numbers_of import compiled
from host_sim.proof.whole.ranges import RANGES
from host_sim.proof.whole.replaying import NumberRun, Values, broken
from host_sim.proof.whole.ridden import ridden
from host_sim.proof.whole.snapshot import numbers_of
from host_sim.proof.whole.solving import Facts
from host_sim.proof.whole.statement import BACK, BACK_US, Statement
from host_sim.proof.whole.statements import STATEMENTS
from host_sim.proof.whole.terms import Term, in_order

DEFAULTS = {row[0]: row[1] for row in TABLE}
VARIANTS: dict[str, dict[str, int]] = {
    "the default settings": {},
    "no shunt, a potentiometer": {"shunt_fitted": 0, "selector_positions": 1},
    "a motor of the torque kind": {"motor_kind": 1, "shunt_fitted": 1},
    "a motor of the speed kind, a throttle": {
        "motor_kind": 2, "shunt_fitted": 1, "throttle_fitted": 1, "throttle_unpedalled": 2,
    },
    "32 magnets, channel B leads": {"pulses_per_rev": 32, "lead": 1},
    "a switch with six positions": {"selector_positions": 6},
}  # fmt: skip
TOLD = (
    "outputs.command_mv",
    "outputs.drive_enabled",
    "faults.cause",
    "engagement.state",
    "ceilings.ceiling_w",
)


class Counterexample:
    """`name` and `kind` of a statement, the `variant` of settings, the `values`, and `what` breaks."""

    def __init__(self, name: str, kind: int, variant: str, values: Values, what: str) -> None:
        """Keep the parts."""
        self.name = name
        self.kind = kind
        self.variant = variant
        self.values = values
        self.what = what

    def sequence(self) -> list[str]:
        """Return in readable lines what is there, what comes in, and what comes of it."""
        statement, settings = STATEMENTS[self.name], VARIANTS[self.variant]
        run: Any = NumberRun(statement, self.kind, settings, self.values)
        told = [f"{name} {value}" for name, value in sorted(self.values.items()) if _is_state(name)]
        read = [f"{name} {value}" for name, value in sorted(self.values.items()) if not _is_state(name)]
        after = [f"{path} {run.after.of(path)}" for path in _told(statement, run)]
        bicycle = f"a bicycle with {self.variant}, sensor kind {self.kind}; all else as in a new controller"
        call = "edge or question" if statement.alone else "step"
        return [bicycle, f"before: {', '.join(told) or 'nothing else'}", f"{call}: {', '.join(read)}",
                f"after: {', '.join(after)}", f"broken: {self.what}"]  # fmt: skip

    def unit_test(self) -> str:
        """Return the source of a test that fails as the proof does."""
        title = self.name.replace(" ", "_").replace("-", "_")
        values = "\n".join(f"        {name!r}: {value}," for name, value in sorted(self.values.items()))
        return (
            "from host_sim.proof.whole.replaying import broken\n\n\n"
            f"def test_{title}_holds_for_the_counterexample():\n"
            f"    # Fails with: {self.what}\n"
            f"    settings = {VARIANTS[self.variant]!r}\n"
            f"    values = {{\n{values}\n    }}\n"
            f"    assert broken({self.name!r}, {self.kind}, settings, values) == []\n"
        )


def _is_state(name: str) -> bool:
    """Tell whether a number is of a field, or one bit of it."""
    return name in RANGES or name.rsplit(".", 1)[0] in RANGES


def _told(statement: Statement, run: Any) -> list[str]:
    """Return the fields to be told: those that changed of one component, the main ones of a step."""
    if not statement.alone:
        return list(TOLD)
    part = f"{statement.alone[0]}."
    return [path for path in RANGES if path.startswith(part) and run.after.of(path) != run.before.of(path)]


def find(name: str, kind: int, sentences: list[str], limit: int) -> Counterexample | None:
    """Return numbers that break one of the sentences of a statement, or None if the solver finds none."""
    for variant, settings in VARIANTS.items():
        run = _run(STATEMENTS[name], kind, settings)
        facts = Facts(run.facts)
        for what, claim in STATEMENTS[name].claims(run):
            if what not in sentences:
                continue
            values = facts.search(claim, limit)
            if values is None:
                continue
            values = {**_time_back(run), **values}
            if what in broken(name, kind, settings, values):
                return _told_in_short(name, kind, variant, values, what, run)
    return None


def find_in_rides(name: str, kind: int, sentences: list[str]) -> Counterexample | None:
    """Return numbers that break one of the sentences of a statement, or None if no ride comes to any."""
    for variant, settings in VARIANTS.items():
        run = _run(STATEMENTS[name], kind, settings)
        found = ridden(STATEMENTS[name], kind, settings, sentences, run.situation)
        if found is not None:
            return _told_in_short(name, kind, variant, found.values, found.what, run)
    return None


def _run(statement: Statement, kind: int, settings: dict[str, int]) -> Any:
    fixed = {**DEFAULTS, **settings, "sensor_kind": kind}
    if statement.alone:
        return alone_run(kind, statement.alone, fixed)
    gaps_us = BACK_US if statement.way == BACK else (0, longest_gap_us(kind))
    return Run(kind, gaps_us, contracts=begun(), fixed=fixed)


def _variables(run: Any) -> list[Term]:
    return [term for term in in_order(run.facts) if term.op == "var"]


def _nearest_to_zero(term: Term) -> int:
    return min(max(int(term.low), 0), int(term.high))


def _time_back(run: Any) -> Values:
    """Return the smallest step back, for numbers in which the time was left out."""
    now_us = getattr(run, "now_us", 0)
    return {"now": now_us.high} if isinstance(now_us, Term) and now_us.high < 0 else {}


def _told_in_short(name: str, kind: int, variant: str, values: Values, what: str, run: Any) -> Counterexample:
    leaner = _leaner(STATEMENTS[name], kind, VARIANTS[variant], values, what, run)
    return Counterexample(name, kind, variant, leaner, what)


def _leaner(
    statement: Statement, kind: int, settings: dict[str, int], values: Values, what: str, run: Any
) -> Values:
    """Leave out every number for which that of a new controller does, while all that is assumed holds."""
    new = numbers_of(run.situation, Controller(Settings({**settings, "sensor_kind": kind}), 0))
    base: dict[str, Any] = {
        term.args[0]: new.get(term.args[0], _nearest_to_zero(term)) for term in _variables(run)
    }
    holds = compiled(run.facts)
    assumed = all(holds({**base, **values}))
    kept = dict(values)
    for name in sorted(set(values) & set(new)):
        tried = {other: value for other, value in kept.items() if other != name}
        if assumed and not all(holds({**base, **tried})):
            continue
        if what in broken(statement.name, kind, settings, tried):
            kept = tried
    return {name: value for name, value in kept.items() if value != 0 or not _is_zero_anyhow(name)}


def _is_zero_anyhow(name: str) -> bool:
    """Tell whether a reading, or what an edge has said, is 0 where nothing else is given."""
    return name.startswith(("inputs.", "Crank.", "Wheel.", "newest")) and name != "inputs.sampled_us"
