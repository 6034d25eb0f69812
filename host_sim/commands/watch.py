"""`treadle watch`: see a board ride, record it; or ask it for its edges and settings while it stands."""

import time
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.errors import RequestError
from host_sim.textfile import spoken
from host_sim.watching.asking import open_chosen, require_link
from host_sim.watching.watch_result import WatchResult

if TYPE_CHECKING:
    from host_sim.watching.record_file import RecordFile
    from host_sim.watching.session import ClosablePort, View
    from host_sim.watching.step_record import StepRecord

SECONDS_MAX = 1_000_000.0


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
