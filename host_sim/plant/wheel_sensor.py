"""A magnet in the spokes, or a ring at the hub: one pulse for each part of a wheel turn."""

from host_sim.plant.limits import require, require_whole

_BUFFER_EDGES = 64
_ROUNDING = 1e-9


class WheelSensor:
    """Rising edges from the distance that the wheel has rolled."""

    __slots__ = (
        "_balance",
        "_half_due",
        "_next_m",
        "_spacing_m",
        "edge_count",
        "edge_times_s",
        "pulses_share",
        "working",
    )

    def __init__(self, pulses_per_rev: int, wheel_circumference_m: float, distance_m: float = 0.0) -> None:
        """Start at `distance_m`; the first edge comes half a pulse later. ValueError out of range.

        `pulses_per_rev` 1 to 200, `wheel_circumference_m` 0.3 to 4. `working` may be set to False (no
        pulses: lead torn off, magnet lost) and back at any time, and `pulses_share` to anything from 0 to 2:
        0.5 gives every second pulse, 2 one more halfway to the next, 1.5 every second one of those.
        """
        pulses = require_whole("pulses_per_rev", pulses_per_rev, 1, 200)
        around_m = require("wheel_circumference_m", wheel_circumference_m, 0.3, 4.0, "m")
        self._spacing_m = around_m / float(pulses)
        self._next_m = require("distance_m", distance_m, 0.0, 1e9, "m") + 0.5 * self._spacing_m
        self.working = True
        self.pulses_share = 1.0
        self._balance = 0.0
        self._half_due = False
        self.edge_count = 0
        self.edge_times_s = [0.0] * _BUFFER_EDGES

    def advance(self, from_m: float, to_m: float, start_s: float, elapsed_s: float) -> int:
        """Roll forward, never back, and return the number of rising edges; `edge_times_s` has their times.

        The speed is constant from `from_m` to `to_m` within `elapsed_s` from `start_s`.
        """
        self.edge_count = 0
        if self.pulses_share != 1.0:
            return self._cross_faulty(from_m, to_m, start_s, elapsed_s)
        if to_m < self._next_m:
            return 0
        return self._cross(from_m, to_m, start_s, elapsed_s)

    def _cross(self, from_m: float, to_m: float, start_s: float, elapsed_s: float) -> int:
        """Record every edge up to `to_m`."""
        while self._next_m <= to_m:
            if self.working:
                self._note(self._next_m, from_m, to_m, start_s, elapsed_s)
            self._next_m += self._spacing_m
        return self.edge_count

    def _cross_faulty(self, from_m: float, to_m: float, start_s: float, elapsed_s: float) -> int:
        """Go in steps of half a spacing and give `pulses_share` of the pulses."""
        while True:
            place_m = self._next_m - 0.5 * self._spacing_m if self._half_due else self._next_m
            if place_m > to_m:
                return self.edge_count
            if self._half_due:
                self._balance += max(self.pulses_share - 1.0, 0.0)
                self._half_due = False
            else:
                self._balance += min(self.pulses_share, 1.0)
                self._next_m += self._spacing_m
                self._half_due = self.pulses_share > 1.0
            if self._balance >= 1.0 - _ROUNDING:
                self._balance -= 1.0
                if self.working and place_m >= from_m:
                    self._note(place_m, from_m, to_m, start_s, elapsed_s)

    def _note(self, place_m: float, from_m: float, to_m: float, start_s: float, elapsed_s: float) -> None:
        """Write one edge into the buffer."""
        share = (place_m - from_m) / (to_m - from_m) if to_m > from_m else 0.0
        time_s = start_s + elapsed_s * min(max(share, 0.0), 1.0)
        if self.edge_count == len(self.edge_times_s):
            self.edge_times_s.append(time_s)
        else:
            self.edge_times_s[self.edge_count] = time_s
        self.edge_count += 1
