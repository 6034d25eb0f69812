"""Checks the current reading against the battery voltage, which any current changes.

Three signs, checked while the motor is commanded above the dead band:

* the reading sags: no current is read, but the battery voltage is below its value at rest;
* the reading is stuck: it stays exactly the same while the battery voltage changes;
* the reading has fallen: it drops by a large part within some steps although the command did not fall. A
  wheel that slips, or a motor controller that cuts out, looks the same.
"""

from firmware.records import Inputs
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_UNKNOWN, Settings

SILENT_MA = 150  # Within this of the reading at rest there is no current: above a shunt's noise and steps.
SAG_MV = 300  # Well above the noise of a battery reading, well below a motor's sag; judgement.
SAG_STEPS = 12  # 60 ms.
STUCK_STEPS = 20  # 0.1 s.
MEAN_SHIFT = 4  # A fall is compared with the mean over about 16 steps, 80 ms.
PEAK_SHIFT = 7  # A peak is forgotten in about 128 steps, 0.6 s.
FALLEN_PERCENT = 40
FALL_COMMAND_MV = 20
# The steepest change of speed that a road causes within the time of a fall: 0.2 m/s in 0.1 s.
FALL_MM_PER_S = 200


class ShuntWatch:
    """Watches the current reading.

    Read: `sags`, `stuck`, `fallen`; `drawn`, whether current was read since the command left the dead band,
    and `lapsed`, whether it was and is not read now; `rest_ma` and `rest_mv`, the current and the battery
    voltage while the command was last in it; `rest_peak_ma`, the highest raw current seen there lately, and
    how far noise alone reaches.
    """

    __slots__ = (
        "_command_sum",
        "_current_sum",
        "_fall_least_ma",
        "_known",
        "_last_ma",
        "_sag_steps",
        "_start_mv",
        "_stuck_least_ma",
        "_stuck_mv",
        "_stuck_steps",
        "_supply",
        "drawn",
        "fallen",
        "lapsed",
        "rest_ma",
        "rest_mv",
        "rest_peak_ma",
        "sags",
        "stuck",
    )

    def __init__(self, settings: Settings, supply: Supply) -> None:
        """Start at rest. `supply` holds the smoothed readings."""
        self._supply = supply
        self._known = settings.motor_kind != MOTOR_UNKNOWN and settings.shunt_fitted == 1
        self._start_mv = settings.command_start_mv
        # A change of speed is a change of back-EMF, which the winding's resistance turns into current.
        fall_mv = settings.back_emf_mv_per_m_per_s * FALL_MM_PER_S // 1000
        self._fall_least_ma = fall_mv * 1000 // settings.motor_resistance_mohm
        # A motor that turns freely is steady too.
        self._stuck_least_ma = 2 * settings.no_load_current_ma + 1000
        self._last_ma = 0
        self._stuck_mv = 0
        self.rest_mv = 0
        self.rest_peak_ma = 0
        self._rest(0)

    def step(self, inputs: Inputs, command_mv: int) -> None:
        """Check this step's raw readings; `command_mv` (0 to 5000) is the last command sent."""
        if not self._known:
            return
        if command_mv <= self._start_mv:
            self.rest_peak_ma = max(inputs.current_ma, self.rest_peak_ma - (self.rest_peak_ma >> PEAK_SHIFT))
            self._rest(command_mv)
            # Whichever is lower: the smoothed voltage lags behind a battery that has just given way.
            self.rest_mv = min(self._supply.battery_mv, inputs.battery_mv)
            return
        self._look_for_sag(inputs.battery_mv)
        self._look_for_standstill(inputs.current_ma, inputs.battery_mv)
        self._look_for_fall(command_mv)

    def _rest(self, command_mv: int) -> None:
        self.sags = False
        self.stuck = False
        self.fallen = False
        self.drawn = False
        self.lapsed = False
        self._sag_steps = 0
        self._stuck_steps = 0
        self.rest_ma = self._supply.current_ma
        self._current_sum = self.rest_ma << MEAN_SHIFT
        self._command_sum = command_mv << MEAN_SHIFT

    def _look_for_sag(self, battery_mv: int) -> None:
        if abs(self._supply.current_ma - self.rest_ma) > SILENT_MA:
            self.drawn = True
            self.lapsed = False
            self._sag_steps = 0
            self.sags = False
            return
        self.lapsed = self.drawn
        if battery_mv > self.rest_mv - SAG_MV:
            self._sag_steps = 0
        else:
            self._sag_steps = min(self._sag_steps + 1, SAG_STEPS)
        self.sags = self._sag_steps == SAG_STEPS

    def _look_for_standstill(self, current_ma: int, battery_mv: int) -> None:
        if current_ma != self._last_ma or current_ma < self._stuck_least_ma:
            self._last_ma = current_ma
            self._stuck_mv = battery_mv
            self._stuck_steps = 0
            self.stuck = False
            return
        self._stuck_steps = min(self._stuck_steps + 1, STUCK_STEPS)
        self.stuck = self._stuck_steps == STUCK_STEPS and abs(battery_mv - self._stuck_mv) >= SAG_MV

    def _look_for_fall(self, command_mv: int) -> None:
        mean_ma = self._current_sum >> MEAN_SHIFT
        mean_mv = self._command_sum >> MEAN_SHIFT
        fallen_ma = mean_ma - self._supply.current_ma
        self._current_sum -= fallen_ma
        self._command_sum += command_mv - mean_mv
        steep = fallen_ma > self._fall_least_ma and fallen_ma * 100 > mean_ma * FALLEN_PERCENT
        self.fallen = steep and command_mv > mean_mv - FALL_COMMAND_MV
