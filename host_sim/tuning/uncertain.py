"""The power loop's margin, given the uncertainty of the bicycle's numbers.

Each draw is the same bicycle with the same settings, but with numbers of motor, battery and motor controller
drawn evenly from their intervals (those of the bike file, or a fifth either way). Its plant is identified by
riding it at every operating point; the margins of the loop are computed from that.

Which number drives the margin follows from a regression of the margins' ranks on all numbers at once, linear
and quadratic. So no number gets an influence by chance, as it may in single correlations, and a number with
its best value in the middle is found too.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np

from host_sim.bikes.model import Bike
from host_sim.measuring.intervals import DRIVE, Interval, Number, intervals
from host_sim.measuring.log import Series
from host_sim.tuning.identify import identify
from host_sim.tuning.margins import worst_case
from host_sim.tuning.simc import PiGains

DRAWS = 50
GAIN_MARGIN_LEAST = 2.0  # Below, common practice calls a loop too lively; no source.
DRIVES_LEAST = 0.3  # A number that causes less than a tenth of the variance isn't worth measuring. Judgement.
CHANCE_TIMES = 3.0  # An influence this far above the regression's own noise can't be chance.
# How to measure a number; for the rest there is a data sheet or a meter.
HOW = {
    "battery.resistance_ohm": "load steps: `treadle measure --load-steps`",
    "motor.torque_constant_nm_per_a": "lift the wheel, read volts and speed at full command",
    "motor.resistance_ohm": "a milliohm meter between two phases, at 25 degrees",
}
OTHERWISE = "the part's data sheet, or `treadle compare` with a recorded ride"


@dataclass(frozen=True, slots=True)
class Uncertain:
    """The draws: `worst` is the least gain margin (times) of all, `as_given` that of the bike file.

    `worst_numbers` are those of the worst draw. `drivers` has the influence of each number on the margin,
    the strongest first: its square is the share of the variance, and it is below 0 if a larger number makes
    the margin smaller. One of `chance` or less may be none.
    """

    draws: int
    as_given: float
    worst: float
    least_phase_deg: float
    worst_numbers: dict[Number, float]
    drivers: list[tuple[Number, float]]
    known: dict[Number, Interval]
    chance: float

    def _strong(self) -> list[Number]:
        least = max(DRIVES_LEAST, CHANCE_TIMES * self.chance)
        return [number for number, influence in self.drivers if abs(influence) >= least]

    @property
    def driver(self) -> Number | None:
        """The number that the margin depends on most, or None."""
        return next(iter(self._strong()), None)

    @property
    def measure_next(self) -> Number | None:
        """The number to measure next: the strongest driver not measured yet, else the strongest of all."""
        return next((one for one in self._strong() if not self.known[one].measured), self.driver)

    def sentences(self) -> list[str]:
        """Return sentences for the user."""
        told = [
            f"gain margin {self.as_given:.2f} with the numbers as given; the worst of {self.draws} bicycles "
            f"within the intervals has {self.worst:.2f} (phase margin {self.least_phase_deg:.0f} degrees)"
        ]
        if self.worst < GAIN_MARGIN_LEAST:
            told.append(f"that is below {GAIN_MARGIN_LEAST:g}: expect that the loop may surge")
        driver, following = self.driver, self.measure_next
        if driver is None or following is None:
            return [*told, "no number influences the margin more than chance would: measuring would not help"]
        told.append(f"the {driver.words} ({driver.name}) has the most influence on it")
        again = ", again and more exactly" if self.known[following].measured else ""
        told.append(
            f"measure next: {following.words} ({following.name}){again}, "
            f"by {HOW.get(following.name, OTHERWISE)}"
        )
        return told

    def as_json(self) -> dict[str, object]:
        """Return the entry of `treadle tune --json`."""
        following = self.measure_next
        return {
            "draws": self.draws,
            "gain_margin_as_given": round(self.as_given, 3),
            "worst_gain_margin": round(self.worst, 3),
            "worst_phase_margin_deg": round(self.least_phase_deg, 1),
            "worst_numbers": {one.name: float(f"{value:.4g}") for one, value in self.worst_numbers.items()},
            "influences": {one.name: round(value, 2) for one, value in self.drivers},
            "driven_by": None if self.driver is None else self.driver.name,
            "measure_next": None if following is None else following.name,
        }


def uncertain(
    path: Path,
    bike: Bike,
    gains: PiGains,
    seed: int = 1,
    draws: int = DRAWS,
    done: Callable[[int, int], None] = lambda now, of: None,
) -> Uncertain | None:
    """Ride `draws` bicycles within the intervals of the file at `path`; None if there is no power loop."""
    given = identify(bike, seed)
    if not given:
        return None
    known = intervals(path, bike, DRIVE)
    random = Random(f"uncertain {seed}")
    rows: list[tuple[dict[Number, float], float, float]] = []
    for draw in range(draws):
        values = {number: random.uniform(known[number].low, known[number].high) for number in DRIVE}
        other = bike
        for number, value in values.items():
            other = number.changed(other, value)
        plants = identify(other, seed)
        if plants:
            margins = worst_case(plants, gains).margins
            rows.append((values, margins.gain, margins.phase_deg))
        done(draw + 1, draws)
    if not rows:
        return None
    worst_numbers, worst_gain, _ = min(rows, key=lambda row: row[1])
    drawn = np.array([[_within(values[number], known[number]) for number in DRIVE] for values, _, _ in rows])
    found, chance = influences(drawn, [gain for _, gain, _ in rows])
    return Uncertain(
        draws=len(rows),
        as_given=worst_case(given, gains).margins.gain,
        worst=worst_gain,
        least_phase_deg=min(phase for _, _, phase in rows),
        worst_numbers=worst_numbers,
        drivers=sorted(zip(DRIVE, found, strict=True), key=lambda pair: -abs(pair[1])),
        known=known,
        chance=chance,
    )


def _within(value: float, interval: Interval) -> float:
    """Return where a value lies in its interval, -1 to 1."""
    return 2.0 * (value - interval.low) / (interval.high - interval.low) - 1.0


def influences(drawn: Series, margins: list[float]) -> tuple[list[float], float]:
    """Return the influence of each column of `drawn` (-1 to 1, a row a draw) on the margins, and chance's."""
    from scipy.stats import rankdata

    count, numbers = drawn.shape
    ranks = rankdata(margins)
    if count < 2 or float(np.std(ranks)) == 0.0:
        return [0.0] * numbers, 0.0
    y = (ranks - np.mean(ranks)) / np.std(ranks)
    x = np.hstack((drawn, 1.5 * drawn**2 - 0.5))  # Legendre's polynomials: independent over the interval.
    x = x - np.mean(x, axis=0)
    factors = np.linalg.lstsq(x, y, rcond=None)[0]
    parts = (factors**2 * np.var(x, axis=0)).reshape(2, numbers).sum(axis=0)
    signs = np.where(factors[:numbers] < 0.0, -1.0, 1.0)
    free = max(count - 1 - 2 * numbers, 1)
    chance = float(np.sqrt(2.0 * np.sum((y - x @ factors) ** 2) / free / count))
    return [float(value) for value in signs * np.sqrt(parts)], chance
