"""The result of a watch."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.watching.step_record import StepRecord
    from host_sim.watching.watched import Watched


@dataclass(frozen=True, slots=True)
class WatchResult:
    """The result of a watch. `file`: the record; `failure`: why it ended early, or empty."""

    watched: "Watched"
    seconds: float
    file: Path | None
    failure: str
    steps: "StepRecord | None" = None

    @property
    def complaint(self) -> str:
        """A sentence if the record failed or has a gap, or if no frame could be read; else empty."""
        watched = self.watched
        if self.failure:
            return self.failure
        if watched.frames == 0 and watched.other_kind is not None:
            from host_sim.watching.watched import other_kind_of

            return f"no frame from {spoken(watched.port)} can be read: {other_kind_of(watched.other_kind)}"
        if watched.frames == 0:
            from host_sim.watching.words import HOW_TO_SEE_MORE

            return f"no frame arrived from {spoken(watched.port)} in {self.seconds:.1f} s: {HOW_TO_SEE_MORE}"
        if self.file is not None and watched.lost.count:
            return (
                f"frames were lost on the link ({watched.lost.count}): "
                f"the column lost_numbers of {spoken(self.file)} names them"
            )
        if self.steps is not None and self.steps.refusal:
            return f"the board sends no steps, flash it with this version: {self.steps.refusal}"
        if self.steps is not None and self.steps.holes:
            lost, holes = self.steps.lost, self.steps.holes
            return f"{lost} steps are missing in {holes} places of {spoken(self.steps.log.path)}"
        return ""

    def as_json(self) -> dict[str, Any]:
        """Return the summary under its documented keys."""
        watched = self.watched
        return {
            "port": watched.port,
            "board": watched.board or None,
            "seconds": round(self.seconds, 3),
            "frames": watched.frames,
            "lost": watched.lost.count,
            "damaged": watched.damaged,
            "missed_magnets": watched.missed.count,
            "missed_again_a_turn_later": watched.missed.repeated,
            "times_away": max(watched.connections - 1, 0) + (not watched.connected),
            "away_s": round(watched.away_s, 3),
            "file": str(self.file) if self.file is not None and watched.frames else None,
            **self._steps_as_json(),
            "complaint": self.complaint or None,
            "last": asdict(watched.frame) if watched.frame is not None else None,
        }

    def _steps_as_json(self) -> dict[str, Any]:
        if self.steps is None or self.steps.steps == 0:
            return {"steps_file": None, "steps": 0, "steps_lost": 0, "steps_from_start": None}
        return {
            "steps_file": str(self.steps.log.path),
            "steps": self.steps.steps,
            "steps_lost": self.steps.lost,
            "steps_from_start": self.steps.from_start,
        }
