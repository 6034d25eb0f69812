"""The watch as lines of text: with --plain, or if standard output is not a terminal."""

from collections.abc import Callable

from host_sim.watching.watched import Watched
from host_sim.watching.words import SILENCE_S, link, one_line, settings_in_force

EVERY_S = 1.0


class PlainLines:
    """Prints one line a second, and one for each event and each change of state, direction or brake."""

    def __init__(self, say: Callable[[str], None], ended: Callable[[], None]) -> None:
        """Pass lines to `say`; `ended` raises Ended when the user wants to stop."""
        self._say = say
        self._ended = ended
        self._seen = 0
        self._shown: tuple[object, ...] = ()
        self._due_s = 0.0
        self._silence_said = False

    def look(self, watched: Watched, now_s: float) -> None:
        """Print what is new."""
        self._ended()
        for happening in watched.happenings_after(self._seen):
            self._say(f"{happening.at_s:8.1f} s  {happening.text}")
        self._seen = watched.happenings_seen
        frame = watched.frame
        heard = frame is not None and watched.connected and now_s - watched.frame_s < SILENCE_S
        if frame is None or not heard:
            self._say_silence(watched, now_s)
            return
        self._silence_said = False
        shown = (frame.state, frame.direction, frame.brake_pulled, frame.fault, frame.settings_valid)
        if shown == self._shown and now_s < self._due_s:
            return
        self._shown = shown
        self._due_s = now_s + EVERY_S
        warning = settings_in_force(frame)
        self._say(f"{now_s:8.1f} s  {one_line(watched, frame)}" + (f"; {warning}" if warning else ""))

    def _say_silence(self, watched: Watched, now_s: float) -> None:
        """Print that no frame arrives, once per silence."""
        heard_s = max(watched.frame_s, watched.since_s)
        if watched.connected and now_s - heard_s >= SILENCE_S and not self._silence_said:
            self._silence_said = True
            self._say(f"{now_s:8.1f} s  {link(watched, now_s)}")


class Nothing:
    """Shows nothing, and ends on request."""

    def __init__(self, ended: Callable[[], None]) -> None:
        """`ended` raises Ended when the user wants to stop."""
        self._ended = ended

    def look(self, watched: Watched, now_s: float) -> None:
        """Only check whether to stop."""
        self._ended()
