"""Shows a guided capture while it runs: what to do next, and the ring as far as it is known."""

import sys
from itertools import pairwise
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.live import Live

    from host_sim.capture.live.guide import Guide

LOOK_S = 1.0  # On the board's clock; evaluating the ring takes some tenths of a second.
EDGES_SHOWN = 240


def tell(line: str) -> None:
    """Print a line for the person at the crank."""
    print(line, file=sys.stderr, flush=True)


class LiveRing:
    """Draws on a terminal as the crank turns; elsewhere it prints what to do and, once, the ring."""

    def __init__(self, one_channel: bool, terminal: bool | None = None) -> None:
        """`one_channel`: what the board is set to. `terminal` None: whether standard error is one."""
        self._one_channel = one_channel
        self._terminal = sys.stderr.isatty() if terminal is None else terminal
        self._live: Live | None = None
        self._looked_s = 0.0
        self._ring = ""

    def __enter__(self) -> "LiveRing":
        """Claim the terminal, if there is one."""
        if self._terminal:
            from rich.console import Console
            from rich.live import Live

            self._live = Live(
                console=Console(stderr=True, force_terminal=True), auto_refresh=False, transient=True
            )
            self._live.start()
        return self

    def __exit__(
        self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None
    ) -> None:
        """Release the terminal."""
        if self._live is not None:
            self._live.stop()

    def show(self, guide: "Guide", changed: bool) -> None:
        """Show the state of the capture after one more item."""
        from host_sim.capture.live.guide import BACK_NEXT, FORWARD

        if not changed and (self._live is None or guide.now_s < self._looked_s + LOOK_S):
            return
        self._looked_s = guide.now_s
        if guide.stage == FORWARD or (changed and guide.stage == BACK_NEXT):
            self._ring = self._ring_now(guide)
        if self._live is None:
            tell(f"→ {guide.sentence}")
            if guide.stage == BACK_NEXT and self._ring:
                tell(self._ring)
            return
        from rich.text import Text

        self._live.update(Text(f"→ {guide.sentence}\n\n{self._ring}"), refresh=True)

    def _ring_now(self, guide: "Guide") -> str:
        from host_sim.capture.live.findings import ring_so_far
        from host_sim.capture.live.ring_text import ring_text, so_far_text

        ring = ring_so_far(guide, self._one_channel)
        if ring is None:
            return so_far_text(_rises_of(guide))
        here = (ring.passed - 1) % ring.pulses + 1 if not ring.missing else 0
        said = (
            f"{ring.pulses} pulses a turn" if ring.sure else f"probably {ring.pulses} pulses a turn, so far"
        )
        return f"{ring_text(ring.pulses, ring.missing, ring.weak, None, here)}\n{said}"


def _rises_of(guide: "Guide") -> list[float]:
    """Return when the channel that rose first rose, in the last edges."""
    rises = [
        (edge.at_s, bit)
        for before, edge in pairwise(guide.edges[-EDGES_SHOWN:])
        for bit in (1, 2)
        if edge.levels & ~before.levels & bit
    ]
    return [at_s for at_s, bit in rises if bit == rises[0][1]]
