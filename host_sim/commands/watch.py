"""`treadle watch`: see a board ride, record it; or ask it for its edges and settings while it stands."""

import time
from collections.abc import Callable
from dataclasses import asdict
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.watching.record_file import RecordFile
    from host_sim.watching.session import ClosablePort, View
    from host_sim.watching.step_record import StepRecord
    from host_sim.watching.watched import Watched

SECONDS_MAX = 1_000_000.0
WAIT_S = 120.0  # For the bicycle to stand; the desk's rider rests twice in 48 s.
ASK_AGAIN_S = 0.5


class WatchRequest:
    """What is asked for: the port, how long, and the record."""

    def __init__(self, port: str | None, record: Path | None, seconds: float | None, force: bool) -> None:
        """Check all of it; RequestError says what is wrong, before a port is opened."""
        require_link()
        from host_sim.boardlink.port_choice import choose_port

        if seconds is not None and not 1 <= seconds <= SECONDS_MAX:
            raise RequestError(f"--seconds is {seconds:g}, allowed is a number from 1 to {SECONDS_MAX:.0f}")
        self.given_port = port
        self.seconds = seconds
        self.record = record
        self.force = force
        self.port = choose_port(port)

    def open_record(self) -> "RecordFile | None":
        """Return the record, ready to be written to, if one is asked for."""
        from host_sim.watching.record_file import RecordFile

        return None if self.record is None else RecordFile(self.record, self.force)

    def open_steps(self) -> "StepRecord | None":
        """Return the record of the steps, which lies beside the record of the frames."""
        from host_sim.replay.log_file import LogWriter
        from host_sim.watching.step_record import StepRecord, steps_path

        if self.record is None:
            return None
        if steps_path(self.record) == self.record:
            raise RequestError(
                f"--record is {spoken(self.record)}, allowed is another ending than .steps, which "
                "the file of the steps beside it has"
            )
        return StepRecord(LogWriter(steps_path(self.record), self.force, "--record"))


class WatchResult:
    """What was seen."""

    def __init__(
        self,
        watched: "Watched",
        seconds: float,
        file: Path | None,
        failure: str,
        steps: "StepRecord | None" = None,
    ) -> None:
        """Take all that is known; `failure` says why the record broke off, or is empty."""
        self.steps = steps
        self.watched = watched
        self.seconds = seconds
        self.file = file
        self.failure = failure

    @property
    def complaint(self) -> str:
        """One sentence about what does not hold: the record has a hole, or there was nothing to see."""
        watched = self.watched
        if self.failure:
            return self.failure
        if watched.frames == 0 and watched.other_kind is not None:
            from host_sim.watching.watched import other_kind_of

            return f"no frame from {spoken(watched.port)} can be read: {other_kind_of(watched.other_kind)}"
        if watched.frames == 0:
            from host_sim.watching.words import HOW_TO_SEE_MORE

            return f"no frame came from {spoken(watched.port)} in {self.seconds:.1f} s: {HOW_TO_SEE_MORE}"
        if self.file is not None and watched.lost.count:
            return (
                f"frames were lost on the link ({watched.lost.count}): "
                f"the column lost_numbers of {spoken(self.file)} names them"
            )
        if self.steps is not None and self.steps.refusal:
            return f"the board gives no steps, flash it with this version: {self.steps.refusal}"
        if self.steps is not None and self.steps.holes:
            lost, holes = self.steps.lost, self.steps.holes
            return f"{lost} steps are missing in {holes} places of {spoken(self.steps.log.path)}"
        return ""

    def as_json(self) -> dict[str, Any]:
        """Return the summary, with the keys that the manual names."""
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


def require_link() -> None:
    """Raise RequestError if what the link needs is not installed."""
    if find_spec("serial") is None:
        raise RequestError(
            "talking to a board needs pyserial, which is not installed, get it with: "
            "uv run --extra board treadle"
        )


def watch(
    request: WatchRequest,
    record: "RecordFile | None",
    view: "View",
    steps: "StepRecord | None" = None,
) -> WatchResult:
    """Watch until the view or the time ends it. RequestError if the port can't be opened."""
    from host_sim.replay.log_file import LogFailed
    from host_sim.watching.record_file import RecordingFailed
    from host_sim.watching.session import Session

    def connect() -> "tuple[str, ClosablePort]":
        return open_chosen(request.given_port)

    session = Session(connect, view, record, request.seconds, time.monotonic, time.sleep, steps)
    failure = ""
    try:
        session.run()
    except (RecordingFailed, LogFailed) as error:
        failure = str(error)
    return WatchResult(session.watched, session.now_s, request.record, failure, steps)


def open_chosen(given: str | None) -> "tuple[str, ClosablePort]":
    """Choose the port anew, since a board may come back under another name, and open it."""
    from host_sim.boardlink.console_client import open_port
    from host_sim.boardlink.port_choice import choose_port

    name = choose_port(given)
    return name, cast("ClosablePort", open_port(name))  # pyserial's can be closed.


class AskRequest:
    """What a standing board is asked, in this order: clear the fault, change settings, edges, settings."""

    def __init__(
        self,
        port: str | None,
        clear_fault: bool,
        changes: list[str],
        capture: Path | None,
        show_settings: bool,
        force: bool,
        black_box: Path | None = None,
    ) -> None:
        """Check all of it; RequestError says what is wrong, before a port is opened."""
        require_link()
        from host_sim.boardlink.port_choice import choose_port
        from host_sim.watching.workshop import check_capture, parse_changes

        self.clear_fault = clear_fault
        self.changes = parse_changes(changes)
        self.capture = capture
        self.show_settings = show_settings
        self.force = force
        if capture is not None:
            check_capture(capture, force)
        self.black_box = black_box
        if black_box is not None:
            check_black_box(black_box, force)
        self.given_port = port
        self.port = choose_port(port)


def check_black_box(path: Path, force: bool) -> None:
    """Raise RequestError if the recorder's steps can't go there."""
    if path.exists() and (not force or not path.is_file()):
        raise RequestError(f"{spoken(path)} exists already, allowed is another --blackbox, or --force")
    refuse_missing_folder(path, "--blackbox")


def when_standing(
    asked: Callable[[], Any],
    notice: Callable[[str], None],
    clock_s: Callable[[], float] = time.monotonic,
    pause: Callable[[float], None] = time.sleep,
) -> Any:
    """Return what `asked` returns, once the bicycle stands; BoardTrouble if it does not in WAIT_S.

    `notice` is told once that it is waited for.
    """
    from host_sim.watching.workshop import InMotion

    until_s = clock_s() + WAIT_S
    told = False
    while True:
        try:
            return asked()
        except InMotion:
            if clock_s() >= until_s:
                raise
            if not told:
                notice(f"the bicycle moves: waiting until it stands, at most {WAIT_S:.0f} s; Ctrl-C ends it")
            told = True
            pause(ASK_AGAIN_S)


def _fetch_black_box(
    port: "ClosablePort", path: Path, force: bool, say: Callable[[str], None], notice: Callable[[str], None]
) -> dict[str, Any]:
    from host_sim.watching.black_box import BlackBox

    box = BlackBox(port)
    when_standing(box.freeze, notice)
    steps = box.fetch(path, force)
    say(f"{steps} steps are in {spoken(path)}")
    when_standing(box.release, notice)
    return {"blackbox": str(path), "blackbox_steps": steps}


def ask(
    request: AskRequest, say: Callable[[str], None], notice: Callable[[str], None] = lambda line: None
) -> dict[str, Any]:
    """Ask the board; return what was done. BoardTrouble if it refuses: what was done before stays done.

    What the board allows only at a standstill waits for it; `notice` hears of that.
    """
    import contextlib

    from host_sim.watching.workshop import Workshop

    name, port = open_chosen(request.given_port)
    done: dict[str, Any] = {"port": name}
    with contextlib.closing(port):
        board = Workshop(port)
        done["board"] = board.about()["board"]
        if request.clear_fault:
            when_standing(board.clear_fault, notice)
            done["cleared"] = True
            say("the fault is cleared, unless its cause is still there")
        if request.capture is not None:
            capture = request.capture
            count = when_standing(lambda: board.keep_edges(capture, request.force), notice)
            done |= {"capture": str(request.capture), "edges": count}
            say(f"{count} crank edges are in {spoken(request.capture)}")
        if request.black_box is not None:
            done |= _fetch_black_box(port, request.black_box, request.force, say, notice)
        if request.show_settings:
            done |= {"settings": board.settings(), "in_force": board.about()["settings"]}
            say(f"settings in force: {done['in_force']}")
            for setting, value in done["settings"].items():
                say(f"  {setting} = {value}")
        if request.changes:
            when_standing(lambda: board.change(request.changes), notice)
            done["changed"] = request.changes
            changed = ", ".join(f"{setting} = {value}" for setting, value in request.changes.items())
            say(f"stored, and the board starts anew with: {changed}")
    return done
