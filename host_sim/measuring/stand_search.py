"""The search for the unknowns of a stand run, from several starts, and their intervals.

The intervals come from the scatter of the misses, and from the unknown time of a reading within its sample.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.measuring.estimate import CONFIDENCE, NotEnoughError
from host_sim.measuring.log import Series
from host_sim.measuring.scatter import block_half_widths
from host_sim.measuring.stand_data import StandData
from host_sim.measuring.stand_laws import (
    FULL,
    LAG,
    LATE,
    LATE_SHARE,
    LIMIT,
    NAMES,
    NO_LOAD,
    OHM,
    SPEED,
    START,
    TORQUE,
    VOLTS,
    Laws,
)  # fmt: skip

BLOCK_S = 0.5
# Errors of an opening are common to all its samples: for these unknowns the number of openings counts, less
# SHARED, which was chosen so that the intervals are right (README.md).
BY_OPENINGS = (VOLTS, OHM, LAG, START)
SHARED = 3
FREEDOM_LEAST = 3
_LOWEST = np.array([0.3, 0.005, 0.0, 0.001, 0.0, 0.5, 1.0, -0.02])
_HIGHEST = np.array([30.0, 5.0, 8.0, 0.5, 3.5, 5.5, 300.0, 0.02])
_SCALE = np.array([0.5, 0.05, 0.2, 0.01, 0.1, 0.2, 5.0, 0.001])
# Starts of the search: volts for a speed as a share of battery voltage over top speed, ohm, lag, start of the
# command, shares of the bike file's full command and of its current limit.
STARTS = (
    (0.98, 0.15, 0.02, 1.0, 1.0, 1.0),
    (0.98, 0.5, 0.06, 0.6, 1.1, 1.3),
    (0.9, 0.3, 0.03, 1.4, 0.9, 0.7),
    (0.98, 0.2, 0.1, 0.9, 1.05, 0.85),
    (0.98, 0.3, 0.05, 0.7, 1.0, 1.0),
)
DROP_SHARE = 0.5
_AGREE = 0.3  # Times the noise.
AGREEING_LEAST = 3  # Of the starts, including those near the best.
NEAR_BEST = (0.9, 1.1)
ROUNDS = 4  # Choosing samples and searching are repeated so often from each start.
COARSE = 8  # The starts use every eighth sample.
FITS_SHARE = 0.8
COUNTED_LEAST = 0.15  # Of the samples in openings; with fewer the motor's law was not really fitted.
_ROBUST = 3.0  # Misses above this, in units of the noise, count linearly only.
_OUTLIER = 6.0  # Those above this don't count: some limit that the laws don't include was active.


@dataclass(frozen=True, slots=True)
class Guess:
    """Values of the bike file: the start of the search, and for what a log without current can't show."""

    full_v: float
    motor_limit_a: float
    ohm: float
    no_load_a: float


class StandSearch:
    """A search for the unknowns that make the misses small. Read: `unknowns`, `fixed`, `laws`."""

    def __init__(self, data: StandData, kind: str, guess: Guess) -> None:
        """Choose the unknowns that this log can show; the others keep the bike file's values."""
        self.data, self.kind, self.guess = data, kind, guess
        self.moving = moving = data.fast and data.shunt
        self.laws = Laws(data, kind, moving)
        free = {VOLTS, START, FULL} if kind == SPEED else {VOLTS}
        if data.shunt:
            free.add(NO_LOAD)
        if moving:
            free |= {OHM, LAG, START, FULL, LATE} | ({LIMIT} if kind == TORQUE else set())
        self.free = sorted(free)
        self.fixed = sorted(set(range(LATE)) - free - ({FULL, LIMIT} if kind == TORQUE else {LIMIT}))
        self.unknowns = np.array(
            [1.0, guess.ohm, guess.no_load_a, 0.02, 1.0, guess.full_v, guess.motor_limit_a, 0.0]
        )
        self.kept = np.ones(len(self.laws.rows), dtype=bool)

    def search(self) -> None:
        """Search from several starts, then without outliers; NotEnoughError if no two starts agree."""
        data, fine = self.data, self.laws
        self.laws = Laws(data, self.kind, self.moving, COARSE)
        self.kept = np.ones(len(self.laws.rows), dtype=bool)
        if not len(self.laws.top):
            raise NotEnoughError("the highest command is not held until the speed has been even for a second")
        volts = float(np.median(data.battery_v[self.laws.top] / data.speed[self.laws.top]))
        found = []
        for share, ohm, lag_s, start_v, full, limit in STARTS:
            full_v, limit_a = self.guess.full_v * full, self.guess.motor_limit_a * limit
            tried = np.array([volts * share, ohm, 0.8, lag_s, start_v, full_v, limit_a, 0.0])
            found.append(self._from(tried))
        best = max(found, key=self._explains)
        found += [self._from(best * off) for off in NEAR_BEST]
        self.unknowns = self._agreed(found)
        self.laws = fine
        self.kept = np.ones(len(fine.rows), dtype=bool)
        for _ in range(3):
            self.laws.choose(self.unknowns)
            self.kept = np.abs(self.laws.misses(self.unknowns)) < _OUTLIER
            self.unknowns = self._searched(self.unknowns)
        fits = float(np.mean(self.kept[fine.counted()]))
        if self.moving and np.mean(fine.counts) < COUNTED_LEAST:
            fits = float(np.mean(fine.counts))
        if fits < FITS_SHARE:
            raise NotEnoughError(
                f"{fits:.0%} of the samples fit a motor of the {self.kind} kind, at least {FITS_SHARE:.0%} "
                "are needed; is a column wrong, or was the wheel touched?"
            )

    def _from(self, tried: Series) -> Series:
        """Return the result of the search from this start; the samples are chosen again in each round."""
        start = self._spread(tried[self.free], self.unknowns)
        for _ in range(ROUNDS):
            self.laws.choose(start)
            start = self._searched(start)
        return start

    def _explains(self, unknowns: Series) -> int:
        """Return how many samples these unknowns explain, minus three for each that they don't."""
        self.laws.choose(unknowns)
        misses = np.abs(self.laws.misses(unknowns))
        return int(np.sum(self.laws.counted() & (misses < _ROBUST)) - 3 * np.sum(misses >= _ROBUST))

    def _agreed(self, found: list[Series]) -> Series:
        """Return the unknowns that explain most samples, if enough starts led to the same misses."""
        best = max(found, key=self._explains)
        self.laws.choose(best)
        least = self.laws.misses(best)
        apart = [float(np.sqrt(np.mean((self.laws.misses(other) - least) ** 2))) for other in found]
        if sum(one < _AGREE for one in apart) < AGREEING_LEAST:
            raise NotEnoughError("the search has no unique result: the readings fit several motors, or none")
        return best

    def _spread(self, free: Series, start: Series) -> Series:
        """Return all unknowns: the free ones, and from `start` the others."""
        unknowns = start.copy()
        unknowns[self.free] = free
        return unknowns

    def _counted(self, unknowns: Series) -> Series:
        """Return the misses, 0 for outliers; the last entry is LATE relative to its standard deviation."""
        misses = np.where(self.kept, self.laws.misses(unknowns), 0.0)
        return np.append(misses, unknowns[LATE] / (LATE_SHARE * self.data.step_s))

    def _searched(self, start: Series) -> Series:
        from scipy.optimize import least_squares

        def counted(free: Series) -> Series:
            return self._counted(self._spread(free, start))

        low, high = _LOWEST[self.free], _HIGHEST[self.free]
        result = least_squares(
            counted,
            np.clip(start[self.free], low + 1e-6, high - 1e-6),
            bounds=(low, high),
            x_scale=_SCALE[self.free],
            loss="soft_l1",
            f_scale=_ROBUST,
        )
        return self._spread(result.x, start)

    def half_widths(self) -> dict[int, float]:
        """Return half of each interval by its place in NAMES, infinite if the log does not determine it."""
        from scipy.stats import norm
        from scipy.stats import t as student

        misses = self._counted(self.unknowns)
        columns = []
        for place in self.free:
            change = np.zeros(len(NAMES))
            change[place] = 1e-3 * _SCALE[place]
            up, down = self._counted(self.unknowns + change), self._counted(self.unknowns - change)
            columns.append((up - down) / (2e-3 * _SCALE[place]))
        # As in the search: misses above _ROBUST count linearly only.
        softly = (1.0 + (misses / _ROBUST) ** 2) ** -0.25
        block = np.append(self.data.time_s[self.laws.rows] // BLOCK_S, -1.0).astype(np.intp)
        misses[-1] = 1.0  # The standard deviation, not the single result.
        widths = block_half_widths(np.column_stack(columns) * softly[:, None], misses * softly, block)
        half = dict(zip(self.free, widths, strict=True))
        openings = max(len(self.data.holds) - SHARED, FREEDOM_LEAST)
        wider = {
            place: float(student.ppf(CONFIDENCE, openings) / norm.ppf(CONFIDENCE)) for place in BY_OPENINGS
        }
        half = {place: width * wider.get(place, 1.0) for place, width in half.items()}
        # The error of a rounded value may be the same in all rows.
        rounded = 0.5 * self.data.step_v / float(np.median(self.data.battery_v))
        for place in set(half) & {VOLTS, START, FULL}:
            half[place] += rounded * float(self.unknowns[place])
        if NO_LOAD in half:
            half[NO_LOAD] += 0.5 * self.data.step_a
        if OHM not in self.free:
            # The resistance is the bike file's; the drop at no load may be wrong by half.
            drop_v = DROP_SHARE * float(self.unknowns[OHM] * self.unknowns[NO_LOAD])
            span_v = float(self.unknowns[FULL] - self.unknowns[START])
            by_drop_v = span_v * drop_v / float(np.median(self.data.battery_v))
            more = {VOLTS: drop_v / self.data.top_m_per_s, START: by_drop_v, FULL: by_drop_v}
            half = {place: width + more.get(place, 0.0) for place, width in half.items()}
        half.pop(LATE, None)
        return half
