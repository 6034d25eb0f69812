"""A magnet in the spokes, or a ring at the hub: one pulse for each part of a wheel turn."""

from host_sim.plant.limits import require, require_whole

_BUFFER_EDGES = 64


class WheelSensor:
    """Rising edges from the way the wheel has rolled."""

    __slots__ = ("_next_m", "_spacing_m", "edge_count", "edge_times_s", "working")

    def __init__(self, pulses_per_rev: int, wheel_circumference_m: float, distance_m: float = 0.0) -> None:
        """Stand at `distance_m`; the first edge comes half a pulse later. ValueError out of range.

        `pulses_per_rev` 1 to 200, `wheel_circumference_m` 0.3 to 4. `working` may be set to False (no
        pulses: lead torn off, magnet lost) and back at any time.
        """
        pulses = require_whole("pulses_per_rev", pulses_per_rev, 1, 200)
        around_m = require("wheel_circumference_m", wheel_circumference_m, 0.3, 4.0, "m")
        self._spacing_m = around_m / float(pulses)
        self._next_m = require("distance_m", distance_m, 0.0, 1e9, "m") + 0.5 * self._spacing_m
        self.working = True
        self.edge_count = 0
        self.edge_times_s = [0.0] * _BUFFER_EDGES

    def advance(self, from_m: float, to_m: float, start_s: float, elapsed_s: float) -> int:
        """Roll on, never back, and return how many rising edges came; `edge_times_s` holds their times.

        The speed is taken as even from `from_m` to `to_m` within `elapsed_s` from `start_s`.
        """
        self.edge_count = 0
        if to_m < self._next_m:
            return 0
        return self._cross(from_m, to_m, start_s, elapsed_s)

    def _cross(self, from_m: float, to_m: float, start_s: float, elapsed_s: float) -> int:
        """Note every edge up to `to_m`."""
        count = 0
        while self._next_m <= to_m:
            if self.working:
                share = (self._next_m - from_m) / (to_m - from_m) if to_m > from_m else 0.0
                time_s = start_s + elapsed_s * min(max(share, 0.0), 1.0)
                if count == len(self.edge_times_s):
                    self.edge_times_s.append(time_s)
                else:
                    self.edge_times_s[count] = time_s
                count += 1
            self._next_m += self._spacing_m
        self.edge_count = count
        return count
