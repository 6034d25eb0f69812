"""Intervals of a least-squares fit from the scatter of its misses, in blocks of neighbouring samples.

The covariance is the sandwich (J'J)^-1 (sum over blocks of g g') (J'J)^-1 with g = J'r of one block: noise
need not be equal or independent within a block (Liang and Zeger, Biometrika 73 (1986) 13, from memory).
"""

import numpy as np
from numpy.typing import NDArray

from host_sim.measuring.estimate import CONFIDENCE, NotEnoughError
from host_sim.measuring.log import Series

BLOCKS_LEAST = 8


def block_half_widths(jacobian: Series, misses: Series, block: NDArray[np.intp]) -> list[float]:
    """Return half of each unknown's 95 % interval, infinite if the samples don't determine it.

    `jacobian` has a row for each of the `misses`; `block` has the number of each one's block. NotEnoughError
    if there are too few blocks.
    """
    names = np.unique(block)
    unknowns = jacobian.shape[1]
    freedom = len(names) - unknowns
    if len(names) < BLOCKS_LEAST or freedom < 1:
        raise NotEnoughError(f"{len(names)} parts, at least {max(BLOCKS_LEAST, unknowns + 1)} are needed")
    from scipy.stats import t as student

    scale = np.linalg.norm(jacobian, axis=0)
    seen = scale > 0.0
    unit = jacobian[:, seen] / scale[seen]
    values, vectors = np.linalg.eigh(unit.T @ unit)
    known = values > values[-1] * 1e-10
    inverse = (vectors[:, known] / values[known]) @ vectors[:, known].T
    meat = np.zeros((unit.shape[1], unit.shape[1]))
    for name in names:
        part = block == name
        gradient = unit[part].T @ misses[part]
        meat += np.outer(gradient, gradient)
    grown = len(names) / freedom
    scattered = grown * np.diag(inverse @ meat @ inverse)
    # Blocks may agree by chance: at least the variance of independent misses of this size.
    equal = np.diag(inverse) * float(np.sum(misses**2)) / max(np.count_nonzero(misses) - unknowns, 1)
    variance = np.maximum(scattered, equal)
    # An unknown that takes part in a direction which no sample determines is unknown.
    vague = np.sum(vectors[:, ~known] ** 2, axis=1) > 1e-6
    half = np.full(unknowns, np.inf)
    half[seen] = np.where(
        vague,
        np.inf,
        student.ppf(CONFIDENCE, freedom) * np.sqrt(variance) / scale[seen],
    )
    return [float(value) for value in half]
