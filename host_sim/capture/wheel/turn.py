"""How many magnets the wheel has: from their uneven places, or from turns that the user counted."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import f as fisher

from host_sim.capture.findings import CAN_NOT_TELL, Finding
from host_sim.capture.stretches import Floats

MAGNETS_MOST = 64
TURNS_LEAST = 5
CHANCE = 1e-6  # Probability that chance makes a pattern this clear.
UNEVEN_LEAST = 0.004  # A share of a pitch; less may be due to the clock or the road.
EXPLAINS = 0.6
COUNTED_WITHIN = 0.4  # Of a magnet; if they differ by more, turns and pulses contradict each other.
GAP_FROM = 1.4  # Times the mean of a turn.
EVERY_TURN = 0.85
EXTRA_ALIKE = (0.35, 0.0)  # Correlations.
GAPS_MOST = 3000
TURNS_AGAINST = 10
UNSURE, AGREED = 0.8, 0.95


@dataclass(frozen=True, slots=True)
class WheelTurn:
    """`pulses` a turn, including `missing` magnets; `seen`: how many give a pulse (0: unknown)."""

    pulses: Finding[int]
    seen: int
    missing: int


def turn_of_wheel(gaps_s: Floats, counted_turns: float, in_file: int) -> WheelTurn:
    """Evaluate the gaps between pulses; `counted_turns` of the whole capture, 0 if nobody counted.

    A pattern alone is a guess: two halves of a turn may differ by less than the effect of the road. It is
    stated if a bike file, with `in_file` pulses (0: none), agrees.
    """
    seen, shape, sure = _pattern(gaps_s)
    steps = np.maximum(np.round(shape / np.median(shape)), 1.0) if len(shape) else np.ones(1)
    # If one of two magnets is lost, no unevenness remains, so two gaps mean two magnets.
    missing = int(steps.sum() - seen) if seen >= 3 else 0
    if counted_turns > 0.0:
        return _counted(len(gaps_s), counted_turns, seen, missing)
    if seen:
        sure = AGREED if seen + missing == in_file else sure
        return WheelTurn(Finding(seen + missing, sure), seen, missing)
    if len(gaps_s) < TURNS_LEAST:
        return WheelTurn(CAN_NOT_TELL, 0, 0)
    # One magnet has no pattern, nor do several that are even.
    return WheelTurn(Finding(in_file or 1, 0.6), 0, 0)


def _counted(gaps: int, turns: float, seen: int, missing: int) -> WheelTurn:
    """Compare the pattern with the turns that were counted: if both agree, the number is certain."""
    # From a mark to the same mark there may be one pulse more or less, depending on the mark's place.
    given = (gaps + 1) / turns
    number = max(round(given), 1)
    # One pulse for the mark's place, and two hundredths of a turn for stopping at the mark.
    room = (1.0 + 0.02 * number) / turns
    if seen and abs(given - seen) <= room:
        return WheelTurn(Finding(seen + missing, 0.99), seen, missing)
    # A pattern that is a fraction of the counted turn, or of few turns, does not contradict the count.
    if seen and number % seen and gaps >= TURNS_AGAINST * seen:
        return WheelTurn(Finding(number, 0.5), seen, 0)
    sure = abs(given - number) <= COUNTED_WITHIN and room <= COUNTED_WITHIN
    return WheelTurn(Finding(number, 0.97 if sure else 0.5), number if sure else 0, 0)


def _pattern(gaps_s: Floats) -> tuple[int, Floats, float]:
    """Return how many gaps make a turn, their shape (mean 1), and the confidence; 0 if none repeats."""
    logs = np.log(gaps_s[:GAPS_MOST])
    most = min(MAGNETS_MOST, len(logs) // TURNS_LEAST)
    best: tuple[int, Floats, float] = (0, np.zeros(0), 0.0)
    for count in range(2, most + 1):
        found = _fold(logs, count)
        # Multiples of a turn explain the same, so the first is kept unless a later one is far better.
        if found is not None and found[1] > max(EXPLAINS, best[2] + 0.5 * (1.0 - best[2])):
            best = (count, *found)
    count, shape, _ = best
    if not count:
        return best
    for more in range(2 * count, most + 1, count):
        if _says_more(logs, count, more):
            found = _fold(logs, more)
            if found is not None:
                return more, found[0], UNSURE
    return count, shape, UNSURE


def _says_more(logs: Floats, count: int, more: int) -> bool:
    """Whether a turn of `more` gaps, a multiple of `count`, has a pattern that one of `count` has not."""
    block = _turns(logs, more)
    if len(block) < TURNS_LEAST - 1:
        return False
    folded = np.median(block.reshape(-1, count), axis=0)
    extra = block - np.tile(folded, more // count)
    return bool(np.ptp(np.median(extra, axis=0)) > UNEVEN_LEAST) and _comes_again(extra, EXTRA_ALIKE)


def _turns(logs: Floats, count: int) -> Floats:
    """Return a row for each turn of `count` gaps, with the speed removed."""
    mean = np.convolve(logs, np.ones(count) / count, mode="valid")
    middle = logs[count // 2 : count // 2 + len(mean)]
    # If the count is even, the middle of the window is half a gap off: the mean of two windows.
    if count % 2 == 0:
        mean = 0.5 * (mean[:-1] + mean[1:])
        middle = middle[: len(mean)]
    off = middle - mean
    turns = len(off) // count
    return np.asarray(off[: turns * count].reshape(turns, count))


def _comes_again(block: Floats, alike: tuple[float, float] = (0.75, 0.4)) -> bool:
    """Whether nearly every turn is like the mean of the others; one odd turn must not make a pattern."""
    limit = 6.0 * float(np.median(np.abs(block))) + 1e-9
    clipped = np.clip(block, -limit, limit)
    others = (clipped.sum(axis=0) - clipped) / (len(clipped) - 1)
    clipped = clipped - clipped.mean(axis=1, keepdims=True)
    others = others - others.mean(axis=1, keepdims=True)
    spread = np.sqrt((clipped**2).sum(axis=1) * (others**2).sum(axis=1)) + 1e-12
    fits = (clipped * others).sum(axis=1) / spread
    return float(np.median(fits)) > alike[0] and float(np.quantile(fits, 0.2)) > alike[1]


def _every_turn(block: Floats, shape: Floats) -> bool:
    """Whether gaps like those of a missing magnet come in nearly every turn, unlike lost pulses."""
    wide = shape > np.log(GAP_FROM)
    return not wide.any() or bool((np.mean(block[:, wide] > np.log(GAP_FROM), axis=0) > EVERY_TURN).all())


def _fold(logs: Floats, count: int) -> tuple[Floats, float] | None:
    """Combine turns of `count` gaps; None if their common pattern may be chance."""
    block = _turns(logs, count)
    if len(block) < TURNS_LEAST - 1:
        return None
    turns = len(block)
    shape = np.median(block, axis=0)
    if np.ptp(shape) < UNEVEN_LEAST or not _every_turn(block, shape) or not _comes_again(block):
        return None
    rest = block - shape
    # Lost pulses and the like are few and large: they must not count.
    clipped = np.abs(rest) < 6.0 * np.median(np.abs(rest)) + 1e-9
    inside = rest[clipped]
    noise, signal = float(np.var(inside)), float(np.var(shape))
    chance = float(fisher.sf(turns * signal / max(noise, 1e-18), count - 1, max(len(inside) - count, 1)))
    if chance > CHANCE:
        return None
    return np.exp(np.roll(shape, count // 2)), signal / (signal + noise)
