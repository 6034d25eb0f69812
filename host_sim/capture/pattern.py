"""How many magnets pass in one turn, from the pattern that repeats every turn.

Unevenly placed magnets make a series of pitch angles that repeats after one turn. Legs make one that repeats
after half a turn: two torque peaks a turn. On a perfectly even ring only the legs would show, and half the
magnets would be counted. So a pattern is accepted only if legs can't cause it: see `_not_of_legs`. If the
spacing is too even, the number stays unknown.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.stats import f as f_distribution

from host_sim.capture.angles import Angles
from host_sim.capture.stretches import Floats

SHORTEST, LONGEST = 3, 66  # Magnets seen in a turn: 4 to 64, of which one may be missing, and some margin.
TURNS_LEAST = 4
NEAR_THE_BEST = 0.12  # Of all lags whose correlation is this close to the best one, the shortest is taken.
LIKENESS_LEAST = 4.3
# If the true turn were twice as long, more than this share of the pattern's power would be between the lines.
BETWEEN_LINES = 0.06
LONGER_SHARE = 0.12
# An edge lost to noise shifts the legs' swing by a magnet, which adds up to this share to other lines.
SLIP_SHARE = 0.06
CHANCE = 2e-5  # Probability that chance makes a line of the pattern this significant.
STRETCHES_MOST, TURNS_TO_JOIN = 6, 4
OUTLIER_LEAST = 0.005
LINE_LEAST = 0.0012  # In logarithms of pitch: edge times don't resolve smaller lines.
LEAK_SHARE = 0.12  # The share of the legs' variation that may remain after its removal.
# The legs' variation is a sine twice a turn; its harmonic, four times a turn, is weaker than this share.
SECOND_OF_LEGS = 0.3
BEYOND_LEGS = 0.1
LEGS_TIMES = 2.0  # One channel: lines of three a turn and more that exceed the legs' by this are not theirs.
LEGS_COULD = 0.8
# The swing of the speed alone, which repeats every half turn.
RIPPLE_LEAST = 0.01
SWINGS_LEAST = 10
STANDS_OUT = 12.0


@dataclass(frozen=True, slots=True)
class Pattern:
    """The pattern that repeats every turn.

    `magnets` seen in a turn (without missing ones), 0 if unknown, and the confidence. `guess`: the number
    that the legs' swing, two peaks a turn, suggests; 0 if there is no clear swing.
    """

    magnets: int
    confidence: float
    guess: int


NOTHING = Pattern(0, 0.0, 0)


def find_pattern(stretches: list[Angles], clock_share: float = 0.0) -> Pattern:
    """Look for the pattern in stretches of one direction.

    `clock_share`: the tick of the capture's clock relative to the time from which angles are computed. At an
    even cadence a coarse clock causes a pattern too.
    """
    series = [np.log(np.clip(angles.pitch, 0.05, 20.0)) for angles in stretches]
    freed = [angles.free_of_legs for angles in stretches]
    free_of_legs = bool(freed) and all(freed)
    speeds = [angles.log_speed for angles in stretches] if free_of_legs else series
    guess = _legs_period(speeds)
    magnets = _period(series, detrend=not free_of_legs)
    if magnets == 0:
        return Pattern(0, 0.0, guess)
    magnets, lines = _settle(series, magnets, not free_of_legs)
    turns = sum(len(one) // magnets for one in series)
    legs = _lines(speeds, magnets, False)[0] if free_of_legs else np.zeros(magnets // 2 + 1)
    if not free_of_legs:
        lines[1] = max(lines[1], _swing(series, magnets))
    strength = _not_of_legs(lines, legs, magnets, free_of_legs)
    between = _between_lines(series, magnets, not free_of_legs)
    if strength <= clock_share or turns < TURNS_LEAST or between > BETWEEN_LINES:
        return Pattern(0, 0.0, guess)
    confidence = 0.97 if strength > 3.0 * LINE_LEAST and turns >= 6 else 0.92
    if not free_of_legs and _legs_could_make(lines):
        confidence = LEGS_COULD
    if guess and free_of_legs:
        # The legs' swing confirms the number or contradicts it.
        confidence = 0.99 if guess == magnets else (0.5 if guess == 2 * magnets else confidence)
    return Pattern(magnets, confidence, guess)


def _legs_could_make(lines: Floats) -> bool:
    """Whether, with one channel, one strong leg or a hand on one pedal could cause the pattern.

    Their swing comes once and twice a turn, and its harmonics up to about three times.
    """
    once, twice = (float(lines[k]) if len(lines) > k else 0.0 for k in (1, 2))
    # The logarithm of a pitch has products of the two: line k has those whose orders add up to k.
    made = {3: once * twice + once**3, 4: twice**2 + once**2 * twice}
    rest = once * twice * (once + twice)
    return not any(lines[k] > LEGS_TIMES * made.get(k, rest) + 3.0 * LINE_LEAST for k in range(3, len(lines)))


def _period(series: list[Floats], detrend: bool) -> int:
    """Return the shortest lag whose correlation is nearly as high as the best; 0 if there is none."""
    longest = min(LONGEST * 2, max((len(one) for one in series), default=0) // 2)
    best = np.zeros(longest + 1)
    for lag in range(SHORTEST, longest + 1):
        best[lag] = _likeness(series, lag, detrend)
    if len(best) <= SHORTEST or best.max() <= 0.0:
        return 0
    good = np.flatnonzero(best >= best.max() - NEAR_THE_BEST)
    shortest = int(good[0])
    return shortest if shortest <= LONGEST else 0


def _likeness(series: list[Floats], lag: int, detrend: bool) -> float:
    """Return the correlation of the series with itself `lag` later; 0 if it may be chance."""
    together, first, second, pairs = 0.0, 0.0, 0.0, 0
    for one in series:
        if len(one) < lag + 3:
            continue
        flat = _flat(one, lag) if detrend else one - one.mean()
        together += float(np.dot(flat[:-lag], flat[lag:]))
        first += float(np.dot(flat[:-lag], flat[:-lag]))
        second += float(np.dot(flat[lag:], flat[lag:]))
        pairs += len(flat) - lag
    if pairs < 2 * lag or first <= 0.0 or second <= 0.0:
        return 0.0
    likeness = together / float(np.sqrt(first * second))
    # Fisher's transform, in standard deviations; with noise the best of some 70 lags stays below the limit.
    chance = float(np.arctanh(min(likeness, 0.999999)) * np.sqrt(max(pairs - 3, 1)))
    return likeness if chance > LIKENESS_LEAST else 0.0


def _flat(one: Floats, turn: int) -> Floats:
    """Remove changes slower than a turn; what repeats every turn stays."""
    mean = uniform_filter1d(one, turn, mode="nearest")
    if turn % 2 == 0:
        # An even window has no middle sample: the mean of both positions.
        mean = 0.5 * (mean + uniform_filter1d(one, turn, mode="nearest", origin=-1))
    return np.asarray(one - mean)


def _settle(series: list[Floats], magnets: int, detrend: bool) -> tuple[int, Floats]:
    """Lengthen or shorten the turn until the lines have no common divisor; return the turn and its lines."""
    for _ in range(3):
        longer = next((by for by in (2, 3) if _longer_shows(series, by, magnets, detrend)), 1)
        magnets *= longer
        lines = _lines(series, magnets, detrend)[0]
        common = int(np.gcd.reduce(np.append(np.flatnonzero(lines), magnets)))
        if common > 1 and magnets // common >= SHORTEST and np.any(lines):
            magnets //= common
        elif longer == 1:
            break
    return magnets, _lines(series, magnets, detrend)[0]


def _longer_shows(series: list[Floats], times: int, magnets: int, detrend: bool) -> bool:
    """Whether a turn of `times` as many magnets has lines of its own."""
    longer = times * magnets
    if longer > LONGEST or sum(len(one) // longer for one in series) < TURNS_LEAST:
        return False
    lines = _lines(series, longer, detrend)[0]
    common = lines[::times].copy()
    lines[::times] = 0.0
    if detrend:
        # It may contain the legs and the remainder of a slowly changing cadence.
        strongest = max(float(common.max()), float(lines.max()))
        common[:3] = 0.0
        lines[:3] = 0.0
        lines[lines < SLIP_SHARE * strongest] = 0.0
    # Uneven magnets show about as much between the lines of half a turn as on them; much less is chance.
    return bool(np.any(lines > LONGER_SHARE * common.max(initial=0.0)))


def _lines(series: list[Floats], turn: int, detrend: bool) -> tuple[Floats, Floats]:
    """Return the amplitudes of the pattern's lines, 0 to turn // 2 a turn, 0 where they may be chance.

    And the power of every line, less the part due to chance, which is estimated from the turns' scatter.
    """
    rows = _rows(series, turn, detrend)
    amplitudes = np.zeros(turn // 2 + 1)
    if len(rows) == 0:
        return amplitudes, amplitudes
    spectra = np.fft.rfft(_without_outliers(rows), axis=1) * 2.0 / turn
    mean = spectra.mean(axis=0)
    power = np.abs(mean) ** 2
    if len(rows) < 3:
        return amplitudes, power
    scatter = np.sum(np.abs(spectra - mean) ** 2, axis=0) / (len(rows) - 1) / len(rows)
    limit = f_distribution.isf(CHANCE, 2, 2 * (len(rows) - 1))
    size = np.abs(mean)
    if turn % 2 == 0:
        size[-1] /= 2.0
    seen = (power > limit * scatter) & (size > LINE_LEAST)
    seen[0] = False
    amplitudes[seen] = size[seen]
    return amplitudes, np.maximum(power - scatter, 0.0)


def _swing(series: list[Floats], turn: int) -> float:
    """Return the median size of the first line in single turns, whatever its phase in each."""
    rows = _rows(series, turn, True)
    return float(np.median(np.abs(np.fft.rfft(rows, axis=1)[:, 1]))) * 2.0 / turn if len(rows) else 0.0


def _rows(series: list[Floats], turn: int, detrend: bool) -> Floats:
    """Return the series cut into turns, one per row; other stretches are rolled to match the longest.

    Rolling finds similarity even in noise, so only a few long stretches are used.
    """
    ordered = sorted(series, key=len, reverse=True)
    rows: list[Floats] = []
    middle = np.zeros(turn)
    for place, one in enumerate(ordered[:STRETCHES_MOST]):
        if len(one) < turn * (1 if place == 0 else TURNS_TO_JOIN):
            break
        flat = _flat(one, turn) if detrend else one - one.mean()
        part = flat[: len(flat) // turn * turn].reshape(-1, turn)
        if place == 0:
            middle = np.median(part, axis=0)
        else:
            fits = np.fft.irfft(np.fft.rfft(middle) * np.conj(np.fft.rfft(np.median(part, axis=0))), turn)
            part = np.roll(part, int(np.argmax(fits)), axis=1)
        rows.append(part)
    return np.concatenate(rows) if rows else np.zeros((0, turn))


def _without_outliers(rows: Floats) -> Floats:
    """Replace values far from a magnet's median by the median: noise has moved these edges."""
    middle = np.median(rows, axis=0)
    off = np.abs(rows - middle)
    far = off > np.maximum(5.0 * np.median(off, axis=0), OUTLIER_LEAST)
    return np.asarray(np.where(far, middle, rows))


def _between_lines(series: list[Floats], magnets: int, detrend: bool) -> float:
    """Return the power that a turn two or three times as long adds to the pattern, as a share."""
    shares = []
    for times in (2, 3):
        if times == 3 and 3 * magnets > LONGEST:
            continue
        if all(len(one) < times * magnets for one in series):
            return 1.0
        power = _lines(series, times * magnets, detrend)[1].copy()
        if detrend and times == 2:
            power[2] = 0.0  # If the turn were really twice as long, the legs would be here.
        common = float(power[times::times].sum())
        power[::times] = 0.0
        shares.append(float(power.sum()) / common if common > 0.0 else 1.0)
    return max(shares)


def _not_of_legs(lines: Floats, legs: Floats, magnets: int, free_of_legs: bool) -> float:
    """Return the size of the part of the pattern that legs can't cause; 0 if they could cause all of it.

    If the true turn were twice as long, legs would be the first line of this one and, weakly, the second.
    Magnets in pairs, alternately near and far, make the line of two pitches, which does not show a turn.
    """
    lines = lines.copy()
    if magnets % 2 == 0:
        lines[-1] = 0.0
    first = lines[1] if len(lines) > 1 else 0.0
    second = lines[2] if len(lines) > 2 else 0.0
    beyond = float(np.sqrt(np.sum(lines[3:] ** 2)))
    if beyond > BEYOND_LEGS * first:
        return beyond
    if second > SECOND_OF_LEGS * first:
        return second
    if free_of_legs and first > LEAK_SHARE * legs[1]:
        return float(first)
    return 0.0


def _legs_period(series: list[Floats]) -> int:
    """Return how many magnets a turn has if the speed swings twice a turn; 0 without a clear swing."""
    longest = max(series, key=len, default=np.zeros(0))
    if len(longest) < 6 * SHORTEST:
        return 0
    flat = longest - uniform_filter1d(longest, min(2 * LONGEST, len(longest) // 2 * 2 - 1), mode="nearest")
    padded = max(16 * len(flat), 4096)
    power = np.abs(np.fft.rfft(flat * np.hanning(len(flat)), padded)) * 4.0 / len(flat)
    frequency = np.arange(len(power)) / padded  # Swings a magnet.
    power[(frequency < 2.0 / LONGEST) | (frequency > 2.0 / SHORTEST)] = 0.0
    best = int(np.argmax(power))
    swings = frequency[best] * len(flat)
    # A varying cadence has no clear line: neighbouring ones are nearly as strong.
    ratio = frequency / frequency[best] if best else frequency
    around = power[((ratio > 0.5) & (ratio < 0.8)) | ((ratio > 1.25) & (ratio < 2.0))]
    if power[best] < RIPPLE_LEAST or swings < SWINGS_LEAST or power[best] < STANDS_OUT * np.median(around):
        return 0
    magnets = 2.0 / frequency[best]
    return round(magnets) if abs(magnets - round(magnets)) < 0.25 else 0
