"""The controller in any state, for the interpreter: all settings symbolic, all that it remembers symbolic."""

from typing import Any

from firmware.settings import TABLE
from host_sim.proof.whole import terms
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.program import Items, Record, Stamp
from host_sim.proof.whole.ranges import INPUTS, RANGES, STAMP, TRUTH

OLDEST_US = -(1 << 30) + 1
EDGE_AHEAD_US = 5_000
"""An interrupt may come between the reading of the clock and the step that takes its edge."""


class Situation:
    """One controller for one kind of sensor. Read: `legal`, what its settings must meet."""

    def __init__(self, kind: int | None, contracts: Any = None, **fixed: int) -> None:
        """Build all components; settings in `fixed` have that value, all others any legal one."""
        self.kind = kind
        self.interpreter = Interpreter(contracts)
        values: dict[str, Any] = {row[0]: terms.integer(row[0], row[2], row[3]) for row in TABLE}
        if kind is not None:
            values["sensor_kind"] = kind
        values.update(fixed)
        self.settings = self.interpreter.build("firmware.settings", "Settings", values)
        self.controller = self.interpreter.build("firmware.controller", "Controller", self.settings, Stamp(0))
        self.built = dict(self.interpreter.store)
        self.legal = terms.negate(self.interpreter.raised)
        self.base_obligations = [
            one for one in self.interpreter.obligations if one.what != "no exception is raised"
        ]
        self.interpreter.obligations = []
        self.interpreter.raised = False
        self.names: dict[tuple[int, Any], str] = {}
        self._name(self.controller, "")
        self.keys = {path: key for key, path in self.names.items()}
        self.variables: dict[str, Any] = {}

    def _name(self, value: Any, path: str) -> None:
        """Give every field its path from the controller; the first that is found counts."""
        records = []
        for (number, name), content in self.interpreter.store.items():
            if number != value.number or (number, name) in self.names:
                continue
            self.names[number, name] = f"{path}{name}"
            if isinstance(content, (Record, Items)):
                records.append((content, f"{path}{name}."))
        for content, longer in records:
            if not any(key[0] == content.number for key in self.names):
                self._name(content, longer)

    def setting(self, name: str) -> Any:
        """Return a setting."""
        return self.interpreter.store[self.settings.number, name]

    def value(self, path: str) -> Any:
        """Return what a field of the controller is now; of a stamp its offset."""
        found = self.interpreter.store[self.keys[path]]
        return found.offset if isinstance(found, Stamp) else found

    def remember_anything(self, newest_us: Any = 0) -> None:
        """Give every field that steps change any value in its range; stamps lie up to `newest_us`."""
        for path, span in RANGES.items():
            fresh = self._any_value(path, span, terms.high_of(newest_us))
            self.variables[path] = fresh
            key = self.keys[path]
            self.interpreter.store[key] = Stamp(fresh) if span == STAMP else fresh
            if not isinstance(span, str):
                self.interpreter.spans[key] = terms.low_of(fresh), terms.high_of(fresh)

    def _any_value(self, path: str, span: tuple[int, int] | str, newest_us: int) -> Any:
        if span == TRUTH:
            return terms.truth(path)
        if isinstance(span, str):
            return terms.integer(path, OLDEST_US, newest_us)
        if path not in LEVELS:
            return terms.integer(path, *span)
        one_wire = self.kind in (1, 2) and path in ("crank.levels", "crank._pending_levels")
        return terms.bits(tuple(terms.truth(f"{path}.{bit}") for bit in range(1 if one_wire else 2)))

    def any_inputs(self, now_us: Any, crank_edges: int, wheel_edges: int) -> Record:
        """Return inputs with any readings and this many pending edges, with any levels and times."""
        whole = self.interpreter
        inputs = whole.build("firmware.records", "Inputs")
        for name, span in INPUTS.items():
            *way, field = name.split(".")
            fresh = self._any_value(f"inputs.{name}", span, terms.high_of(now_us) + (1 << 29))
            whole.put(whole.get(inputs, *way), field, Stamp(fresh) if span == STAMP else fresh)
            self.variables[f"inputs.{name}"] = fresh
        newest_us = terms.high_of(now_us) + EDGE_AHEAD_US
        for side, count, width in (("crank", crank_edges, 2), ("wheel", wheel_edges, 1)):
            log = whole.get(inputs, side)
            whole.put(log, "_write", count)
            for place in range(count):
                name = f"{side}_edge{place}"
                levels = terms.bits(tuple(terms.truth(f"{name}.levels.{bit}") for bit in range(width)))
                time_us = terms.integer(f"{name}.time", OLDEST_US, newest_us)
                self.variables.update({f"{name}.levels": levels, f"{name}.time": time_us})
                whole.put(whole.get(log, "_levels"), place, levels)
                whole.put(whole.get(log, "_times_us"), place, Stamp(time_us))
        return inputs


LEVELS = (
    "crank.levels",
    "crank._pending_levels",
    "crank._last_position",
    "crank._last_changed",
    "guard._levels",
)
