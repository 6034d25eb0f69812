"""A magnet ring on the crank and a Hall pickup next to it: levels and edges from the crank angle.

Hall switches do not bounce. Their hysteresis displaces an edge by `hysteresis_deg` when the crank turns back,
so a crank that rocks by less than that gives no edge.
"""

from math import inf, pi

from host_sim.plant.limits import require, require_whole
from host_sim.plant.magnet_ring import DUTY_CODED, ONE_CHANNEL, TWO_CHANNEL, MagnetRing

FREE = 0  # The channel follows the magnets.
STUCK_LOW = 1
STUCK_HIGH = 2
DEAD = 3  # The channel holds the level it had when it died.

_RAD_PER_DEG = pi / 180.0
_BUFFER_EDGES = 64  # More than 5 ms of pedalling ever gives; grows when needed.


class PedalSensor:
    """Edges of channel A and B in the order in which the crank crosses them."""

    __slots__ = (
        "_channel_states",
        "_half_play_rad",
        "_high_rad",
        "_low_rad",
        "_ring",
        "_ring_changed",
        "_sector",
        "_seen_levels",
        "_swapped",
        "_told_levels",
        "_true_levels",
        "edge_count",
        "edge_levels",
        "edge_times_s",
        "levels",
    )

    def __init__(
        self,
        kind: str,
        pulses_per_rev: int,
        a_leads: bool,
        duty: float,
        phase_deg: float,
        angle_errors_deg: list[float],
        hysteresis_deg: float,
        crank_rad: float = 0.0,
        on_b: bool = False,
    ) -> None:
        """Read the levels at `crank_rad`; a value out of range raises ValueError.

        `kind`: "two_channel", "one_channel" or "duty_coded"; `pulses_per_rev` 1 to 128. `a_leads`: channel A
        changes first when turning forward. `duty` (0.1 to 0.9) is the high share of a pitch; for a duty-coded
        sensor it is at least 0.05 away from 0.5, where it shows no direction. `phase_deg` (5 to 175) is
        between A and B in electrical degrees, 360 a pitch. `angle_errors_deg` has one error per magnet, or
        none at all, each up to half a pitch, in degrees of the crank. `hysteresis_deg` 0 to 20 degrees of the
        crank. `levels`: bit 0 is channel A, bit 1 channel B. A single channel is on A, or `on_b`.
        """
        if on_b and kind == TWO_CHANNEL:
            raise ValueError("on_b is for a sensor with a single channel")
        if kind not in (TWO_CHANNEL, ONE_CHANNEL, DUTY_CODED):
            raise ValueError(f'kind must be "two_channel", "one_channel" or "duty_coded", got {kind!r}')
        pulses = require_whole("pulses_per_rev", pulses_per_rev, 1, 128)
        duty = require("duty", duty, 0.1, 0.9)
        if kind == DUTY_CODED and 0.45 < duty < 0.55:
            raise ValueError(f"duty of a duty-coded sensor must be 0.1 to 0.45 or 0.55 to 0.9, got {duty!r}")
        phase_deg = require("phase_deg", phase_deg, 5.0, 175.0, "degrees")
        if len(angle_errors_deg) not in (0, pulses):
            raise ValueError(
                f"angle_errors_deg must have {pulses} or no entries, got {len(angle_errors_deg)}"
            )
        errors_rad = [0.0] * pulses
        half_pitch_deg = 180.0 / float(pulses)
        for index, error_deg in enumerate(angle_errors_deg):
            name = f"angle_errors_deg[{index}]"
            error_deg = require(name, error_deg, -half_pitch_deg, half_pitch_deg, "degrees")
            errors_rad[index] = error_deg * _RAD_PER_DEG
        hysteresis_deg = require("hysteresis_deg", hysteresis_deg, 0.0, 20.0, "degrees")
        self._half_play_rad = 0.5 * hysteresis_deg * _RAD_PER_DEG
        self._ring = MagnetRing(kind, pulses, a_leads, duty, phase_deg, errors_rad, on_b)
        self._channel_states = [FREE, FREE]
        self._seen_levels = [0, 1, 2, 3]
        self._swapped = False
        self._true_levels = 0
        self.edge_count = 0
        self.edge_levels = [0] * _BUFFER_EDGES
        self.edge_times_s = [0.0] * _BUFFER_EDGES
        self._locate(crank_rad)
        self.levels = self._told_levels = self._true_levels

    def advance(self, from_rad: float, to_rad: float, start_s: float, elapsed_s: float) -> int:
        """Turn the crank and return how many edges it gave; `edge_levels` and `edge_times_s` hold them.

        The crank turns evenly from `from_rad` to `to_rad` (unwrapped, each `from_rad` the last `to_rad`)
        in `elapsed_s` from `start_s`; edge times are interpolated. A change made by a fault since the last
        call counts as an edge at `start_s`.
        """
        self.edge_count = 0
        if self._low_rad <= to_rad < self._high_rad:
            return 0
        return self._cross(from_rad, to_rad, start_s, elapsed_s)

    def set_channel(self, channel: int, state: int) -> None:
        """Break or mend channel 0 (A) or 1 (B): FREE, STUCK_LOW, STUCK_HIGH or DEAD, else ValueError."""
        require_whole("channel", channel, 0, 1)
        require_whole("state", state, FREE, DEAD)
        if state == DEAD:
            wire = 1 - channel if self._swapped else channel
            state = STUCK_HIGH if self.levels >> wire & 1 else STUCK_LOW
        self._channel_states[channel] = state
        self._show()

    def swap_channels(self, swapped: bool) -> None:
        """Swap the wires of A and B behind the channels, or restore them."""
        self._swapped = swapped
        self._show()

    def set_magnet(self, index: int, strength: float) -> None:
        """Set a magnet's strength, 0 (missing) to 1 (normal), from the next `advance` on; ValueError else."""
        self._set_strength(self._ring.strengths, index, strength)

    def set_magnet_on_channel(self, channel: int, index: int, share: float) -> None:
        """Set what channel 0 (A) or 1 (B) sees of a magnet: 0 nothing, 1 its full strength."""
        require_whole("channel", channel, 0, 1)
        self._set_strength(self._ring.b_strengths if channel else self._ring.a_strengths, index, share)

    def multiply_pulses(self, multiple: int) -> None:
        """Let each magnet make 1 to 4 pulses, like a ring with so many times the poles."""
        self._ring.multiple = require_whole("multiple", multiple, 1, 4)
        self._rebuild()

    def _set_strength(self, strengths: list[float], index: int, strength: float) -> None:
        require_whole("index", index, 0, len(strengths) - 1)
        strengths[index] = require("strength", strength, 0.0, 1.0)
        self._rebuild()

    def _rebuild(self) -> None:
        self._ring.build()
        self._ring_changed = True
        self._call_slow_path()

    def _call_slow_path(self) -> None:
        """Make the next `advance` check for edges, whatever its angle."""
        self._low_rad = inf
        self._high_rad = -inf

    def _show(self) -> None:
        """Compute which levels are seen for each pair of true levels, and show the present ones."""
        for true_levels in range(4):
            seen = 0
            for channel in range(2):
                state = self._channel_states[channel]
                level = true_levels >> channel & 1 if state == FREE else state - STUCK_LOW
                seen |= level << (1 - channel if self._swapped else channel)
            self._seen_levels[true_levels] = seen
        self.levels = self._seen_levels[self._true_levels]
        self._call_slow_path()

    def _locate(self, crank_rad: float) -> None:
        """Find sector and true levels from the angle, as if it had been reached turning forward."""
        ring = self._ring
        self._ring_changed = False
        self._sector = ring.sector_of(crank_rad)
        count = len(ring.edges_rad)
        self._true_levels = ring.forward_levels[self._sector % count] if count else 0
        self._bound()

    def _bound(self) -> None:
        """Set the crank angles that bound the present sector, hysteresis included."""
        if self._ring.edges_rad:
            self._low_rad = self._ring.start_rad(self._sector) - self._half_play_rad
            self._high_rad = self._ring.start_rad(self._sector + 1) + self._half_play_rad
        else:
            self._low_rad = -inf
            self._high_rad = inf

    def _cross(self, from_rad: float, to_rad: float, start_s: float, elapsed_s: float) -> int:
        """Go from sector to sector and record what the pickup sees at each border."""
        if self._ring_changed:
            self._locate(from_rad)
            self.levels = self._seen_levels[self._true_levels]
        elif self._low_rad > self._high_rad:  # See `_call_slow_path`.
            self._bound()
        if self.levels != self._told_levels:
            self._note(start_s)
        ring = self._ring
        count = len(ring.edges_rad)
        while to_rad >= self._high_rad:
            border_rad = self._high_rad
            self._sector += 1
            self._enter(
                ring.forward_levels[self._sector % count], border_rad, from_rad, to_rad, start_s, elapsed_s
            )
        while to_rad < self._low_rad:
            border_rad = self._low_rad
            self._sector -= 1
            self._enter(
                ring.backward_levels[self._sector % count], border_rad, from_rad, to_rad, start_s, elapsed_s
            )
        return self.edge_count

    def _enter(
        self,
        true_levels: int,
        border_rad: float,
        from_rad: float,
        to_rad: float,
        start_s: float,
        elapsed_s: float,
    ) -> None:
        """Store the levels of the sector just entered, and the time at which its border was crossed."""
        self._bound()
        self._true_levels = true_levels
        self.levels = self._seen_levels[true_levels]
        if self.levels != self._told_levels:
            share = (border_rad - from_rad) / (to_rad - from_rad) if to_rad != from_rad else 0.0
            # If a new magnet strength moved a border behind the crank, it counts at once.
            self._note(start_s + elapsed_s * min(max(share, 0.0), 1.0))

    def _note(self, time_s: float) -> None:
        """Write one edge into the buffers."""
        index = self.edge_count
        if index == len(self.edge_times_s):
            self.edge_times_s.append(time_s)
            self.edge_levels.append(self.levels)
        else:
            self.edge_times_s[index] = time_s
            self.edge_levels[index] = self.levels
        self._told_levels = self.levels
        self.edge_count = index + 1
