"""Finds a step in a board's telemetry: the bicycle rests, somebody pedals, help begins and continues."""

from dataclasses import dataclass

from firmware.decide.engagement import ASSISTING, STATE_NAMES
from firmware.ticks import ticks_diff_us
from host_sim.boardlink.frames import Frame
from host_sim.watching.lost_frames import NUMBERS

# Rest before the first help; after less, the firmware may not have seen the controls at rest.
BEFORE_S = 2.0
AFTER_S = 5.0
LONGEST_S = 30.0  # From the first help to the end of the step.


@dataclass(frozen=True, slots=True)
class StepSeen:
    """The frames of a step, and their times in s since the first help (negative before).

    `step_s`: when the command rose for the last time; help before that was withdrawn, for example because a
    reading was in doubt.
    """

    frames: tuple[Frame, ...]
    time_s: tuple[float, ...]
    step_s: float


class StepFinder:
    """Processes frames until a step is complete. `why_not`: why the last attempt was not a step."""

    def __init__(self) -> None:
        """Start without a frame."""
        self.why_not = ""
        self._frames: list[Frame] = []
        self._begun: int | None = None
        self._rose = 0

    def take(self, frame: Frame) -> StepSeen | None:
        """Process a frame; return the step if it is complete now."""
        frames = self._frames
        if frames and (frames[-1].number + 1) % NUMBERS != frame.number:
            self._forget("frames were lost on the link")
        frames.append(frame)
        if self._begun is None:
            self._look_for_help(frame)
            return None
        if frame.state != STATE_NAMES[ASSISTING]:
            self._forget(f"help ended too soon: {frame.fault if frame.state == 'faulted' else frame.state}")
            return None
        if frame.command_v > 0.0 and frames[-2].command_v == 0.0:
            self._rose = len(frames) - 1
        if frame.command_v == 0.0 or _since_s(frames[self._rose], frame) < AFTER_S:
            if _since_s(frames[self._begun], frame) > LONGEST_S:
                self._forget("help was withdrawn repeatedly")
            return None
        times_s = tuple(_since_s(frames[self._begun], one) for one in frames)
        return StepSeen(tuple(frames), times_s, times_s[self._rose])

    def _look_for_help(self, frame: Frame) -> None:
        """Keep the frames that a step needs before the first help, and check whether help has begun."""
        frames = self._frames
        while len(frames) > 2 and _since_s(frames[1], frame) >= BEFORE_S:
            del frames[0]
        if frame.state != STATE_NAMES[ASSISTING] or frame.command_v == 0.0:
            return
        rested = [one for one in frames[:-1] if one.command_v > 0.0]
        if rested or _since_s(frames[0], frame) < BEFORE_S * 0.9:
            self._forget("it did not rest before")
            return
        self._begun = self._rose = len(frames) - 1

    def _forget(self, why: str) -> None:
        """Start over."""
        self.why_not = why
        self._frames.clear()
        self._begun = None


def _since_s(earlier: Frame, later: Frame) -> float:
    return ticks_diff_us(later.time_us, earlier.time_us) * 1e-6
