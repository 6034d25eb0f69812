"""Resistance of the pack, and its voltage without load, from steps of load.

The terminal voltage is linear in current and in charge drawn: v = no-load - slope q - R i, as in the bench's
battery. Steps up and down separate R from the slow loss of charge.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host_sim.measuring.estimate import Estimate, NotEnoughError, half_width
from host_sim.measuring.least_squares import Search, line_search
from host_sim.measuring.log import Log, Series
from host_sim.units import S_PER_HOUR

STEP_LEAST_A = 2.0
STEPS_LEAST = 4
BLOCKS = 8
SHARED = 2
# Voltage without load, its fall for each Ah, resistance.
STARTS = ((40.0, 0.5, 0.1), (60.0, -1.0, 0.0), (20.0, 2.0, 0.5))
SOUGHT = "the steps of load don't separate resistance from discharge"


@dataclass(frozen=True, slots=True)
class LoadFit:
    """Resistance, voltage without load at the start, its fall per Ah, and the residuals over time."""

    resistance_ohm: Estimate
    no_load_v: Estimate
    fall_v_per_ah: Estimate
    time_s: Series
    residual_v: Series


def fit_load_steps(log: Log) -> LoadFit:
    """Evaluate one log of load steps; NotEnoughError says what is missing."""
    time_s, voltage_v, current_a = log.rows_with("time_s", "battery_v", "current_a")
    steps = _steps(current_a)
    if steps < STEPS_LEAST:
        raise NotEnoughError(
            f"{steps} steps of at least {STEP_LEAST_A:g} A found, at least {STEPS_LEAST} are needed"
        )
    charge_ah = np.concatenate(
        ([0.0], np.cumsum(0.5 * (current_a[1:] + current_a[:-1]) * np.diff(time_s)) / S_PER_HOUR)
    )
    table = np.column_stack((np.ones_like(time_s), -charge_ah, -current_a))
    search = line_search(3)
    found = search.from_starts(lambda unknowns: voltage_v - table @ unknowns, STARTS, SOUGHT)
    blocks = np.array_split(np.arange(len(time_s)), BLOCKS)
    without = [_without(block, table, voltage_v, search, found) for block in blocks]
    half = [half_width([float(one[place]) for one in without], SHARED) for place in range(3)]
    return LoadFit(
        Estimate(float(found[2]), half[2], "ohm"),
        Estimate(float(found[0]), half[0], "V"),
        Estimate(float(found[1]), half[1], "V/Ah", least=None),
        time_s,
        voltage_v - table @ found,
    )


def _without(
    block: NDArray[np.intp], table: Series, voltage_v: Series, search: Search, start: Series
) -> Series:
    """Return the unknowns with a block of samples left out."""
    rows, volts = np.delete(table, block, axis=0), np.delete(voltage_v, block)
    return search.run(lambda unknowns: volts - rows @ unknowns, start)[1]


def _steps(current_a: Series) -> int:
    """Count how often the current moves up or down by a third of its range, at least STEP_LEAST_A."""
    if not len(current_a):
        return 0
    low, high = float(np.min(current_a)), float(np.max(current_a))
    if high - low < STEP_LEAST_A:
        return 0
    up = False
    steps = 0
    for value in current_a:
        if not up and value > low + (high - low) * 2.0 / 3.0:
            up, steps = True, steps + 1
        elif up and value < low + (high - low) / 3.0:
            up, steps = False, steps + 1
    return steps
