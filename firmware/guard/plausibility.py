"""Finds readings that contradict one another, and decides what follows: first doubt, then a fault.

The motor model predicts what the motor does at this command, speed and battery voltage. The readings
contradict it when the motor must draw current and none is read, when less power is read than it must draw,
or when it turns faster than the wheel sensor shows. A contradiction must last. Since a slipping wheel, or a
motor controller that cuts out for a moment, could explain it, help is first withheld for a while and tried
again; only if it recurs is it a fault. A shunt that the battery voltage shows to be dead or stuck is one at
once: nothing healthy looks like that.

The tolerances allow for settings that are wrong by a fifth. Below a quarter of the cut-off speed the
drop in the winding, the least certain of the settings, outweighs the back-EMF, and the wheel is not judged.
"""

from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import SILENT_MA, ShuntWatch
from firmware.sense.supply import Supply
from firmware.settings import Settings

# The measured value against the least it must be.
PLAUSIBLE = 0
MOTOR_SILENT = 1
POWER_LOW = 2
WHEEL_SLOW = 3

LASTING_STEPS = 60  # 0.3 s; none of some thousand healthy rides reached more than half of it.
SILENT_STEPS = 40  # 0.2 s.
WITHHELD_STEPS = 180  # 0.9 s: the wheel grips again, the motor controller has seen a command of zero.
FORGIVEN_STEPS = 1_000  # After 5 s without a suspicion the earlier ones are forgotten: a fault recurs sooner.
SUSPICIONS_MAX = 2  # The second of a kind in a row is a fault,
WHEEL_SUSPICIONS_MAX = 3  # the third where a slipping wheel explains it: on ice it may slip twice.
TOLERANCE_MV = 1_500
TOLERANCE_W = 40
SILENT_LEAST_W = 30
LEARN_AFTER_STEPS = 100
LEARN_LEAST_W = 60


class Plausibility:
    """Judges the readings together.

    Read: `withheld`: no help may be given now; and the faults, each True from the step that finds it until
    the command is back at zero: `motor_silent`, `power_low`, `wheel_slow`, `shunt_dead`, `shunt_stuck`.
    """

    __slots__ = (
        "_contradiction",
        "_driven_steps",
        "_judged_emf_mv",
        "_lasting_steps",
        "_model",
        "_shunt",
        "_start_mv",
        "_supply",
        "_suspected",
        "_suspicions",
        "_unsuspected_steps",
        "_wheel",
        "_withheld_steps",
        "motor_silent",
        "power_low",
        "shunt_dead",
        "shunt_stuck",
        "wheel_slow",
        "withheld",
    )

    def __init__(
        self, settings: Settings, model: MotorModel, shunt: ShuntWatch, wheel: Wheel, supply: Supply
    ) -> None:
        """Start without a suspicion; the components are those to be compared."""
        self._model = model
        self._shunt = shunt
        self._wheel = wheel
        self._supply = supply
        self._start_mv = settings.command_start_mv
        judged_mm_per_s = settings.cutoff_speed_mm_per_s // 4
        self._judged_emf_mv = settings.back_emf_mv_per_m_per_s * judged_mm_per_s // 1000
        self.forget()
        self._rest()

    def _rest(self) -> None:
        self._contradiction = PLAUSIBLE
        self._lasting_steps = 0
        self._driven_steps = 0
        self.motor_silent = False
        self.power_low = False
        self.wheel_slow = False
        self.shunt_dead = False
        self.shunt_stuck = False

    def forget(self) -> None:
        """Forget every suspicion: a fault has been cleared."""
        self._suspected = PLAUSIBLE
        self._suspicions = 0
        self._unsuspected_steps = 0
        self._withheld_steps = 0
        self.withheld = False

    def step(self, command_mv: int) -> None:
        """Compare once; `command_mv` (0 to 5000) is the last command sent."""
        if not self._model.known:
            return
        self._withheld_steps = max(self._withheld_steps - 1, 0)
        self.withheld = self._withheld_steps > 0
        self._unsuspected_steps += 1
        if self._unsuspected_steps >= FORGIVEN_STEPS:
            self._suspicions = 0
            self._unsuspected_steps = 0
        if command_mv <= self._start_mv:
            self._rest()
            return
        self._driven_steps = min(self._driven_steps + 1, LEARN_AFTER_STEPS)
        self._judge_shunt()
        self._judge_motor()

    def _judge_shunt(self) -> None:
        shunt = self._shunt
        self.shunt_stuck = shunt.stuck
        if shunt.fallen or (shunt.sags and shunt.drawn):
            self._withhold()
        elif shunt.sags:
            self.shunt_dead = True

    def _judge_motor(self) -> None:
        found = self._compare()
        if found != self._contradiction:
            self._contradiction = found
            self._lasting_steps = 0
        if found == PLAUSIBLE:
            self._learn()
            return
        self._lasting_steps += 1
        if self._lasting_steps < (SILENT_STEPS if found == MOTOR_SILENT else LASTING_STEPS):
            return
        self._lasting_steps = 0
        self._withhold()
        if found != self._suspected:
            self._suspected = found
            self._suspicions = 0
        self._suspicions += 1
        if self._suspicions >= (WHEEL_SUSPICIONS_MAX if found == WHEEL_SLOW else SUSPICIONS_MAX):
            self.motor_silent = found == MOTOR_SILENT
            self.power_low = found == POWER_LOW
            self.wheel_slow = found == WHEEL_SLOW

    def _withhold(self) -> None:
        self._withheld_steps = WITHHELD_STEPS
        self._unsuspected_steps = 0
        self.withheld = True

    def _compare(self) -> int:
        """Return which contradiction holds now."""
        model = self._model
        power_w = self._supply.power_w
        silent = abs(self._supply.current_ma - self._shunt.rest_ma) <= SILENT_MA
        judged = model.highest_emf_mv >= self._judged_emf_mv or self._wheel.speed_mm_per_s == 0
        if model.speed_kind:
            allowed_mv = model.highest_emf_mv * 5 // 4 + model.drop_mv // 3 + TOLERANCE_MV
            if model.limited(power_w) or model.motor_mv - model.drop_mv <= allowed_mv:
                return PLAUSIBLE
            if silent:
                return MOTOR_SILENT
            return WHEEL_SLOW if judged else PLAUSIBLE
        if judged and power_w > model.most_w * 5 // 4 + TOLERANCE_W:
            return WHEEL_SLOW
        if silent and model.least_w >= SILENT_LEAST_W:
            return MOTOR_SILENT
        return POWER_LOW if power_w < model.least_w * 3 // 4 - TOLERANCE_W else PLAUSIBLE

    def _learn(self) -> None:
        """Let the model learn while the ride is steady and neither it nor a limit is in doubt."""
        power_w = self._supply.power_w
        steady = self._driven_steps == LEARN_AFTER_STEPS and self._wheel.steady
        if steady and power_w > LEARN_LEAST_W and not self._model.limited(power_w):
            self._model.learn(power_w)
