"""The watts that the rider asks for, before any limit."""

from firmware.decide.engagement import ASSISTING, THROTTLING
from firmware.settings import Settings


class Request:
    """What pedals and throttle request. Read: `wanted_w`."""

    __slots__ = ("_assist_power_w", "_throttle_power_w", "wanted_w")

    def __init__(self, settings: Settings) -> None:
        """Start with no request."""
        self._assist_power_w = settings.assist_power_w
        self._throttle_power_w = settings.throttle_power_w
        self.wanted_w = 0

    def step(self, state: int, share_permille: int, throttle_permille: int) -> int:
        """Return the watts wanted in this engagement state, 0 to 1500.

        Pedalling requests assist power times the selector's share; an open throttle requests its own
        power; the larger counts. With the share at 0 only the throttle drives.
        """
        wanted_w = 0
        if state == ASSISTING or state == THROTTLING:
            wanted_w = self._throttle_power_w * throttle_permille // 1000
        if state == ASSISTING:
            wanted_w = max(wanted_w, self._assist_power_w * share_permille // 1000)
        self.wanted_w = wanted_w
        return wanted_w
