"""Removes sample-to-sample noise from a voltage that follows the field, so that its edges don't jitter."""

from collections.abc import Iterator

import numpy as np

from host_sim.capture.analog.rows import Piece
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

SMOOTH_S = 0.002  # Shorter than the shortest pulse that `cleaning` accepts as a magnet.
SAMPLES_LEAST = 3


def smoothed(pieces: Iterator[Piece], channels: list[bool]) -> Iterator[Piece]:
    """Yield the pieces; where `channels` is True each sample is the mean over SMOOTH_S around it.

    Half a window is left out at both ends of the file.
    """
    held: Piece | None = None
    size = 0
    for piece in pieces:
        if size == 0:
            size = _window(piece)
        if size < SAMPLES_LEAST or not any(channels):
            yield piece
            continue
        if held is not None:
            piece = Piece(
                np.concatenate((held.times_ns, piece.times_ns)),
                np.concatenate((held.volts, piece.volts), axis=1),
            )
        kept = min(size - 1, len(piece.times_ns))
        held = Piece(piece.times_ns[-kept:], piece.volts[:, -kept:])
        if len(piece.times_ns) >= size:
            half = size // 2
            times_ns = piece.times_ns[half : len(piece.times_ns) - half]
            yield Piece(times_ns, _means(piece.volts, size, channels))


def _window(piece: Piece) -> int:
    """Return the odd number of samples in SMOOTH_S; 1 if samples are too far apart."""
    seconds = float(piece.times_ns[-1] - piece.times_ns[0]) / NS_PER_S
    size = round(SMOOTH_S * len(piece.times_ns) / seconds) if seconds > 0.0 else 1
    return max(size - (size + 1) % 2, 1)


def _means(volts: Floats, size: int, channels: list[bool]) -> Floats:
    weights = np.full(size, 1.0 / size)
    half = size // 2
    return np.array(
        [
            np.convolve(row, weights, mode="valid") if wanted else row[half : len(row) - half]
            for row, wanted in zip(volts, channels, strict=True)
        ]
    )
