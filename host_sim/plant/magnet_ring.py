"""Where the magnets of a pedal sensor switch its channels: one turn of the crank as sectors.

A sector is the angle between two neighbouring switching points; within it nothing changes. Magnet i
(counted forward from 0) covers pitch i of the turn. Its pulse on a channel is as wide as the duty share
of the pitch, centred, and moved by half the phase back on the leading channel and forward on the other.
A weak magnet narrows its pulse, as a Hall switch sees a field peak nearer to its threshold; a missing
one gives none. Hall switches of unequal strength may see a magnet on one channel alone, so each channel
has strengths of its own on top. A duty-coded part tells the direction by the share of the pitch it is
high: `duty` turning forward, 1 - `duty` backward. So its pulse ends where the direction puts it, and a
sector between the two ends has one level entered forward and another entered backward.
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
    ) -> None:
        """Take values that PedalSensor has checked; all magnets start at full strength."""
        self._kind = kind
        self._pitch_rad = TURN_RAD / float(pulses_per_rev)
        self._width_share = duty
        self._lead_rad = self._pitch_rad * phase_deg / 720.0 * (1.0 if a_leads else -1.0)
        self._offsets_rad = errors_rad
        self.strengths = [1.0] * pulses_per_rev
        self.a_strengths = [1.0] * pulses_per_rev  # Shares of `strengths`, as channel A sees them.
        self.b_strengths = [1.0] * pulses_per_rev
        self.multiple = 1  # Pulses that each magnet makes: more where a part with more poles was fitted.
        self.edges_rad: list[float] = []
        self.forward_levels: list[int] = []
        self.backward_levels: list[int] = []
        self.build()

    def build(self) -> None:
        """Work the sectors out from the magnets as they are now."""
        a_forward = self._pulses(self.a_strengths, -self._lead_rad, self._width_share)
        if self._kind == DUTY_CODED:
            a_forward = self._pulses_from_start(self._width_share)
            a_backward = self._pulses_from_start(1.0 - self._width_share)
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
        for index in range(len(self.edges_rad)):
            middle_rad = self._middle_rad(index)
            b_level = 2 if _inside(middle_rad, b_pulses) else 0
            self.forward_levels.append(b_level + (1 if _inside(middle_rad, a_forward) else 0))
            self.backward_levels.append(b_level + (1 if _inside(middle_rad, a_backward) else 0))

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
        """Return the middle of a sector; the last one reaches over the end of the turn."""
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

    def _pulses_from_start(self, share: float) -> list[tuple[float, float]]:
        """Return start and width of pulses that start at the same angle whatever their width."""
        pulses: list[tuple[float, float]] = []
        pitch_rad = self._pitch_rad / float(self.multiple)
        for index in range(len(self.strengths) * self.multiple):
            magnet = index // self.multiple
            width_rad = self.strengths[magnet] * self.a_strengths[magnet] * share * pitch_rad
            if width_rad > 0.0:
                # A twentieth of a pitch in, so that angle 0 is not itself a switching point.
                start_rad = (float(index) + 0.05) * pitch_rad + self._offsets_rad[magnet]
                pulses.append((start_rad, width_rad))
        return pulses


def _distinct(points: list[float]) -> list[float]:
    """Return the points in order, with those that differ by rounding only taken as one."""
    distinct: list[float] = []
    for point in sorted(points):
        if not distinct or point - distinct[-1] > 1e-9:
            distinct.append(point)
    return distinct


def _inside(angle_rad: float, pulses: list[tuple[float, float]]) -> bool:
    """Whether an angle lies inside any of the pulses, over the end of the turn as well."""
    return any((angle_rad - start_rad) % TURN_RAD < width_rad for start_rad, width_rad in pulses)
