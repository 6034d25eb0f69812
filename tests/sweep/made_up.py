"""A sweep whose numbers are made up: for figures and summaries, without a ride."""

from collections.abc import Callable, Iterator
from random import Random

from host_sim.bikes.load import load_bike
from host_sim.compiled.compiled_first import runs_compiled
from host_sim.sweeping.metrics import MEASURES
from host_sim.sweeping.numbers import Numbers, read_numbers
from host_sim.sweeping.points import Points, read_axis
from host_sim.sweeping.points_beside import own_value
from host_sim.sweeping.rows import Sweep

AXES = ("rise_mv_per_s=200:4000:9", "engage_rpm=15:45:6")
Measured = Callable[[dict[str, float], Random], dict[str, float]]


def sweep_of(axes: tuple[str, ...] = AXES, rules: tuple[str, ...] = (), bike: str = "cargo_trike") -> Sweep:
    """Return a sweep of a bike, not ridden."""
    return Sweep(
        load_bike(bike), Points([read_axis(axis, True) for axis in axes], None, 1), 60.0, 1, None, rules
    )


def numbers_of(sweep: Sweep, measured: Measured) -> Numbers:
    """Return the numbers of a sweep as if each ride had `measured` this; what it leaves out is 1."""
    return read_numbers(_rows(sweep, measured), sweep)


def _rows(sweep: Sweep, measured: Measured) -> Iterator[dict[str, str]]:
    for number in range(sweep.count):
        values = {axis.key.name: own_value(sweep.bike, axis.key.name) for axis in sweep.points.axes}
        if number < sweep.points.count:
            values.update(sweep.points.values(number))
        else:
            values.update(sweep.beside[number - sweep.points.count].values)
        found = dict.fromkeys(MEASURES, 1.0) | measured(values, Random(number))
        row = {"number": number, **values, **found, "reason": ""}
        yield {name: str(row.get(name, "")) for name in [*row, *sweep.measured]}


def number_and_form(number: int) -> tuple[int, bool]:
    """Return a number, and whether the process that was asked has a compiled copy."""
    return number, runs_compiled()
