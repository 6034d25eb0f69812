"""One step, edge or question to the gate on the firmware itself, from numbers: what a statement says of it.

A statement is written for terms; on numbers its truths are truths.
"""

from dataclasses import dataclass
from typing import Any

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import Settings
from host_sim.proof.whole.gate import PERMIT
from host_sim.proof.whole.ranges import INPUTS, RANGES, STAMP, TRUTH
from host_sim.proof.whole.snapshot import PERIOD_US, field_of, offset_of, restored, set_field
from host_sim.proof.whole.statement import Statement
from host_sim.proof.whole.statements import STATEMENTS

LAST_US = 1_000_000
Values = dict[str, int]


class Taken(Controller):
    """A controller in the middle of a step, that has taken the edges of it already."""

    def _take_edges(self, inputs: Inputs, now_us: int) -> None:
        self.crank.settle(now_us)
        self.wheel.settle(now_us)


class Fields:
    """What a controller remembers, as numbers: `of` a path, of a stamp its offset from `origin_us`."""

    def __init__(self, controller: Controller, origin_us: int) -> None:
        """Copy the fields."""
        self.fields = {path: field_of(controller, path) for path in RANGES}
        self.settled = controller
        self.origin_us = origin_us

    def of(self, path: str) -> Any:
        """Return a field; one that no step changes as it is now."""
        value = self.fields[path] if path in self.fields else field_of(self.settled, path)
        return offset_of(value, self.origin_us) if RANGES.get(path) == STAMP else value


@dataclass(frozen=True, slots=True)
class Kind:
    """The kind of sensor, where a statement looks for it."""

    kind: int


class NumberRun:
    """A run on numbers, for statements to speak of as of one on terms."""

    def __init__(self, statement: Statement, kind: int, settings: dict[str, int], values: Values) -> None:
        """Put the firmware into the state that `values` give, and let it take its step."""
        self.settings = Settings({**settings, "sensor_kind": kind})
        self.situation = Kind(kind)
        self.values = values
        self.now_us = values.get("now", 0)
        self.time_us = values.get("time", 0)
        self.command_mv = values.get("command", 0)
        self.levels = sum(bool(values.get(f"levels.{bit}", 0)) << bit for bit in range(2))
        controller = Taken(self.settings, LAST_US)
        known = {path: values.get(path, _new_value(controller, path)) for path in RANGES}
        known |= {name: value for name, value in values.items() if name.rsplit(".", 1)[0] in RANGES}
        restored(controller, known, LAST_US)
        for place, path in enumerate(("crank.ground_gained", "crank.pitch_measured", "wheel.pulsed")):
            part, field = path.split(".")
            said = values.get(f"{part.title()}.begin_step.{place // 2}.{field}")
            if said is not None:
                set_field(controller, path, bool(said))
        self.inputs = _inputs(values)
        self.before = Fields(controller, LAST_US)
        origin_us = LAST_US
        if statement.alone == PERMIT:
            self.permitted_mv = controller.guard.permit(self.command_mv, self.inputs, LAST_US + self.now_us)
        elif statement.alone:
            component, method = statement.alone
            getattr(getattr(controller, component), method)(self.levels, (LAST_US + self.time_us) % PERIOD_US)
        else:
            origin_us = (LAST_US + self.now_us) % PERIOD_US
            controller.step(self.inputs, origin_us)
        self.after = Fields(controller, origin_us)

    def setting(self, name: str) -> int:
        """Return a setting."""
        return int(getattr(self.settings, name))

    def inputs_of(self, name: str) -> Any:
        """Return a reading; of a stamp its offset from the last step."""
        value = field_of(self.inputs, name)
        return offset_of(value, LAST_US) if INPUTS[name] == STAMP else value

    @property
    def sampled_us(self) -> Any:
        """When the readings were taken, as an offset."""
        return self.inputs_of("sampled_us")

    def bit(self, place: int) -> bool:
        """Return one of the levels."""
        return bool(self.levels >> place & 1)

    def moved(self, path: str, levels: int) -> int:
        """Return by how many of the four positions of the ring the levels moved from a field's."""
        before = int(self.before.of(path))
        return int((levels ^ levels >> 1) - (before ^ before >> 1)) % 4


def _new_value(controller: Controller, path: str) -> int:
    value = field_of(controller, path)
    return offset_of(value, LAST_US) if RANGES[path] == STAMP else int(value)


def _inputs(values: Values) -> Inputs:
    inputs = Inputs()
    inputs.brake_pulled = False
    for name, span in INPUTS.items():
        value = values.get(f"inputs.{name}", field_of(inputs, name))
        if span == STAMP:
            value = (LAST_US + values.get(f"inputs.{name}", values.get("now", 0))) % PERIOD_US
        set_field(inputs, name, bool(value) if span == TRUTH else value)
    return inputs


def broken(name: str, kind: int, settings: dict[str, int], values: Values) -> list[str]:
    """Return the sentences of a statement that the firmware breaks from these numbers on."""
    run: Any = NumberRun(STATEMENTS[name], kind, settings, values)
    return [what for what, when, then in STATEMENTS[name].says(run) if when and not then]
