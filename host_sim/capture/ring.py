"""The ring as a whole: place, width and strength of every magnet, as medians over the turns.

Magnets are numbered from 1 in the order in which they pass when the crank turns in the main direction of the
capture; magnet 1 is the first whose rise, on the leading channel, is in the capture.
"""

import warnings
from dataclasses import dataclass

import numpy as np

from firmware.settings import TABLE
from host_sim.capture.angles import Angles
from host_sim.capture.gaps import steps_beside
from host_sim.capture.stretches import Floats

# The range of pulses_per_rev in firmware/settings.py.
PULSES_LEAST, PULSES_MOST = next((low, high) for name, _, low, high, _ in TABLE if name == "pulses_per_rev")
# A pulse narrower than the first share of the usual one is due to a weak magnet; between the two it is open.
# With one channel, a narrow pulse is less distinct from fast pedalling.
WEAK_SHARE, GOOD_SHARE = 0.84, 0.88
SCATTER_LEAST = 0.002
REFERENCE_TURNS = 9
ROLL_LEAST, ROLL_BETTER = 0.6, 0.3  # Correlations.
WEAK_SHARE_ONE, GOOD_SHARE_ONE = 0.76, 0.86
WIDER = 1.03
SURE = 4.0  # Standard errors by which a weak magnet must differ.
DEG_PER_TURN = 360.0


@dataclass(frozen=True, slots=True)
class Magnet:
    """One magnet. `number` from 1; `error_deg`: how far it is ahead of its even place, degrees of the crank.

    `width`, `other_width`: how long it holds the leading and the other channel high, as a share of a pitch,
    NaN if not seen; `strength`: its pulse relative to the usual one (1).
    """

    number: int
    error_deg: float
    width: float
    other_width: float
    strength: float


@dataclass(frozen=True, slots=True)
class Ring:
    """The magnets seen, the numbers of those missing and weak, and the values common to all.

    `pulses` in a turn, including missing magnets. `doubt`: whether a magnet may be weak. `duty` and
    `other_duty` of the leading and the other channel, shares of a pitch; `phase_deg` electrical, from the
    leading channel to the other; NaN if not seen.
    """

    pulses: int
    magnets: list[Magnet]
    missing: list[int]
    weak: list[int]
    doubt: bool
    duty: float
    other_duty: float
    phase_deg: float

    @property
    def longest_error_deg(self) -> float:
        """The largest distance of a magnet from its even place, degrees of the crank."""
        return max((abs(magnet.error_deg) for magnet in self.magnets), default=0.0)


def ring_of(stretches: list[Angles], seen: int, free_of_legs: bool, first_magnet: int) -> Ring | None:
    """Return the ring of `seen` magnets a turn from stretches of one direction; None without a whole turn.

    `free_of_legs`: as in Angles, of all stretches. `first_magnet`: how many magnets passed before the first
    stretch.
    """
    folded = _fold(stretches, seen, free_of_legs, first_magnet)
    if folded is None:
        return None
    pitch, width, other_width, error = folded
    steps = _steps(pitch) if free_of_legs else steps_beside(pitch, np.roll(pitch, 1), np.roll(pitch, -1))
    pulses = int(steps.sum())
    base = float(pitch.sum() / pulses)
    pitch, width, other_width = pitch / base, width / base, other_width / base
    places = np.concatenate(([0.0], np.cumsum(steps)[:-1]))
    if not free_of_legs:
        pitch = pitch * np.exp(-_legs(np.log(pitch / steps), places, pulses))
        pitch *= pulses / pitch.sum()
    # From the middles of the pulses: the pulse of a weak magnet is narrower, not displaced.
    errors = np.concatenate(([0.0], np.cumsum(pitch - steps)[:-1])) + 0.5 * width
    errors -= np.median(errors)
    strength = _strengths(width, other_width, pitch, steps, error / base, free_of_legs)
    numbers = (places + 1).astype(int)
    magnets = [
        Magnet(int(number), *(float(value) for value in values))
        for number, *values in zip(
            numbers, errors * DEG_PER_TURN / pulses, width, other_width, strength, strict=True
        )
    ]
    limit, good = (WEAK_SHARE, GOOD_SHARE) if free_of_legs else (WEAK_SHARE_ONE, GOOD_SHARE_ONE)
    weak = [magnet.number for magnet in magnets if magnet.strength < limit]
    doubt = any(limit <= magnet.strength < good for magnet in magnets)
    fine = [value for magnet, value in zip(magnets, width, strict=True) if magnet.number not in weak]
    # One channel: quick and slow parts of the turn cancel in the mean.
    duty = float(np.median(width)) if free_of_legs else float(np.mean(fine or width))
    share = float(np.nanmedian([one.transit_share for one in stretches])) if free_of_legs else np.nan
    return Ring(
        pulses,
        magnets,
        sorted(set(range(1, pulses + 1)) - set(numbers.tolist())),
        weak,
        doubt,
        duty,
        known_median(other_width),
        DEG_PER_TURN * share / base,
    )


def _steps(pitch: Floats) -> Floats:
    """Return by how many positions each pitch advances, from the angles."""
    steps = np.maximum(np.round(pitch / np.median(pitch)), 1.0)
    for _ in range(2):
        base = float(pitch.sum() / steps.sum())
        steps = np.maximum(np.round(pitch / base), 1.0)
    return steps


def known_median(values: Floats) -> float:
    """Return the median of the values that are not NaN; NaN if there is none."""
    return float(np.nanmedian(values)) if np.any(~np.isnan(values)) else float("nan")


def _fold(
    stretches: list[Angles], seen: int, free_of_legs: bool, first_magnet: int
) -> tuple[Floats, Floats, Floats, Floats] | None:
    """Return medians over the turns of pitch, width, other width, and the width's standard error.

    Each turn is first aligned with the common pattern, so that an edge lost to noise affects one turn only.
    """
    blocks: list[list[Floats]] = []
    for one in stretches:
        # With one channel there are no angles: a moving mean removes the drift of the cadence.
        mean = 1.0 if free_of_legs else _moving_mean(one.pitch, seen)
        columns = (one.pitch / mean, one.high / mean, one.other_high / mean)
        for first in range(0, len(one.pitch) - seen + 1, seen):
            blocks.append([column[first : first + seen] for column in columns])
    if not blocks:
        return None
    turns = np.array(blocks)
    longest = max(range(len(stretches)), key=lambda place: len(stretches[place].pitch))
    before = sum(len(one.pitch) // seen for one in stretches[:longest])
    # In units of their scatter: values that are steady from turn to turn have the most weight.
    scatter = np.nanmedian(np.abs(turns[:, :2] - np.nanmedian(turns[:, :2], axis=0)), axis=(0, 2))
    marks = np.nan_to_num(turns[:, :2], nan=1.0) / (scatter[:, None] + SCATTER_LEAST)
    reference = np.median(marks[before : before + REFERENCE_TURNS], axis=0)
    shifts = np.zeros(len(turns), int)
    for _ in range(2):
        found = [_shift(turn, reference) for turn in marks]
        shifts = np.array([by for by, _ in found])
        aligned = [np.roll(turn, by, axis=1) for turn, by in zip(marks, shifts, strict=True)]
        reference = np.median(aligned, axis=0)
    rolled = np.array([np.roll(turn, by, axis=1) for turn, by in zip(turns, shifts, strict=True)])
    # The first turn that fits well determines magnet 1; the start may distort the very first turn.
    in_first = max(len(stretches[0].pitch) // seen, 1)
    first_shift = next((by for by, fit in found[:in_first] if fit > ROLL_LEAST), int(shifts[0]))
    rolled = np.roll(rolled, first_magnet - first_shift, axis=2)
    pitch, width = np.median(rolled[:, 0], axis=0), np.nanmedian(rolled[:, 1], axis=0)
    # With one channel the other widths are all NaN, and numpy warns.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        other = np.nanmedian(rolled[:, 2], axis=0)
    error = 1.25 * 1.48 * np.nanmedian(np.abs(rolled[:, 1] - width), axis=0) / np.sqrt(len(blocks))
    return pitch, width, other, error


def _moving_mean(pitch: Floats, seen: int) -> Floats:
    window = np.ones(seen) / seen
    padded = np.pad(pitch, (seen // 2, seen - 1 - seen // 2), mode="edge")
    return np.convolve(padded, window, mode="valid")


def _shift(turn: Floats, reference: Floats) -> tuple[int, float]:
    """Return by how many magnets to roll a turn to align it with `reference`, and the correlation then.

    0 unless another shift is clearly better. Both have a row of pitches and one of widths.
    """
    turn = turn - turn.mean(axis=1, keepdims=True)
    reference = reference - reference.mean(axis=1, keepdims=True)
    spectrum = np.fft.rfft(reference, axis=1) * np.conj(np.fft.rfft(turn, axis=1))
    fits = np.fft.irfft(spectrum.sum(axis=0), turn.shape[1])
    fits /= float(np.linalg.norm(turn) * np.linalg.norm(reference)) + 1e-12
    best = int(np.argmax(fits))
    if fits[best] > ROLL_LEAST and fits[best] > fits[0] + ROLL_BETTER:
        return best, float(fits[best])
    return 0, float(fits[0])


def _legs(log_pitch: Floats, places: Floats, pulses: int) -> Floats:
    """Return the part of the pattern that comes twice a turn: with one channel probably due to the legs."""
    if len(log_pitch) < 6:
        return np.zeros(len(log_pitch))
    angle = 4.0 * np.pi * (places + 0.5) / pulses
    terms = np.column_stack((np.ones(len(angle)), np.cos(angle), np.sin(angle)))
    found = np.linalg.lstsq(terms, log_pitch, rcond=None)[0]
    return np.asarray(terms[:, 1:] @ found[1:])


def _strengths(
    width: Floats, other: Floats, pitch: Floats, steps: Floats, error: Floats, free_of_legs: bool
) -> Floats:
    """Return each magnet's pulse relative to the usual one; 1 if the difference is not certain.

    With a sensor that is low over a magnet, a weak one gives a short low with longer highs on both sides.
    """
    if not free_of_legs:
        # Relative to the pitches on both sides, so that the legs' speed and the magnet's place hardly matter.
        even = pitch / steps
        width = width / (0.5 * (even + np.roll(even, 1)))
    usual = float(np.median(width))
    ratio = width / usual
    if np.any(~np.isnan(other)):
        # The smaller of the two: a magnet may be weak at one pickup only.
        ratio = np.fmin(ratio, other / known_median(other))
    elif not free_of_legs and len(width) % 2 == 0:
        # Legs have the same effect on the magnet opposite.
        opposite = np.roll(ratio, len(ratio) // 2)
        ratio = np.where(ratio < opposite, np.maximum(ratio, ratio / opposite), 1.0)
    sure = (1.0 - ratio) * usual > SURE * np.nan_to_num(error)
    low = pitch - width
    low_ratio = np.where(steps == 1.0, low / np.median(low[steps == 1.0]), 1.0)
    beside = np.minimum(width, np.roll(width, -1)) / usual
    low_active = (low_ratio < WEAK_SHARE) & (beside > WIDER) & free_of_legs
    return np.where(low_active, low_ratio, np.where(sure, ratio, 1.0))
