"""From facts to the one event of this step: the most urgent that holds, in a fixed order."""

from firmware.decide.engagement import (
    BACKWARD,
    BRAKE,
    FAULT,
    NOTHING,
    PEDALLING,
    REST,
    SLOW,
    STOPPED,
    THROTTLE,
    THROTTLE_ALONE,
)
from firmware.decide.pedalling import Pedalling
from firmware.sense.crank import Crank
from firmware.sense.levers import Throttle
from firmware.sense.rotation import Wheel
from firmware.settings import THROTTLE_BELOW_STARTUP_SPEED, THROTTLE_FREELY, Settings

REST_SAMPLES = 20  # 0.1 s, so that a single reading is not taken for a throttle at rest.


class Events:
    """Chooses the event. Its only state is for how many steps the controls have been at rest."""

    __slots__ = (
        "_crank",
        "_pedalling",
        "_rest_samples",
        "_startup_speed_mm_per_s",
        "_throttle",
        "_throttle_unpedalled",
        "_wheel",
    )

    def __init__(
        self, settings: Settings, crank: Crank, pedalling: Pedalling, throttle: Throttle, wheel: Wheel
    ) -> None:
        """Start with the controls not at rest; the components are those that it reads."""
        self._crank = crank
        self._pedalling = pedalling
        self._throttle = throttle
        self._wheel = wheel
        self._throttle_unpedalled = settings.throttle_unpedalled
        self._startup_speed_mm_per_s = settings.startup_speed_mm_per_s
        self._rest_samples = 0

    def choose(self, fault_cause: int, brake_pulled: bool) -> int:
        """Return the most urgent event that holds now."""
        throttle = self._throttle
        if self._crank.standing and throttle.rest_seen and throttle.share_permille == 0:
            self._rest_samples = min(self._rest_samples + 1, REST_SAMPLES)
        else:
            self._rest_samples = 0
        pedalling = self._pedalling
        if fault_cause != 0:
            return FAULT
        if brake_pulled:
            return BRAKE
        if pedalling.backward:
            return BACKWARD
        if pedalling.engages:
            return PEDALLING
        throttle_drives = throttle.share_permille > 0 and self._throttle_may_drive()
        if throttle_drives and (pedalling.stopped or pedalling.slow):
            return THROTTLE_ALONE
        if self._rest_samples == REST_SAMPLES:
            return REST
        if pedalling.stopped:
            return STOPPED
        if pedalling.slow:
            return SLOW
        return THROTTLE if throttle_drives else NOTHING

    def _throttle_may_drive(self) -> bool:
        if self._throttle_unpedalled == THROTTLE_FREELY:
            return True
        return (
            self._throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED
            and self._wheel.speed_mm_per_s < self._startup_speed_mm_per_s
        )
