"""A board on a port for calibration and commissioning: frames for a time, a cleared fault, a restart."""

import time
from collections.abc import Callable, Iterator
from typing import Protocol

from firmware.ticks import ticks_diff_us
from host_sim.boardlink.frames import Frame, Wire
from host_sim.watching.session import ClosablePort
from host_sim.watching.watched import other_kind_of
from host_sim.watching.workshop import BoardTrouble, Workshop

STEP_MOST_US = 5_000_000  # From one frame to the next.


class BoardAtHand(Protocol):
    """What calibration and checklist need from a board."""

    def frames(self, seconds: float) -> Iterator[Frame]:
        """Yield the frames that arrive from now on, for `seconds`."""

    def name(self) -> str:
        """Return the board's name."""

    def settings(self) -> dict[str, int]:
        """Return the settings in force."""

    def change(self, changes: dict[str, int]) -> None:
        """Change settings once the bicycle stands; the board restarts."""

    def clear_fault(self) -> None:
        """Clear the fault once the bicycle stands."""


class KeepingPort(ClosablePort, Protocol):
    """A port with an input buffer in the operating system, such as pyserial's."""

    def reset_input_buffer(self) -> None:
        """Discard input that was not read."""


class LiveBoard:
    """A board at an open port. BoardTrouble if it refuses or doesn't answer."""

    def __init__(
        self,
        port: KeepingPort,
        standing: Callable[[Callable[[], object]], object],
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Use an open port; `standing` sends a request once the bicycle stands."""
        self._port = port
        self._beside: list[Frame] = []
        self._restarted: list[Frame] = []
        self._workshop = Workshop(port, self._beside.append)
        self._standing = standing
        self._clock_s = clock_s

    def forget(self) -> None:
        """Discard input from the time of a question: it would show levers as they were seconds ago."""
        self._port.reset_input_buffer()

    def frames(self, seconds: float) -> Iterator[Frame]:
        """Yield the frames that arrive from now on, for `seconds` on the board's clock.

        After a change they begin with what the restarted board sent in one piece with the answer. The
        iteration also ends if none arrives for that long on this computer's clock. BoardTrouble if the frames
        are of another firmware.
        """
        wire = Wire()
        last_us: int | None = None
        ridden_us = 0
        heard_s = self._clock_s()
        pending: list[object] = [*self._restarted]
        self._restarted.clear()
        while ridden_us < seconds * 1e6 and self._clock_s() - heard_s < seconds:
            for item in pending:
                if not isinstance(item, Frame):
                    continue
                heard_s = self._clock_s()
                if last_us is not None:
                    # A board that restarts has another clock.
                    since_us = ticks_diff_us(item.time_us, last_us)
                    ridden_us += since_us if 0 < since_us < STEP_MOST_US else 0
                last_us = item.time_us
                yield item
                if ridden_us >= seconds * 1e6:
                    return
            pending = [*wire.feed(self._port.read(4_096))]
            if wire.other_kind is not None:
                raise BoardTrouble(other_kind_of(wire.other_kind))

    def name(self) -> str:
        """Return the board's name."""
        return self._workshop.about()["board"]

    def settings(self) -> dict[str, int]:
        """Return the settings in force."""
        return self._workshop.settings()

    def change(self, changes: dict[str, int]) -> None:
        """Change settings once the bicycle stands; the board restarts."""
        self._standing(lambda: self._change(changes))

    def _change(self, changes: dict[str, int]) -> None:
        self._beside.clear()
        self._workshop.change(changes)
        steps = [frame.steps for frame in self._beside]
        fell = [place for place in range(1, len(steps)) if steps[place] < steps[place - 1]]
        self._restarted = self._beside[fell[-1] :] if fell else []

    def clear_fault(self) -> None:
        """Clear the fault once the bicycle stands."""
        self._standing(self._workshop.clear_fault)
