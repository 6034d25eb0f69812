"""Compares the pulses of both channels: a magnet that is weak on one channel shortens only its pulse there.

Elsewhere the crank's speed comes from the time between the pickups. A pulse that is short on one channel has
displaced edges, which look in part like a change of speed. The middle of a pulse does not move if a magnet is
weak, so here the speed comes from the middles.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log

import numpy as np

from host_sim.capture.parts import Steps, Turning
from host_sim.capture.ring import PULSES_LEAST, PULSES_MOST, Ring
from host_sim.capture.stretches import Floats

# A pulse shorter than this, compared with the other channel's, means a weak magnet. With four magnets strong
# legs reduce healthy ones to 0.84, with more magnets to 0.90; up to OPEN_SHARE it is open.
SHORT_SHARE, OPEN_SHARE = 0.80, 0.87
# Fewer magnets are too far apart to interpolate the speed between them.
MAGNETS_EVEN, SHORT_SHARE_FEW = 6, 0.74
TURNS_LEAST = 3
ODD_LEAST = 4
AGAIN_SHARE = 0.7  # Of the odd pitches, those that come again a turn later, if the turn is unknown.
BEYOND = 1.2  # In logarithms: noise, not a magnet.


@dataclass(frozen=True, slots=True)
class Unequal:
    """A magnet whose pulse is short on `channel` ("A" or "B") only; `magnet` 0: unknown.

    `share`: the pulse relative to the other channel's (usually 1); `sure`: whether that is certainly short.
    """

    channel: str
    magnet: int
    share: float
    sure: bool


def unequal_in(
    turning: list[Turning], names: tuple[str, str], ring: Ring | None, before: int
) -> list[Unequal]:
    """Return the magnets that are weak on one channel only.

    `names`: of the leading and the trailing channel; `ring` None if the turn is unknown.
    """
    if not turning:
        return []
    ratios = max(ratios_of(turning[0]), key=_furthest)
    seen = len(ring.magnets) if ring is not None else 0
    if ring is None or len(ratios) < TURNS_LEAST * seen:
        return _without_turn(ratios, names)
    turns = len(ratios) // seen
    block = ratios[: turns * seen].reshape(turns, seen)
    enough = np.count_nonzero(~np.isnan(block), axis=0) >= TURNS_LEAST
    usual = np.array(
        [np.nanmedian(column) if ok else np.nan for ok, column in zip(enough, block.T, strict=True)]
    )
    if not enough.any():
        return []
    usual -= np.nanmedian(usual)
    limit, short = (OPEN_SHARE, SHORT_SHARE) if seen >= MAGNETS_EVEN else (SHORT_SHARE_FEW, SHORT_SHARE_FEW)
    found = []
    for place in np.flatnonzero(np.abs(np.nan_to_num(usual)) > -log(limit)):
        number = ring.magnets[(int(place) + before) % seen].number
        found.append(_unequal(float(usual[place]), number, names, short))
    return found


def again_in_a_turn(unequal: list[Unequal], pulses: int) -> bool:
    """Whether the pattern repeats evenly within the assumed turn, so that a turn may be shorter."""
    numbers = {one.magnet - 1 for one in unequal if one.magnet}
    apart = [step for step in range(1, pulses) if pulses % step == 0]
    return bool(numbers) and any({(one + step) % pulses for one in numbers} == numbers for step in apart)


def _unequal(ratio: float, number: int, names: tuple[str, str], short: float = SHORT_SHARE) -> Unequal:
    share = exp(-abs(ratio))
    return Unequal(names[1] if ratio < 0.0 else names[0], number, share, share < short)


def _furthest(ratios: Floats) -> float:
    """Return how much the oddest pitches deviate: more in whichever of highs and lows are the pulses."""
    known = ratios[~np.isnan(ratios)]
    if len(known) < ODD_LEAST:
        return 0.0
    return float(np.quantile(np.abs(known - np.median(known)), 1.0 - 0.5 / PULSES_MOST))


def _without_turn(ratios: Floats, names: tuple[str, str]) -> list[Unequal]:
    """Return a magnet that is weak on one channel if odd pitches repeat at the distance of a turn."""
    if np.count_nonzero(~np.isnan(ratios)) < ODD_LEAST:
        return []
    away = np.nan_to_num(ratios - np.nanmedian(ratios))
    odd = np.flatnonzero(np.abs(away) > -log(SHORT_SHARE))
    if len(odd) < ODD_LEAST:
        return []
    for apart in range(PULSES_LEAST, PULSES_MOST + 1):
        inside = odd[odd + apart < len(ratios)]
        if len(inside) >= ODD_LEAST - 1 and np.mean(np.isin(inside + apart, odd)) > AGAIN_SHARE:
            return [_unequal(float(np.median(away[odd])), 0, names)]
    return []


def ratios_of(turning: Turning) -> tuple[Floats, Floats]:
    """Return log(trailing / leading) of the pulses of each pitch, as angles: of the highs, of the lows."""
    stretch = turning.stretch
    rise_s = stretch.rises_s[:-1]
    middle_s = rise_s + 0.5 * stretch.high_s
    other_rise_s = rise_s + stretch.transit_s
    other_middle_s = other_rise_s + 0.5 * stretch.other_high_s
    low_s = stretch.pitches_s - stretch.high_s
    other_low_s = np.append(other_rise_s[1:], np.nan) - other_rise_s - stretch.other_high_s
    speed_at = _speed(middle_s, turning.steps)
    after = speed_at(other_middle_s) - speed_at(middle_s)
    low_after = speed_at(other_middle_s + 0.5 * (stretch.other_high_s + other_low_s)) - speed_at(
        middle_s + 0.5 * stretch.pitches_s
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        high = np.log(stretch.other_high_s / stretch.high_s) + after
        low = np.log(other_low_s / low_s) + low_after
    return _without_noise(high), _without_noise(low)


def _without_noise(ratios: Floats) -> Floats:
    return np.asarray(np.where(np.isfinite(ratios) & (np.abs(ratios) < BEYOND), ratios, np.nan))


def _speed(middle_s: Floats, steps: Steps) -> Callable[[Floats], Floats]:
    """Return the logarithm of the speed over time, from the middles of the leading channel's pulses."""
    seen = ~np.isnan(middle_s)
    places = np.cumsum(np.concatenate(([0], steps[:-1])))[seen]
    known_s = middle_s[seen]
    if len(known_s) < 3:
        return lambda when_s: np.zeros(len(when_s))
    between = 0.5 * (known_s[1:] + known_s[:-1])
    log_speed = np.log(np.diff(places) / np.diff(known_s))
    return lambda when_s: np.asarray(np.interp(when_s, between, log_speed))
