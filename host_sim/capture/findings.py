"""What an inspection found, each finding with how sure it is."""

from dataclasses import dataclass
from typing import Generic, TypeVar

from host_sim.capture.board_count import Count
from host_sim.capture.cadence import Cadence
from host_sim.capture.gathering import Gathered
from host_sim.capture.ring import Ring
from host_sim.capture.stretches import Floats

Value = TypeVar("Value", covariant=True)

SURE = 0.9  # From here on a finding is stated, and may go into a bike file; below it is a guess and said so.
GUESS = 0.5  # Below this it is "can't tell".


@dataclass(frozen=True)
class Finding(Generic[Value]):
    """A value, or None for "can't tell", and the confidence that it is right, 0 to 1."""

    value: Value | None
    confidence: float

    @property
    def sure(self) -> bool:
        """Whether it may be stated as it is, and written into a file."""
        return self.value is not None and self.confidence >= SURE

    def said(self, text: str) -> str:
        """Return `text`, the value in words, with how sure it is; or that nothing can be told."""
        if self.value is None or self.confidence < GUESS:
            return "can't tell"
        return f"{'' if self.sure else 'probably '}{text} ({self.confidence:.0%} sure)"


@dataclass(frozen=True)
class Channels:
    """Which wires carry something. `live` are the bits of channels that magnets move (0, 1, 2 or 3).

    `dead`: the name of one that should and does not, or "", since `dead_since_s` (0: never seen to move) at
    `dead_level`, until `dead_until_s` (0: to the end). `same_signal`: both change together, as if joined.
    """

    number: Finding[int]
    live: int
    dead: str = ""
    dead_since_s: float = 0.0
    dead_until_s: float = 0.0
    dead_level: int = 0
    same_signal: bool = False


@dataclass(frozen=True)
class RingChange:
    """The ring is another one from `at_s` on, seconds of the capture.

    `more_gaps`: 1 where more magnets give no pulse than before, -1 where fewer, 0 where as many. `lost`,
    `back` and `weak`: numbers of magnets that give no pulse any more, give one again, or a short one, where
    known.
    """

    at_s: float
    more_gaps: int
    lost: list[int]
    back: list[int]
    weak: list[int]


@dataclass(frozen=True)
class Inspection:
    """All that the edges tell.

    `kind` as in bike files. `lead` "A" or "B". `duty` by channel name, shares of a pitch. `missing` and
    `weak` are numbers of magnets, as in `ring`. `decodable`: whether the board can tell direction from this
    ring. `board` is what its decoder counted, `table` the count beside it, `agree` whether both say the same.
    `changes` of the ring during the capture; `turned_s`: when it began to turn
    the other way for long.
    `swing` of the crank's speed within a turn, a share. `seconds` from the first to the last edge. `rises_s`:
    the leading channel's (A if `a_first`, in the direction of travel), from that of magnet 1 on, to the end
    of its stretch.
    """

    channels: Channels
    kind: Finding[str]
    lead: Finding[str]
    pulses: Finding[int]
    duty: dict[str, Finding[float]]
    phase_deg: Finding[float]
    missing: Finding[list[int]]
    weak: Finding[list[int]]
    decodable: Finding[bool]
    changes: list[RingChange]
    turned_s: list[float]
    noise_per_s: float
    invalid_per_s: float
    bounces: bool
    reversals: int
    reversals_seen: int
    cadence: Cadence | None
    ring: Ring | None
    swing: float
    turns_seen: float
    turns_asked: float
    board: Count
    table: Count | None
    agree: bool
    seconds: float
    a_first: bool
    rises_s: Floats
    gathered: Gathered

    @property
    def fit(self) -> bool:
        """Whether nothing is wrong with the sensor as far as the edges tell."""
        channels = self.channels
        # An input that never changes beside one that does may just be empty.
        dead = channels.dead and channels.number.value != 1
        magnets = self.missing.value or self.weak.value or self.changes
        wrong = (dead, channels.same_signal, magnets, self.bounces)
        return not any(wrong) and channels.live > 0 and self.decodable.value is not False
