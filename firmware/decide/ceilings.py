"""The watts that are allowed: the lowest of the power limit and three fades.

Every ceiling is the power limit times its own fade: speed towards the cut-off (or the start-up
speed while the throttle drives alone), battery voltage towards empty, motor heat towards its limit.
Straight lines, so that no ceiling can make a step in power. Doubt about the readings is not a fade: it
allows nothing.
"""

from firmware.decide.engagement import THROTTLING
from firmware.integers import fading_permille, rising_permille
from firmware.settings import THROTTLE_FREELY, Settings

# Which ceiling is the lowest.
BY_LIMIT = 0
BY_SPEED = 1
BY_BATTERY = 2
BY_HEAT = 3
BY_DOUBT = 4
CEILING_NAMES: tuple[str, ...] = ("power limit", "speed", "battery", "heat", "doubt")


class Ceilings:
    """The upper limits on power. Read: `ceiling_w`, `lowest` (one of the BY_ numbers)."""

    __slots__ = (
        "_battery_empty_mv",
        "_battery_foldback_mv",
        "_cutoff_speed_mm_per_s",
        "_heat_foldback_decicelsius",
        "_heat_limit_decicelsius",
        "_heat_sensor_fitted",
        "_power_limit_w",
        "_startup_limited",
        "_startup_speed_mm_per_s",
        "_taper_start_mm_per_s",
        "ceiling_w",
        "lowest",
    )

    def __init__(self, settings: Settings) -> None:
        """Start with a ceiling of 0."""
        self._power_limit_w = settings.power_limit_w
        self._taper_start_mm_per_s = settings.taper_start_mm_per_s
        self._cutoff_speed_mm_per_s = settings.cutoff_speed_mm_per_s
        self._startup_speed_mm_per_s = settings.startup_speed_mm_per_s
        self._startup_limited = settings.throttle_unpedalled != THROTTLE_FREELY
        self._battery_empty_mv = settings.battery_empty_mv
        self._battery_foldback_mv = settings.battery_foldback_mv
        self._heat_sensor_fitted = settings.heat_sensor_fitted == 1
        self._heat_foldback_decicelsius = settings.heat_foldback_decicelsius
        self._heat_limit_decicelsius = settings.heat_limit_decicelsius
        self.ceiling_w = 0
        self.lowest = BY_LIMIT

    def step(self, state: int, speed_mm_per_s: int, battery_mv: int, motor_decicelsius: int) -> int:
        """Return the watts allowed now, 0 to the power limit; 0 at and above the cut-off speed."""
        lowest_permille = 1000
        self.lowest = BY_LIMIT
        permille = self._speed_permille(state, speed_mm_per_s)
        if permille < lowest_permille:
            lowest_permille = permille
            self.lowest = BY_SPEED
        permille = rising_permille(battery_mv, self._battery_empty_mv, self._battery_foldback_mv)
        if permille < lowest_permille:
            lowest_permille = permille
            self.lowest = BY_BATTERY
        if self._heat_sensor_fitted:
            permille = fading_permille(
                motor_decicelsius, self._heat_foldback_decicelsius, self._heat_limit_decicelsius
            )
            if permille < lowest_permille:
                lowest_permille = permille
                self.lowest = BY_HEAT
        self.ceiling_w = self._power_limit_w * lowest_permille // 1000
        return self.ceiling_w

    def withhold(self) -> None:
        """Allow nothing in this step: the readings are in doubt."""
        self.ceiling_w = 0
        self.lowest = BY_DOUBT

    def _speed_permille(self, state: int, speed_mm_per_s: int) -> int:
        if state == THROTTLING and self._startup_limited:
            startup_mm_per_s = self._startup_speed_mm_per_s
            return fading_permille(speed_mm_per_s, startup_mm_per_s // 2, startup_mm_per_s)
        return fading_permille(speed_mm_per_s, self._taper_start_mm_per_s, self._cutoff_speed_mm_per_s)
