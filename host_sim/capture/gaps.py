"""The number of magnet positions in a pitch, from a comparison with the pitches beside it."""

import numpy as np

from host_sim.capture.stretches import Floats

GAP_BESIDE = 1.5  # A pitch this much longer than its neighbours contains a missing magnet.


def steps_beside(pitch: Floats, before: Floats, after: Floats) -> Floats:
    """Return by how many positions each pitch advances, as floats; `before`, `after`: its neighbours.

    For times: if a leg pauses, the pitches beside a long one are long as well. If the neighbours differ as
    much as by a gap, one of them is a gap itself, and the shorter one is used.
    """
    least, most = np.minimum(before, after), np.maximum(before, after)
    beside = np.where(most > GAP_BESIDE * least, least, np.sqrt(least * most))
    return np.asarray(np.where(pitch > GAP_BESIDE * beside, np.maximum(np.round(pitch / beside), 1.0), 1.0))
