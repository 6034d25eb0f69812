"""The effective share of a command: from the dead band to full, after a first-order lag."""

import numpy as np
from numpy.typing import NDArray

from host_sim.measuring.log import Series
from host_sim.measuring.stand_data import StandData

PARTS = 4  # Of a sample: it matters when in it the command passes the dead band or the full command.
BEFORE_S = 0.6  # Six lags of 0.1 s: earlier commands have no effect any more.
SPAN_LEAST_V = 0.05


def wanted_share(command_v: Series, start_v: float, full_v: float) -> Series:
    """Return the share, 0 to 1, that a command requests."""
    return np.asarray(np.clip((command_v - start_v) / max(full_v - start_v, SPAN_LEAST_V), 0.0, 1.0))


class FineCommand:
    """The command around the samples in `rows`, at PARTS times per sample; linear between samples."""

    __slots__ = ("_command_v", "_part_s", "_place")

    def __init__(self, data: StandData, rows: NDArray[np.intp]) -> None:
        """Store the commands that the shares at `rows` depend on."""
        marked = np.zeros(len(data.time_s) + 1)
        before = max(round(BEFORE_S / data.step_s), 6)
        # Rows are needed from `before` rows ahead of each of `rows` to 6 after it.
        np.add.at(marked, np.maximum(rows - before, 0), 1.0)
        np.add.at(marked, np.minimum(rows + 6, len(data.time_s)), -1.0)
        near = np.flatnonzero(np.cumsum(marked[:-1]) > 0.0)
        self._part_s = data.step_s / PARTS
        parts = (near[:, None] + np.arange(PARTS) / PARTS).ravel()
        self._command_v = np.interp(parts, np.arange(len(data.time_s)), data.command_v)
        self._place = np.searchsorted(near, rows) * PARTS

    def share(self, lag_s: float, start_v: float, full_v: float, late_s: float) -> Series:
        """Return the shares; `late_s`: how much later the command is read than the other values."""
        from scipy.signal import lfilter

        if not len(self._place):
            return np.zeros(0)
        wanted = wanted_share(self._command_v, start_v, full_v)
        kept = float(np.exp(-self._part_s / lag_s))
        newest = 1.0 - (1.0 - kept) * lag_s / self._part_s
        first = wanted[0] * (1.0 - newest)
        share = lfilter([newest, 1.0 - kept - newest], [1.0, -kept], wanted, zi=[first])[0]
        # Between two parts the command is linear, and its lag is computed exactly.
        place = np.clip(self._place - late_s / self._part_s, 0.0, len(share) - 2.0)
        row = place.astype(np.intp)
        since_s = (place - row) * self._part_s
        slope = (wanted[row + 1] - wanted[row]) / self._part_s
        faded = np.exp(-since_s / lag_s)
        away = share[row] - wanted[row] + slope * lag_s
        return np.asarray(wanted[row] + slope * (since_s - lag_s) + away * faded)
