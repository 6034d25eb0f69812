"""Where the magnets of a pedal sensor switch its channels: one turn of the crank as sectors.

A sector is the angle between two neighbouring switching points; within it nothing changes. Magnet i
(counted forward from 0) covers pitch i of the turn. Its pulse on a channel is as wide as the duty share
of the pitch, centred, and moved by half the phase back on the leading channel and forward on the other.
A weak magnet narrows its pulse, as a Hall switch sees a field peak nearer to its threshold; a missing
one gives none. With Hall switches of unequal strength only one channel may see a magnet, so each channel has
additional strengths of its own. A duty-coded sensor shows the direction by the share of the pitch for which
it is high: `duty` forward, 1 - `duty` backward. So the end of its pulse depends on the direction, and a
sector between the two ends has one level when entered forward and another when entered backward.
"""

from bisect import bisect_right
from math import floor, pi

TWO_CHANNEL = "two_channel"
ONE_CHANNEL = "one_channel"
DUTY_CODED = "duty_coded"
TURN_RAD = 2.0 * pi


class MagnetRing:
    """Sector edges over one turn, and the levels (bit 0 channel A, bit 1 channel B) in each sector."""

    __slots__ = (
        "_kind",
        "_lead_rad",
        "_offsets_rad",
        "_on_b",
        "_pitch_rad",
        "_width_share",
        "a_strengths",
        "b_strengths",
        "backward_levels",
        "edges_rad",
        "forward_levels",
        "multiple",
        "strengths",
    )

    def __init__(
        self,
        kind: str,
        pulses_per_rev: int,
        a_leads: bool,
        duty: float,
        phase_deg: float,
        errors_rad: list[float],
        on_b: bool,
    ) -> None:
        """Store values that PedalSensor has checked; all magnets start at full strength."""
        self._kind = kind
        self._pitch_rad = TURN_RAD / float(pulses_per_rev)
        self._width_share = duty
        self._lead_rad = self._pitch_rad * phase_deg / 720.0 * (1.0 if a_leads else -1.0)
        self._offsets_rad = errors_rad
        self._on_b = on_b
        self.strengths = [1.0] * pulses_per_rev
        self.a_strengths = [1.0] * pulses_per_rev  # Shares of `strengths`, as channel A sees them.
        self.b_strengths = [1.0] * pulses_per_rev
        self.multiple = 1  # Pulses of each magnet: more than one if a part with more poles was fitted.
        self.edges_rad: list[float] = []
        self.forward_levels: list[int] = []
        self.backward_levels: list[int] = []
        self.build()

    def build(self) -> None:
        """Compute the sectors from the present magnets; a single channel may be on wire B."""
        shares = self.b_strengths if self._on_b else self.a_strengths
        a_forward = self._pulses(shares, -self._lead_rad, self._width_share)
        if self._kind == DUTY_CODED:
            a_forward = self._pulses_from_start(shares, self._width_share)
            a_backward = self._pulses_from_start(shares, 1.0 - self._width_share)
        else:
            a_backward = a_forward
        b_pulses: list[tuple[float, float]] = []
        if self._kind == TWO_CHANNEL:
            b_pulses = self._pulses(self.b_strengths, self._lead_rad, self._width_share)
        points: list[float] = []
        for pulses in (a_forward, a_backward, b_pulses):
            for start_rad, width_rad in pulses:
                points.append(start_rad % TURN_RAD)
                points.append((start_rad + width_rad) % TURN_RAD)
        self.edges_rad = _distinct(points)
        self.forward_levels = []
        self.backward_levels = []
        high = 2 if self._on_b else 1
        for index in range(len(self.edges_rad)):
            middle_rad = self._middle_rad(index)
            b_level = 2 if _inside(middle_rad, b_pulses) else 0
            self.forward_levels.append(b_level + (high if _inside(middle_rad, a_forward) else 0))
            self.backward_levels.append(b_level + (high if _inside(middle_rad, a_backward) else 0))

    def sector_of(self, crank_rad: float) -> int:
        """Return the sector of an unwrapped angle, counted on over the turns; 0 if nothing ever switches."""
        count = len(self.edges_rad)
        if count == 0:
            return 0
        turns = floor(crank_rad / TURN_RAD)
        return turns * count + bisect_right(self.edges_rad, crank_rad - turns * TURN_RAD) - 1

    def start_rad(self, sector: int) -> float:
        """Return the unwrapped angle at which a sector starts. There must be one."""
        count = len(self.edges_rad)
        turns = sector // count
        return self.edges_rad[sector - turns * count] + float(turns) * TURN_RAD

    def _middle_rad(self, index: int) -> float:
        """Return the middle of a sector; the last one extends past the end of the turn."""
        if index + 1 < len(self.edges_rad):
            return 0.5 * (self.edges_rad[index] + self.edges_rad[index + 1])
        return 0.5 * (self.edges_rad[index] + self.edges_rad[0] + TURN_RAD)

    def _pulses(self, shares: list[float], shift_rad: float, share: float) -> list[tuple[float, float]]:
        """Return start and width of the centred pulse of every magnet that has one for this channel."""
        pulses: list[tuple[float, float]] = []
        pitch_rad = self._pitch_rad / float(self.multiple)
        for index in range(len(self.strengths) * self.multiple):
            magnet = index // self.multiple
            width_rad = self.strengths[magnet] * shares[magnet] * share * pitch_rad
            if width_rad > 0.0:
                centre_rad = (float(index) + 0.5) * pitch_rad + shift_rad / float(self.multiple)
                centre_rad += self._offsets_rad[magnet]
                pulses.append((centre_rad - 0.5 * width_rad, width_rad))
        return pulses

    def _pulses_from_start(self, shares: list[float], share: float) -> list[tuple[float, float]]:
        """Return start and width of pulses that start at the same angle whatever their width."""
        pulses: list[tuple[float, float]] = []
        pitch_rad = self._pitch_rad / float(self.multiple)
        for index in range(len(self.strengths) * self.multiple):
            magnet = index // self.multiple
            width_rad = self.strengths[magnet] * shares[magnet] * share * pitch_rad
            if width_rad > 0.0:
                # A twentieth of a pitch in, so that angle 0 is not itself a switching point.
                start_rad = (float(index) + 0.05) * pitch_rad + self._offsets_rad[magnet]
                pulses.append((start_rad, width_rad))
        return pulses


def _distinct(points: list[float]) -> list[float]:
    """Return the points in order; points that differ only by rounding are merged."""
    distinct: list[float] = []
    for point in sorted(points):
        if not distinct or point - distinct[-1] > 1e-9:
            distinct.append(point)
    return distinct


def _inside(angle_rad: float, pulses: list[tuple[float, float]]) -> bool:
    """Whether an angle is inside any of the pulses, including one past the end of the turn."""
    return any((angle_rad - start_rad) % TURN_RAD < width_rad for start_rad, width_rad in pulses)
