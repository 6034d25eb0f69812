"""From watts to a target voltage: a PI loop on electrical power, or the open map without a shunt.

The integral follows the command that was really sent (slewed, gated, clamped), with the integral time
as its lag. While nothing limits the command this is the ordinary PI
law, u = K e + I with dI/dt = K e / Ti; while something does, the integral follows the limit and
cannot wind up. This is back-calculation with the tracking time equal to the integral time.

Within the motor controller's dead band nothing happens, so the command starts at its end.
"""

from firmware.integers import clamp
from firmware.settings import Settings
from firmware.ticks import ticks_diff_us

POWER_MAX_W = 3000  # A reading above counts as this much: twice the highest power limit.
ELAPSED_MAX_UNITS = 200  # Units of 100 us: 20 ms. A longer gap counts as this much.
_US_PER_UNIT = 100
_UNITS_PER_MS = 10
_UV_PER_MV = 1000


class PowerLoop:
    """PI control of battery power in integers.

    Gain in microvolts of command per watt of error, integral time in milliseconds, state in
    microvolts above the dead band. Differences of at most 5_000_000 uV times 200 units fit 2**30.
    """

    __slots__ = (
        "_carry",
        "_gain_uv_per_w",
        "_integral_units",
        "_integral_uv",
        "_last_us",
        "_open_map_full_w",
        "_range_uv",
        "_shunt_fitted",
        "_start_mv",
        "_target_uv",
        "target_mv",
    )

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Start at rest, target 0 mV."""
        self._shunt_fitted = settings.shunt_fitted == 1
        self._start_mv = settings.command_start_mv
        self._range_uv = (settings.command_max_mv - settings.command_start_mv) * _UV_PER_MV
        self._gain_uv_per_w = settings.gain_uv_per_w
        self._integral_units = settings.integral_ms * _UNITS_PER_MS
        self._open_map_full_w = settings.open_map_full_w
        self.rest(now_us)

    def rest(self, now_us: int) -> None:
        """Request no power and reset the integral."""
        self._integral_uv = 0
        self._target_uv = 0
        self._carry = 0
        self._last_us = now_us
        self.target_mv = 0

    def preset(self, applied_mv: int) -> None:
        """Start from the last command sent."""
        self._integral_uv = clamp((applied_mv - self._start_mv) * _UV_PER_MV, 0, self._range_uv)
        self._carry = 0

    def shift(self, change_uv: int) -> None:
        """Move the integral by the change that the motor is known to need."""
        self._integral_uv = clamp(self._integral_uv + change_uv, 0, self._range_uv)

    def step(self, allowed_w: int, power_w: int, applied_mv: int, now_us: int) -> int:
        """Return the target voltage for `allowed_w`, 1 to 1500.

        `power_w` is what the battery gives, `applied_mv` the last command sent.
        """
        if self._shunt_fitted:
            self._follow(applied_mv, now_us)
            error_w = allowed_w - min(power_w, POWER_MAX_W)
            self._target_uv = clamp(self._gain_uv_per_w * error_w + self._integral_uv, 0, self._range_uv)
        else:
            share_uv = self._range_uv // self._open_map_full_w * allowed_w
            self._target_uv = min(share_uv, self._range_uv)
        self.target_mv = self._start_mv + self._target_uv // _UV_PER_MV
        return self.target_mv

    def _follow(self, applied_mv: int, now_us: int) -> None:
        """Let the integral follow the command that was sent, with the integral time as its lag."""
        units = clamp(ticks_diff_us(now_us, self._last_us) // _US_PER_UNIT, 0, ELAPSED_MAX_UNITS)
        self._last_us = now_us
        # If the command was sent as requested, the request is known more finely than in mV.
        applied_uv = self._target_uv
        if applied_mv != self.target_mv:
            applied_uv = clamp((applied_mv - self._start_mv) * _UV_PER_MV, 0, self._range_uv)
        change = self._carry + (applied_uv - self._integral_uv) * units
        step_uv = change // self._integral_units
        self._carry = change - step_uv * self._integral_units
        # No clamp: a lag never overshoots what it follows, and that is within the range.
        self._integral_uv += step_uv
