"""The levels of the crank, sample by sample, out of frames that overlap."""

from host_sim.boardlink.frames import Frame

STEPS_MODULO = 65_536
GAP_SHOWN_MAX = 1_000  # Missing samples that are kept as such; more of them tell no more.


class Samples:
    """Joins the samples of one frame to those of the frame before."""

    def __init__(self) -> None:
        """Start with no frame."""
        self._steps: int | None = None

    def new_in(self, frame: Frame) -> list[int | None]:
        """Return the levels at the steps since the last frame, oldest first; None where one is missing."""
        carried = len(frame.level_samples)
        since = carried if self._steps is None else (frame.steps - self._steps) % STEPS_MODULO
        self._steps = frame.steps
        missing: list[int | None] = [None] * min(max(since - carried, 0), GAP_SHOWN_MAX)
        return missing + list(frame.level_samples[carried - min(since, carried) :])

    def forget(self) -> None:
        """Join the next frame to nothing: the board started anew, or the port was away."""
        self._steps = None
