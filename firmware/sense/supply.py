"""Battery voltage and current to smoothed values and power.

Both are first-order low-pass filters in integers: the state is the value times a power of two, so
rounding loses nothing. Current settles in about four steps (20 ms), fast against the power loop;
voltage in about 32 (160 ms), slow against it, so that the fold-back and the loop do not excite each
other.
"""

from firmware.integers import clamp

READING_MAX = 100_000  # mV and mA: the product in watts stays within a small int.
CURRENT_SHIFT = 2
VOLTAGE_SHIFT = 5


class Supply:
    """The battery side. Read: `battery_mv`, `current_ma` (both smoothed), `power_w`."""

    __slots__ = ("_current_sum", "_started", "_voltage_sum", "battery_mv", "current_ma", "power_w")

    def __init__(self) -> None:
        """Start with no reading: the first one sets the voltage at once."""
        self._voltage_sum = 0
        self._current_sum = 0
        self._started = False
        self.battery_mv = 0
        self.current_ma = 0
        self.power_w = 0

    def step(self, battery_mv: int, current_ma: int) -> None:
        """Take this step's readings; outside 0 to READING_MAX the nearest end counts."""
        battery_mv = clamp(battery_mv, 0, READING_MAX)
        current_ma = clamp(current_ma, 0, READING_MAX)
        if not self._started:
            self._started = True
            self._voltage_sum = battery_mv << VOLTAGE_SHIFT
        self._voltage_sum += battery_mv - (self._voltage_sum >> VOLTAGE_SHIFT)
        self._current_sum += current_ma - (self._current_sum >> CURRENT_SHIFT)
        self.battery_mv = self._voltage_sum >> VOLTAGE_SHIFT
        self.current_ma = self._current_sum >> CURRENT_SHIFT
        # mV/10 times mA is 10 nW: 10_000 times 100_000 still fits.
        self.power_w = self.battery_mv // 10 * self.current_ma // 100_000
