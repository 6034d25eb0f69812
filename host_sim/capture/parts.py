"""Cuts a capture where its ring may have changed: if a magnet falls off, pitches are doubled from then on.

If the ring does not change, its odd pitches are evenly spread: the same number every turn. Where their count
deviates from an even spread, the capture is cut; `turn.py` compares the rings of the parts.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from host_sim.capture.angles import Angles, angles_of
from host_sim.capture.gaps import steps_beside
from host_sim.capture.stretches import Floats, Stretch

Flags = NDArray[np.bool_]
Steps = NDArray[np.int64]

GAP_RATIO = 1.42  # A pitch this much longer than those around it is a gap: a magnet gave no pulse.
NARROW_RATIO = 0.86
BESIDE = 4  # Pitches before and after that give the usual one.
# Odd pitches that come every turn stay this near an even spread. Those due to noise are random: by Kolmogorov
# and Smirnov their count stays within 2.2 times its square root, except for one case in ten thousand.
ROOM_REGULAR, ROOM_BY_CHANCE = 2.2, 2.2
REGULAR_SHARE = 0.6
PARTS_MOST = 8  # More changes than this are due to noise or the legs.
TURNS_NARROW = 2
PART_LEAST = 12  # Pitches: fewer don't show a ring.


@dataclass(frozen=True, slots=True)
class Turning:
    """A stretch of the main direction with its angles.

    `steps`: by how many magnet positions each pitch advances, 1 or, over a gap, more.
    """

    stretch: Stretch
    angles: Angles
    steps: Steps


@dataclass(frozen=True, slots=True)
class Part:
    """The capture between two cuts: its stretches, when it begins, and how many magnets passed before.

    `places` counts these from the first rise, including magnets that gave no pulse. `counted`: whether the
    crank turned without a stop from the first rise to here, so that `places` is reliable.
    """

    turning: list[Turning]
    begin_s: float
    places: int
    counted: bool


def turning_of(stretch: Stretch) -> Turning:
    """Return a whole stretch with its angles and steps."""
    angles = angles_of(stretch)
    steps = _steps(angles.pitch)
    if not angles.free_of_legs:
        pitch = angles.pitch
        beside = steps_beside(pitch, np.append(pitch[:1], pitch[:-1]), np.append(pitch[1:], pitch[-1:]))
        # Varying speed also makes pitches longer than usual, but then the neighbouring ones as well.
        steps = np.minimum(steps, beside.astype(np.int64))
        # Setting off and stopping make long pitches as well.
        steps[:2] = steps[-2:] = 1
    return Turning(stretch, angles, steps)


def _steps(pitch: Floats) -> Steps:
    usual = _beside(pitch, _mean_of_single)
    steps = np.where(pitch > GAP_RATIO * usual, np.round(pitch / usual), 1.0)
    return np.maximum(steps, 1.0).astype(np.int64)


def parts_of(turning: list[Turning]) -> list[Part]:
    """Return the parts of a capture, in order of time; one if nothing seems to change."""
    if not turning:
        return []
    cuts = _cuts(np.concatenate([one.steps > 1 for one in turning]), 0)
    if all(one.angles.free_of_legs for one in turning):
        # A change that causes gaps also shows in the widths: one cut is enough.
        narrow = _cuts(_all_narrow(turning), 0)
        cuts = sorted([*cuts, *(cut for cut in narrow if all(abs(cut - one) >= PART_LEAST for one in cuts))])
    if len(cuts) >= PARTS_MOST:
        return [_part(turning, 0, sum(len(one.stretch) for one in turning))]
    ends = [*cuts, sum(len(one.stretch) for one in turning)]
    return [_part(turning, begin, end) for begin, end in zip([0, *cuts], ends, strict=True)]


def gaps_in(turning: list[Turning]) -> int:
    """Return how many pitches go over a magnet that gave no pulse."""
    return sum(int(np.count_nonzero(one.steps > 1)) for one in turning)


def turns_in(turning: list[Turning], pulses: int | None) -> float:
    """Return the number of turns, with `pulses` in each; 0 if that is unknown."""
    if not pulses:
        return 0.0
    return sum(int(one.steps.sum()) for one in turning) / pulses


def filled(stretch: Stretch) -> Stretch:
    """Return the stretch with a pitch for every magnet position, also those that gave no pulse."""
    steps = _steps(stretch.pitches_s)
    within = np.arange(steps.sum()) - np.repeat(np.cumsum(steps) - steps, steps)
    rises_s = np.repeat(stretch.rises_s[:-1], steps) + np.repeat(stretch.pitches_s / steps, steps) * within
    unknown = np.full(len(rises_s), np.nan)
    rises_s = np.append(rises_s, stretch.rises_s[-1])
    return Stretch(stretch.direction, rises_s, unknown, unknown, unknown, unknown)


def gaps_regular(turning: list[Turning]) -> bool:
    """Whether the gaps repeat like those of a missing magnet, unlike those due to noise."""
    return any(_regular(one.steps > 1) for one in turning)


def narrow_in(turning: list[Turning]) -> int:
    """Return how many pulses are shorter than those around them, like those of a weak magnet."""
    return sum(int(np.count_nonzero(_narrow(one.angles))) for one in turning)


def widths_change(turning: list[Turning], seen: int) -> bool:
    """Whether narrow pulses are more frequent in one part of the capture, or repeat after `seen` pulses."""
    if not turning:
        return False
    narrow = _all_narrow(turning)
    turns = int(np.count_nonzero(np.diff(np.flatnonzero(narrow)) == seen))
    return turns >= TURNS_NARROW or bool(_cuts(narrow, 0))


def gap_distances(turning: list[Turning]) -> set[int]:
    """Return the distances, in pitches, from one gap to the next."""
    distances = [np.diff(np.flatnonzero(one.steps > 1)) for one in turning]
    return {int(distance) for distance in np.concatenate(distances)} if distances else set()


def _narrow(angles: Angles) -> Flags:
    return np.asarray(angles.high < NARROW_RATIO * _beside(angles.high, _median))


def _all_narrow(turning: list[Turning]) -> Flags:
    return np.concatenate([_narrow(one.angles) for one in turning])


def _beside(values: Floats, usual_of: Callable[[Floats], Floats]) -> Floats:
    """Return the usual value around each value: the larger of the medians before and after it."""
    count = len(values)
    before, after = np.full(count, -np.inf), np.full(count, -np.inf)
    if count <= BESIDE:
        return usual_of(np.tile(values, (count, 1)))
    usual = usual_of(np.lib.stride_tricks.sliding_window_view(values, BESIDE))
    before[BESIDE:] = usual[:-1]
    after[:-BESIDE] = usual[1:]
    # In the middle of a short stretch neither side has enough.
    either = np.fmax(before, after)
    return np.asarray(np.where(np.isfinite(either), either, usual[0]))


def _median(windows: Floats) -> Floats:
    return np.asarray(np.median(windows, axis=1))


def _mean_of_single(windows: Floats) -> Floats:
    """Return the mean of each window without its gaps."""
    single = windows < GAP_RATIO * windows.min(axis=1, keepdims=True)
    return np.asarray(np.where(single, windows, 0.0).sum(axis=1) / np.maximum(single.sum(axis=1), 1))


def _cuts(odd: Flags, offset: int) -> list[int]:
    """Return where the share of odd pitches changes, by repeated cutting."""
    count = len(odd)
    total = int(np.count_nonzero(odd))
    if count < 2 * PART_LEAST or total < 3:
        return []
    # Entry i: how many more odd pitches there are before pitch i than in an even spread.
    ahead = np.concatenate(([0], np.cumsum(odd))) - total * np.arange(count + 1) / count
    place = int(np.argmax(np.abs(ahead)))
    room = ROOM_REGULAR if _regular(odd) else ROOM_BY_CHANCE * np.sqrt(total)
    if abs(ahead[place]) < room or not PART_LEAST <= place <= count - PART_LEAST:
        return []
    return [*_cuts(odd[:place], offset), offset + place, *_cuts(odd[place:], offset + place)]


def _regular(odd: Flags) -> bool:
    """Whether most distances from one odd pitch to the next repeat at once, like those of a turn."""
    apart = np.diff(np.flatnonzero(odd))
    if len(apart) < 2:
        return False
    again = np.zeros(len(apart), np.bool_)
    for by in (1, 2):
        same = apart[by:] == apart[:-by]
        again[by:] |= same
        again[:-by] |= same
    return float(again.mean()) >= REGULAR_SHARE


def _part(turning: list[Turning], begin: int, end: int) -> Part:
    """Return the part from pitch `begin` up to, not including, `end`, counted over all stretches."""
    pieces: list[Turning] = []
    first = places = 0
    begin_s = 0.0
    counted = True
    for one in turning:
        length = len(one.stretch)
        start, stop = max(begin - first, 0), min(end - first, length)
        places += int(one.steps[: min(start, length)].sum())
        if start < stop:
            if not pieces:
                begin_s = float(one.stretch.rises_s[start])
                counted = first == 0
            if stop - start >= PART_LEAST or stop - start == length:
                pieces.append(_piece(one, start, stop))
        first += length
    return Part(pieces, begin_s, places, counted)


def _piece(one: Turning, start: int, stop: int) -> Turning:
    if start == 0 and stop == len(one.stretch):
        return one
    angles = one.angles
    return Turning(
        one.stretch.piece(start, stop),
        replace(
            angles,
            pitch=angles.pitch[start:stop],
            high=angles.high[start:stop],
            other_high=angles.other_high[start:stop],
            log_speed=angles.log_speed[start:stop],
        ),
        one.steps[start:stop],
    )
