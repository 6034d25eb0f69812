"""The levels of the crank, sample by sample, from overlapping frames."""

from host_sim.boardlink.frames import Frame

STEPS_MODULO = 65_536
GAP_SHOWN_MAX = 1_000  # Of a longer gap, only this many missing samples are stored.


class Samples:
    """Removes from a frame's samples those that the frame before already had."""

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
        """Don't relate the next frame to the last one: the board restarted, or the port was disconnected."""
        self._steps = None
