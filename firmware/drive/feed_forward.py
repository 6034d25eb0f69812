"""On the speed kind: reach the back-EMF quickly, then follow it.

Below the back-EMF a motor controller of the speed kind draws nothing, so a command that rises from the dead
band at the rise rate gives no help until it gets there. The command therefore seeks the back-EMF:
quickly to NEAR_PERMILLE of the model's value, then more slowly until current flows. The model may be
wrong by a fifth either way and wheel pulses may be doubled, so only the current shows where the back-EMF is:
the command then returns to where the motor draws nothing, and the power loop takes over from there. A
battery that sags without a current reading ends the search as well.

From then on every change of the back-EMF moves the command: a wheel that slows down on a slope would
otherwise draw more and more until the power loop has caught up. The measured speed is late, so a fall counts
a quarter more than it shows.
"""

from firmware.records import Inputs
from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import SAG_MV, ShuntWatch
from firmware.settings import Settings

NEAR_PERMILLE = 430  # Doubled wheel pulses bring it just below the back-EMF.
NEAR_RATE_PERCENT = 19  # From there on: when current flows, no more jerk than at the rise rate.
FURTHEST_PERMILLE = 1300  # Settings a fifth too low still reach it; beyond, the power loop rises alone.
FURTHEST_MORE_MV = 2_000  # What the lags of the first reading add, at low speed too.
FIRST_CURRENT_MA = 150  # More than noise, and more than the motor draws when it turns freely.


class FeedForward:
    """Seeks the back-EMF, then follows it.

    Read: `seek_mv`, the command to seek, or 0, and its rate `rise_mv_per_s`; `found_mv`, the command of the
    back-EMF in the step that finds it, else 0; `change_uv`, what to add to the command in this step.
    """

    __slots__ = (
        "_flows",
        "_followed_mv",
        "_model",
        "_no_load_ma",
        "_rate_mv_per_s",
        "_seeking",
        "_shunt",
        "_wheel",
        "change_uv",
        "found_mv",
        "rise_mv_per_s",
        "seek_mv",
    )

    def __init__(self, settings: Settings, model: MotorModel, wheel: Wheel, shunt: ShuntWatch) -> None:
        """Start at rest; the components are those that it reads."""
        self._model = model
        self._wheel = wheel
        self._shunt = shunt
        self._no_load_ma = settings.no_load_current_ma
        self._rate_mv_per_s = settings.seek_mv_per_s
        self.rest()

    def rest(self) -> None:
        """The command is 0, so the next one seeks."""
        self._stop_seeking()
        self._seeking = self._rate_mv_per_s > 0
        self._flows = False
        self._followed_mv = -1
        self.change_uv = 0
        self.found_mv = 0

    def step(self, inputs: Inputs, command_mv: int) -> None:
        """Compute what to seek or to add; `command_mv` (0 to 5000) is the last command sent."""
        self.change_uv = 0
        self.found_mv = 0
        if not (self._model.known and self._model.speed_kind):
            return
        if self._seeking:
            self._seek(inputs, command_mv)
        else:
            self._follow()

    def _seek(self, inputs: Inputs, command_mv: int) -> None:
        model = self._model
        free_ma = self._no_load_ma * (model.motor_mv // 10) // max(model.battery_mv // 10, 1)
        flowed = self._flows
        self._flows = inputs.current_ma >= self._shunt.rest_peak_ma + free_ma * 5 // 4 + FIRST_CURRENT_MA
        if self._flows and flowed:  # Twice in a row: one reading may be noise.
            if command_mv > 0:
                self.found_mv = model.found_emf_mv(inputs.current_ma)
            self._stop_seeking()
        elif inputs.battery_mv < self._shunt.rest_mv - SAG_MV:
            self._stop_seeking()
        else:
            self._aim(command_mv)

    def _aim(self, command_mv: int) -> None:
        """Choose how far to seek, and how fast."""
        model = self._model
        near_mv = model.command_for(model.back_emf_mv * NEAR_PERMILLE // 1000)
        furthest_mv = model.command_for(model.back_emf_mv * FURTHEST_PERMILLE // 1000 + FURTHEST_MORE_MV)
        if command_mv < near_mv:
            self.seek_mv = near_mv
            self.rise_mv_per_s = self._rate_mv_per_s
        elif command_mv < furthest_mv:
            self.seek_mv = furthest_mv
            self.rise_mv_per_s = self._rate_mv_per_s * NEAR_RATE_PERCENT // 100
        else:
            self._stop_seeking()

    def _stop_seeking(self) -> None:
        self._seeking = False
        self.seek_mv = 0
        self.rise_mv_per_s = 0

    def _follow(self) -> None:
        """Follow only the speed, not what else moves the model; upward only what two periods agree on."""
        emf_mv = self._model.plain_emf_mv
        gained_mv = emf_mv - self._followed_mv
        if self._followed_mv >= 0 and (gained_mv < 0 or self._wheel.steady):
            self.change_uv = self._model.command_change_uv(gained_mv * 5 // 4 if gained_mv < 0 else gained_mv)
        self._followed_mv = emf_mv
