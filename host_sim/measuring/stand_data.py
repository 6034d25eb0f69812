"""A stand run's log on an even grid: its throttle openings, and which samples are steady or driving."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from host_sim.errors import RequestError
from host_sim.measuring.log import Log, Series

SECONDS_LEAST = 10.0
STEP_MOST_S = 0.25
FAST_STEP_S = 0.02  # A slower log misses how the motor comes up to speed.
STEADY_S = 1.0
SETTLED_S = 0.5  # For this time after the command is held, the motor still accelerates.
COMMAND_APART_V = 0.15
COMMAND_STEADY_V = 0.05
RUNNING_M_PER_S = 0.5
STILL_SHARE = 0.05  # Of the highest speed: the wheel counts as stopped.
DRIFT_SHARE = 0.01  # Of the speed, within STEADY_S.
GAP_STEPS = 3.5  # A longer gap means missing samples and is not used.
STEADY_LEAST = 20
CURRENT_LEAST_A = 0.1  # If it is less at even speeds, no shunt is fitted.
REPEATED_SHARE = 0.3
CHANGES_SHARE = 0.02
_NORMAL = 0.954  # Median absolute difference of two normal values, in standard deviations.

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Hold:
    """A command that was held until the throttle closed: `settled` if the speed was steady at the end.

    The command rose for `opening_s`; `late_s` after that the wheel had 95 % of its final speed.
    """

    command_v: float
    volts_share: float  # Speed over battery voltage, as a share of the highest.
    settled: bool
    opening_s: float
    late_s: float


class StandData:
    """Columns on an even grid of `step_s`, and the state of the motor at each sample; read only.

    `steady`: the command has been held and the speed is even; `driving`: from the start of an opening until
    SETTLED_S after it. `opening`: the number of the opening, from 0; -1 outside. `fast`: the log shows how
    the motor accelerates, not only its final speed. `shunt`: the log has currents. `noise_`: standard
    deviation of a reading; `step_`: the step that it is rounded to, or 0.
    """

    def __init__(self, log: Log) -> None:
        """Evaluate the columns; the current may be missing. RequestError if the log is not a stand run."""
        names = ["time_s", "speed_m_per_s", "battery_v", "command_v"]
        if "current_a" in log.columns:
            names.append("current_a")
        columns = dict(zip(names, log.rows_with(*names), strict=True))
        given_s = columns["time_s"]
        self.step_s = _step_s(log.name, given_s)
        self.time_s = given_s[0] + self.step_s * np.arange(int((given_s[-1] - given_s[0]) / self.step_s))
        even = {name: np.interp(self.time_s, given_s, column) for name, column in columns.items()}
        self.speed, self.command_v = even["speed_m_per_s"], even["command_v"]
        self.battery_v = np.maximum(even["battery_v"], 1.0)
        self.current_a = even.get("current_a", np.zeros_like(self.speed))
        self.noise_m_per_s = _noise(self.speed, 0.005)
        self.top_m_per_s = float(np.quantile(self.speed, 0.99))
        if self.top_m_per_s < RUNNING_M_PER_S:
            raise RequestError(
                f"{log.name}: the wheel turns at {self.top_m_per_s:.2g} m/s at most, allowed is a run above "
                f"{RUNNING_M_PER_S:g} m/s"
            )
        after = np.minimum(np.searchsorted(given_s, self.time_s, side="right"), len(given_s) - 1)
        self._sort_samples(log.name, given_s[after] - given_s[after - 1] < GAP_STEPS * self.step_s)
        rows = self.steady if np.sum(self.steady) > STEADY_LEAST else np.ones_like(self.steady)
        self.noise_m_per_s = _noise(self.speed[rows], 0.005)
        self.noise_a = _noise(self.current_a[rows], 0.01)
        self.noise_v = _noise(self.battery_v[rows], 0.005)
        self.step_v, self.step_a = rounding(self.battery_v[rows]), rounding(self.current_a[rows])
        self.shunt = bool(np.median(np.abs(self.current_a[rows])) > CURRENT_LEAST_A)
        self.fast = self.step_s <= FAST_STEP_S and not self._by_pulses()

    def _sort_samples(self, name: str, read: Mask) -> None:
        """Find the openings, and the steady and the driving samples among those that were `read`."""
        held = _held(self.command_v, max(round(STEADY_S / self.step_s), 1), 8.0 * _scatter(self.command_v))
        still = self.speed < STILL_SHARE * self.top_m_per_s
        found = _openings(self.command_v, held)
        if found and not still[found[0][2] :].any():
            raise RequestError(
                f"{name}: the wheel never stops after a command, allowed is a run with stops after each"
            )
        self.opening = np.full(len(self.time_s), -1, dtype=np.intp)
        self.driving = np.zeros(len(self.time_s), dtype=bool)
        self.steady = np.zeros(len(self.time_s), dtype=bool)
        running = read & self._even() & (self.speed > RUNNING_M_PER_S)
        self.holds = []
        for number, (first, start, end) in enumerate(found):
            self.opening[first:end] = np.where(read[first:end], number, -1)
            reached = start - round((STEADY_S - SETTLED_S) / self.step_s)
            self.driving[first:reached] = read[first:reached]
            self.steady[start:end] = running[start:end]
            self.holds.append(self._hold(first, start, end))

    def _even(self) -> Mask:
        """Return where the speed has hardly changed within STEADY_S."""
        from scipy.ndimage import uniform_filter1d

        count = max(round(0.25 / self.step_s), 1)
        mean = uniform_filter1d(self.speed, count)
        back = max(round(STEADY_S / self.step_s) - count, 1)
        drift = np.abs(mean - np.concatenate((np.full(back, np.inf), mean[:-back])))
        allowed = DRIFT_SHARE * mean + 4.0 * self.noise_m_per_s / np.sqrt(count)
        return np.asarray(drift < allowed)

    def _hold(self, first: int, start: int, last: int) -> Hold:
        """Return the opening of which `first` is the first row, `start` the first held, `last` the end."""
        end = slice(max(last - max(round(0.5 / self.step_s), 1), first), last)
        speed = float(np.median(self.speed[end]))
        share = speed / float(np.median(self.battery_v[end])) / self._top_share()
        reached = start - round(STEADY_S / self.step_s)
        opening_s = self.step_s * max(reached - first, 0)
        over = np.flatnonzero(self.speed[first:last] > 0.95 * speed)
        late_s = self.step_s * float(over[0]) - opening_s if len(over) else 0.0
        settled = bool(np.mean(self.steady[end]) > 0.5)
        return Hold(float(np.median(self.command_v[end])), share, settled, opening_s, late_s)

    def _top_share(self) -> float:
        return float(np.quantile(self.speed / self.battery_v, 0.99))

    def _by_pulses(self) -> bool:
        """Whether the speed repeats from row to row while it should change: it comes from wheel pulses."""
        ahead = max(round(0.1 / self.step_s), 1)
        change = np.abs(self.speed[2 * ahead :] - self.speed[: -2 * ahead]) > 0.1 * self.top_m_per_s
        same = np.diff(self.speed)[ahead : ahead + len(change)] == 0.0
        return bool(change.any() and np.mean(same[change]) > REPEATED_SHARE)


def _step_s(name: str, given_s: Series) -> float:
    """Return the time from sample to sample; RequestError if the log is too short or too slow."""
    span_s = float(given_s[-1] - given_s[0]) if len(given_s) else 0.0
    if span_s < SECONDS_LEAST:
        raise RequestError(
            f"{name}: it has {span_s:.3g} s with all columns filled, allowed is {SECONDS_LEAST:g} s or more"
        )
    step_s = float(np.median(np.diff(given_s)))
    if step_s > STEP_MOST_S:
        raise RequestError(
            f"{name}: it has a sample every {step_s:.2g} s, allowed is at most {STEP_MOST_S:g} s between them"
        )
    return step_s


def _held(command_v: Series, count: int, noise_v: float) -> Mask:
    """Return where the command has hardly changed within the last `count` samples."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    behind = (count - 1) // 2  # The window ends at the sample.
    spread = maximum_filter1d(command_v, count, origin=behind) - minimum_filter1d(
        command_v, count, origin=behind
    )
    return np.asarray(spread < max(COMMAND_STEADY_V, noise_v))


def _openings(command_v: Series, held: Mask) -> list[tuple[int, int, int]]:
    """Return each rise from a held command to a higher one: first row, first held row, end of the hold."""
    changes = np.flatnonzero(np.diff(np.concatenate(([False], held, [False])).astype(int)))
    found: list[tuple[int, int, int]] = []
    before_v, before = float(command_v[0]), 0
    for start, end in changes.reshape(-1, 2):
        level_v = float(np.median(command_v[start:end]))
        if level_v > before_v + COMMAND_APART_V:
            rise = command_v[before : start + 1]
            lowest = np.flatnonzero(rise <= float(np.min(rise)) + COMMAND_STEADY_V)
            found.append((before + int(lowest[-1]), int(start), int(end)))
        before_v, before = level_v, max(int(end) - 1, 0)
    return found


def rounding(values: Series) -> float:
    """Return the step that readings are rounded to, 0 if noise makes neighbours differ."""
    change = np.abs(np.diff(values))
    apart = change[change > 1e-9]
    often = CHANGES_SHARE * len(change) < len(apart) < (1.0 - REPEATED_SHARE) * len(change)
    return float(np.min(apart)) if often else 0.0


def _scatter(values: Series) -> float:
    """Return the standard deviation of white noise, from the differences of neighbours."""
    return float(np.median(np.abs(np.diff(values)))) / _NORMAL


def _noise(values: Series, least: float) -> float:
    """Return the standard deviation of white noise or of rounding, at least `least`."""
    change = np.abs(np.diff(values))
    apart = change[change > 1e-9]
    # A rounded reading often jumps by the same step; a few jumps are real changes.
    rounding = float(np.min(apart)) / sqrt(12.0) if len(apart) > CHANGES_SHARE * len(change) else 0.0
    return max(_scatter(values), rounding, least)
