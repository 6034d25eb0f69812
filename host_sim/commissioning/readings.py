"""Steady readings of a lever from frames, and what makes one implausible."""

from statistics import median

from host_sim.boardlink.frames import Frame
from host_sim.commissioning.live import BoardAtHand

READ_S = 1.5
FRAMES_LEAST = 10
BRAKES_MOST = 4
# Twelve bits are steps of 1.3 mV; a still lever varies by some hundredths of a volt (common practice,
# no source).
SPREAD_MOST_V = 0.06


class Implausible(Exception):
    """A reading that is refused; the message is one sentence, and the step may be repeated."""


def steady_v(board: BoardAtHand, name: str) -> float:
    """Return the median of `Frame.name` over READ_S, in V; Implausible if it jumps or the motor is driven."""
    frames = _enough(board)
    if any(frame.drive_enabled for frame in frames):
        raise Implausible(
            "the motor is being driven: stop pedalling, pull a brake, or unplug the motor controller"
        )
    values = [float(getattr(frame, name)) for frame in frames]
    spread_v = max(values) - min(values)
    if spread_v > SPREAD_MOST_V:
        raise Implausible(
            f"{name} jumps by {spread_v:.2f} V, allowed is {SPREAD_MOST_V:g} V: hold it still, and check "
            f"for a loose wire"
        )
    return median(values)


def lever_count(told: str) -> int | None:
    """Return the number of brake levers that the user said, 1 to BRAKES_MOST; None for anything else."""
    right = told.isascii() and told.isdigit() and 1 <= int(told) <= BRAKES_MOST
    return int(told) if right else None


def steady_brake(board: BoardAtHand) -> bool:
    """Return whether the brake input reads as pulled over READ_S; Implausible if it comes and goes."""
    pulled = [frame.brake_pulled for frame in _enough(board)]
    if any(pulled) != all(pulled):
        raise Implausible("the brake input comes and goes: hold the lever still, look for a loose wire")
    return pulled[0]


def _enough(board: BoardAtHand) -> list[Frame]:
    """Return the frames of READ_S; Implausible if they are too few."""
    frames = list(board.frames(READ_S))
    if len(frames) < FRAMES_LEAST:
        raise Implausible(
            f"only {len(frames)} frames arrived in {READ_S:g} s, allowed is {FRAMES_LEAST} or more"
        )
    return frames


def steady_current_a(board: BoardAtHand) -> float:
    """Return the mean battery current over READ_S, in A; Implausible if too few frames arrive."""
    frames = _enough(board)
    return sum(frame.current_a for frame in frames) / len(frames)
