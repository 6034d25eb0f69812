"""The state of a real controller as numbers by the names of the formula's variables, and back."""

from typing import Any

from host_sim.proof.inside import Inside
from host_sim.proof.whole.ranges import RANGES, STAMP, TRUTH
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.terms import Term, is_truth

PERIOD_US = 1 << 30


def field_of(owner: Any, path: str) -> Any:
    """Return a field of a real object by its path; a number picks from a list."""
    for name in path.split("."):
        owner = owner[int(name)] if name.isdigit() else getattr(owner, name)
    return owner


def set_field(owner: Any, path: str, value: Any) -> None:
    """Set a field of a real object by its path."""
    *way, last = path.split(".")
    for name in way:
        owner = owner[int(name)] if name.isdigit() else getattr(owner, name)
    if last.isdigit():
        owner[int(last)] = value
    else:
        setattr(owner, last, value)


def offset_of(time_us: int, last_us: int) -> int:
    """Return a time as an offset from the last step: up to an eighth of the period later, else earlier."""
    offset_us = (time_us - last_us) % PERIOD_US
    return offset_us if offset_us < PERIOD_US >> 1 else offset_us - PERIOD_US


def numbers_of(situation: Situation, controller: Any) -> dict[str, int | bool]:
    """Return the number of every variable of a situation that the state of a real controller gives."""
    found: dict[str, int | bool] = {}
    for path, span in RANGES.items():
        value = field_of(controller, path)
        if span == STAMP:
            value = offset_of(value, Inside(controller).last_us)
        give(found, situation.variables[path], value)
    return found


def give(found: dict[str, int | bool], variable: Any, value: int | bool) -> None:
    """Note the number of one variable; ValueError if it is out of its range."""
    if not isinstance(variable, Term):
        if variable != value:
            raise ValueError(f"{variable} is {value}")
    elif variable.op == "bits":
        for place, bit in enumerate(variable.args):
            found[bit.args[0]] = bool(value >> place & 1)
        if value >= 1 << len(variable.args):
            raise ValueError(f"{variable.args[0].args[0]} is {value}")
    elif is_truth(variable):
        found[variable.args[0]] = bool(value)
    else:
        name = variable.args[0]
        if not variable.low <= value <= variable.high:
            raise ValueError(f"{name} is {value}, not {variable.low} to {variable.high}")
        found[name] = int(value)


def restored(controller: Any, numbers: dict[str, int | bool], last_us: int) -> None:
    """Put numbers of a situation's variables into a real controller."""
    for path, span in RANGES.items():
        if span == STAMP:
            set_field(controller, path, (last_us + int(numbers[path])) % PERIOD_US)
        elif span == TRUTH:
            set_field(controller, path, bool(numbers[path]))
        elif f"{path}.0" in numbers:
            set_field(
                controller,
                path,
                sum(int(numbers[f"{path}.{b}"]) << b for b in range(2) if f"{path}.{b}" in numbers),
            )
        elif path in numbers:
            set_field(controller, path, int(numbers[path]))
