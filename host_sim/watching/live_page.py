"""Shows the page on a terminal, handles keys, rings the bell."""

from collections.abc import Callable
from types import TracebackType

from rich.console import Console, Group
from rich.live import Live

from host_sim.watching.drawing import ASCII, BOX
from host_sim.watching.keys import Keys
from host_sim.watching.page import Controls, page
from host_sim.watching.session import Ended
from host_sim.watching.watched import Watched

DRAW_EVERY_S = 0.1
BELL_EVERY_S = 1.0
PER_COLUMN = (1, 2, 4, 10, 20)  # Control periods: 5 ms to 100 ms a column.


class LivePage:
    """A full-screen view. Use it in a `with`, which restores the terminal afterwards."""

    def __init__(self, console: Console, keys: Keys | None, file: str, ended: Callable[[], None]) -> None:
        """Draw on `console`; `file` is the record's name or empty; `ended` raises Ended after a signal."""
        self._console = console
        self._keys = keys
        self._ended = ended
        self._controls = Controls(keys=keys is not None, file=file)
        self._kit = BOX if console.encoding.lower().startswith("utf") else ASCII
        self._live = Live(
            Group(),
            console=console,
            screen=True,
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        self._draw_s = 0.0
        self._bell_s = 0.0
        self._seen = 0

    def __enter__(self) -> "LivePage":
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    def look(self, watched: Watched, now_s: float) -> None:
        """Handle keys, and draw if it is time."""
        self._ended()
        pressed = self._keys.pressed() if self._keys is not None else ""
        for key in pressed:
            self._press(key, watched)
        self._ring(watched, now_s)
        if now_s < self._draw_s and not pressed:
            return
        self._draw_s = now_s + DRAW_EVERY_S
        width, height = self._console.size
        rows = page(watched, now_s, width, height, self._controls, self._kit)
        self._live.update(Group(*rows), refresh=True)

    def _press(self, key: str, watched: Watched) -> None:
        controls = self._controls
        at = PER_COLUMN.index(controls.per_column)
        if key in "qQ":
            raise Ended
        if key == "+":
            controls.per_column = PER_COLUMN[min(at + 1, len(PER_COLUMN) - 1)]
        elif key == "-":
            controls.per_column = PER_COLUMN[max(at - 1, 0)]
        elif key == " ":
            controls.held = None if controls.held is not None else tuple(watched.levels)
            controls.held_seen = watched.levels_seen

    def _ring(self, watched: Watched, now_s: float) -> None:
        """Ring the bell for new events that require it, at most once a second."""
        wanted = any(one.ring for one in watched.happenings_after(self._seen))
        self._seen = watched.happenings_seen
        if wanted and now_s >= self._bell_s:
            self._bell_s = now_s + BELL_EVERY_S
            self._console.bell()
