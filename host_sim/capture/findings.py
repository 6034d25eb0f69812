"""The findings of an inspection, each with its confidence."""

from dataclasses import dataclass
from typing import Generic, Never, TypeVar

from host_sim.capture.board_count import Count
from host_sim.capture.cadence import Cadence
from host_sim.capture.gathering import Gathered
from host_sim.capture.order import QUICK_LEGS_RPM, Lacking, Overlap
from host_sim.capture.ring import Ring
from host_sim.capture.stretches import Floats
from host_sim.capture.unequal import Unequal

Value = TypeVar("Value", covariant=True)

SURE = 0.9  # From here on a finding is stated, below it is a guess.
GUESS = 0.5  # Below this it is "can't tell".
# Edges backward or refused per turn while the crank turns forward; a faulty magnet causes one.
ODD_EDGES_A_TURN = 0.5
WEAK_OPEN = "weak magnets can't be ruled out"


@dataclass(frozen=True, slots=True)
class Finding(Generic[Value]):
    """A value, or None for "can't tell", and the confidence that it is right, 0 to 1."""

    value: Value | None
    confidence: float

    @property
    def sure(self) -> bool:
        """Whether the finding is certain enough to be stated and written into a file."""
        return self.value is not None and self.confidence >= SURE

    def at_most(self, confidence: float) -> "Finding[Value]":
        """Return the same value with no more than this confidence."""
        return Finding(self.value, min(self.confidence, confidence))

    def said(self, text: str) -> str:
        """Return `text`, the value in words, with the confidence, or "can't tell"."""
        if self.value is None or self.confidence < GUESS:
            return "can't tell"
        return f"{'' if self.sure else 'probably '}{text} ({self.confidence:.0%} sure)"


CAN_NOT_TELL: Finding[Never] = Finding(None, 0.0)


@dataclass(frozen=True, slots=True)
class Channels:
    """Which wires carry a signal. `live`: the bits of the channels that magnets change (0 to 3).

    `dead`: the name of a channel that should change and does not, or "". It is at `dead_level` from
    `dead_since_s` (0: it never changed) to `dead_until_s` (0: the end). `same_signal`: both change together,
    as if connected.
    """

    number: Finding[int]
    live: int
    dead: str = ""
    dead_since_s: float = 0.0
    dead_until_s: float = 0.0
    dead_level: int = 0
    same_signal: bool = False


@dataclass(frozen=True, slots=True)
class RingChange:
    """A change of the ring at `at_s`, seconds of the capture.

    `more_gaps`: 1 if more magnets give no pulse than before, -1 if fewer, 0 if as many. `lost`, `back` and
    `weak`: numbers of the magnets that no longer give a pulse, give one again, or now give a short one, if
    known.
    """

    at_s: float
    more_gaps: int
    lost: list[int]
    back: list[int]
    weak: list[int]


@dataclass(frozen=True, slots=True)
class Inspection:
    """All findings from the edges.

    `kind` as in bike files. `lead` "A" or "B". `duty` by channel name, shares of a pitch. `missing` and
    `weak` are numbers of magnets, as in `ring`. `decodable`: whether the board can tell direction from this
    ring; `lacking`: magnets that one channel does not see, `unequal`: those weak on one channel; `overlap`:
    see `order.py`. `board` is the count of the board's decoder, `table` the second count, `agree` whether
    they agree. `changes` of the ring during the capture; `turned_s`: times (s) at which the crank began to
    turn the other way for a long time. `swing`: variation of the crank's speed within a turn, a share.
    `seconds` from the first to the last edge. `rises_s`: rises of the leading channel (A if `a_first`, in the
    direction of travel), from that of magnet 1 on.
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
    lacking: list[Lacking]
    unequal: list[Unequal]
    overlap: Overlap | None
    odd_edges_a_turn: float
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
    def rocked(self) -> bool:
        """Whether the crank turned back for more than a few pitches, and both counts agree."""
        if self.table is None or self.lacking or self.decodable.value is False:
            return False
        return (
            self.reversals > self.reversals_seen + 2
            and self.agree
            and abs(self.reversals - self.table.reversals) <= 1
            and not self.board.rejected
        )

    @property
    def overlap_too_brief(self) -> bool:
        """Whether the board refuses edges at a fast cadence, or at a cadence of the capture."""
        if self.overlap is None:
            return False
        covered_rpm = self.cadence.most if self.cadence is not None else 0.0
        return self.overlap.highest_rpm < max(QUICK_LEGS_RPM, covered_rpm)

    @property
    def why(self) -> list[str]:
        """The reasons why the sensor is not called fit, one short phrase each."""
        channels = self.channels
        if channels.live == 0:
            return ["no channel shows magnets"]
        # If a file has one channel, or the user says so, there is no other that could be dead.
        return [
            phrase
            for wrong, phrase in (
                (channels.dead and channels.number.value != 1, f"channel {channels.dead} is dead"),
                (channels.same_signal, "A and B carry the same signal"),
                (self.lacking, "a channel does not see every magnet"),
                (self.missing.value, "a magnet is missing"),
                (any(one.sure for one in self.unequal), "a magnet is weak on one channel"),
                (self.weak.value, "a magnet is weak"),
                (self._weak_open, WEAK_OPEN),
                (self.changes, "the ring changes during the capture"),
                (self.bounces, "edges bounce"),
                (self.decodable.value is False, "A and B do not overlap"),
                (self.overlap_too_brief, "A and B overlap too briefly"),
                (
                    self.odd_edges_a_turn >= ODD_EDGES_A_TURN,
                    "edges are counted backward or refused in every turn",
                ),
                (
                    self.kind.value is None or self.missing.value is None,
                    "missing magnets can't be ruled out",
                ),
            )
            if wrong
        ]

    @property
    def fit(self) -> bool:
        """Whether the edges show that the sensor is fit for use: no fault, and enough findings."""
        return not self.why

    @property
    def _weak_open(self) -> bool:
        """Whether narrow pulses were seen but no magnet could be identified."""
        narrow = self.ring is not None and bool(self.ring.weak)
        return self.weak.value is None and (narrow or self.kind.value == "two channels")
