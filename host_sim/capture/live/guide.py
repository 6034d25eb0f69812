"""Guides a capture: the next instruction follows from the edges and the pauses between them."""

from dataclasses import dataclass

TURNS_FORWARD, TURNS_BACK = 6, 2
STILL_S = 2.0  # Without an edge for this time the crank has stopped.
READY_S = 1.5
EDGES_LEAST = 12  # Fewer edges come from adjusting the crank by hand.
WAIT_S = 90.0

READY, FORWARD_NEXT, FORWARD, BACK_NEXT, BACK, DONE = range(6)
SENTENCES = (
    "left crank arm straight down, hands off: keep the crank still",
    f"now {TURNS_FORWARD} turns forward, slowly and evenly, and stop with the arm straight down again",
    f"forward … stop after {TURNS_FORWARD} turns, with the arm straight down",
    f"wait … now {TURNS_BACK} turns back, and stop with the arm straight down",
    f"back … stop after {TURNS_BACK} turns, with the arm straight down",
    "done",
)


@dataclass(frozen=True, slots=True)
class Edge:
    """A crank edge: seconds since the stream began, the levels after it (bit 0 channel A, bit 1 B)."""

    at_s: float
    levels: int


@dataclass(frozen=True, slots=True)
class Moment:
    """A time without an edge, seconds since the stream began."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Lost:
    """Steps or edges are missing here; `count` is 0 if their number is unknown."""

    count: int


Item = Edge | Moment | Lost


class Guide:
    """Processes the stream item by item; attributes without underscore may be read.

    `losses`: how often something was lost, `lost`: how many steps in all. `forward_began_s`: when the present
    turns forward began. `forward_s` and `back_s`: times of the first and the last edge of the turns forward
    and back, None before they ended. `gave_up`: nobody turned for WAIT_S.
    """

    def __init__(self) -> None:
        """Begin by waiting for a standstill."""
        self.stage = READY
        self.edges: list[Edge] = []
        self.lost = 0
        self.losses = 0
        self.forward_s: tuple[float, float] | None = None
        self.back_s: tuple[float, float] | None = None
        self.forward_began_s = 0.0
        self.gave_up = False
        self.now_s = 0.0
        self._since_s: float | None = None  # When this stage began, or the last edge before it.
        self._first = 0  # Of this stage's edges.

    @property
    def sentence(self) -> str:
        """The present instruction."""
        return SENTENCES[self.stage]

    @property
    def over(self) -> bool:
        """Whether the capture has ended."""
        return self.stage == DONE or self.gave_up

    def take(self, item: Item) -> bool:
        """Process an item; return whether the stage changed."""
        before = self.stage
        if isinstance(item, Lost):
            self.losses += 1
            self.lost += item.count
            return False
        self.now_s = item.at_s
        if self._since_s is None:
            self._since_s = item.at_s
        if isinstance(item, Edge):
            self._take_edge(item)
        else:
            self._wait(item.at_s)
        return self.stage != before

    def _take_edge(self, edge: Edge) -> None:
        self.edges.append(edge)
        if self.stage == READY:
            self._since_s = edge.at_s
            self._first = len(self.edges)
        elif self.stage in (FORWARD_NEXT, BACK_NEXT):
            if self.stage == FORWARD_NEXT:
                self.forward_began_s = edge.at_s
            self.stage += 1
            self._first = len(self.edges) - 1

    def _wait(self, now_s: float) -> None:
        since_s = self.edges[-1].at_s if self.edges else (self._since_s or 0.0)
        waited_s = now_s - max(since_s, self._since_s or 0.0)
        if self.stage == READY and waited_s >= READY_S:
            self.stage = FORWARD_NEXT
            self._since_s = now_s
        elif self.stage in (FORWARD, BACK) and waited_s >= STILL_S:
            self._end_turning()
        elif self.stage in (FORWARD_NEXT, BACK_NEXT) and now_s - (self._since_s or 0.0) >= WAIT_S:
            self.gave_up = True

    def _end_turning(self) -> None:
        mine = self.edges[self._first :]
        self._since_s = self.now_s
        if len(mine) < EDGES_LEAST:
            self.stage -= 1  # Not turned yet.
            return
        span = (mine[0].at_s, mine[-1].at_s)
        if self.stage == FORWARD:
            self.forward_s = span
        else:
            self.back_s = span
        self.stage += 1
