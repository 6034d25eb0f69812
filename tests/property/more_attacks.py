"""Mistakes as others would plant them: on a rare kind of bicycle, at a border, after a rare event.

Rows as in `attacks.py`.
"""

from tests.planting import Mistake
from tests.property.planted_mistakes import Row

MORE_ATTACKS = {
    "with six positions the last two shares are swapped": Row(
        Mistake(
            "sense/levers.py",
            "Selector.step",
            "self.share_permille = self._shares_permille[self.position]",
            "self.share_permille = self._shares_permille[9 - self.position if self.position > 3"
            " and self._positions == 6 else self.position]",
        ),
        "levers",
        "exact Selector.step",
    ),
    "a switch flickers between two positions": Row(
        Mistake("sense/levers.py", "Selector.step", "750", "499"),
        "levers",
        "exact Selector.step",
    ),
    "a throttle is at rest up to a quarter of its turn": Row(
        Mistake(
            "sense/levers.py",
            "Throttle.step",
            "throttle_mv <= self._rest_mv",
            "throttle_mv <= self._rest_mv + (self._full_mv - self._rest_mv >> 2)",
        ),
        "throttle",
        "exact Throttle.step",
    ),
    "a broken throttle wire counts as rest": Row(
        Mistake(
            "sense/levers.py",
            "Throttle.step",
            "if self.wire_open or self.wire_shorted:\n    self.share_permille = 0\n"
            "elif throttle_mv <= self._rest_mv:\n    self.rest_seen = True\n    self.share_permille = 0\n"
            "elif self.rest_seen:\n"
            "    self.share_permille = rising_permille(throttle_mv, self._rest_mv, self._full_mv)",
            "if self.wire_shorted:\n    self.share_permille = 0\n"
            "elif throttle_mv <= self._rest_mv:\n    self.rest_seen = True\n    self.share_permille = 0\n"
            "elif self.rest_seen:\n"
            "    self.share_permille = rising_permille(throttle_mv, self._rest_mv, self._full_mv)",
        ),
        "throttle",
        "exact Throttle.step",
    ),
    "the gate has seen a throttle at rest whose wire is broken": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._look_for_rest",
            "settings.throttle_open_mv <= throttle_mv <= settings.throttle_rest_mv",
            "throttle_mv <= settings.throttle_rest_mv",
        ),
        "throttle",
        "exact OutputGuard._look_for_rest",
    ),
    "the gate forgets the wheel after a tenth of a second": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._slowest_period_us",
            "waited_us > _WHEEL_STILL_US",
            "waited_us > _WHEEL_STILL_US // 30",
        ),
        "cut-off",
        "exact OutputGuard._slowest_period_us",
    ),
    "the gate lets the wheel's bounces stretch its period": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.wheel_edge",
            "if period_us < self._cutoff_period_us >> 2:\n    return",
            "if period_us < self._cutoff_period_us >> 2:\n    self._wheel_us = time_us\n    return",
        ),
        "cut-off",
        "exact OutputGuard.wheel_edge",
    ),
    "the gate keeps the distance of ten turns": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._distance_us",
            "return min(period_us, self._longest_period_us) * self._cutoff_pulses_percent // 100",
            "return min(period_us, self._longest_period_us) * self._cutoff_pulses_percent // 10",
        ),
        "stop",
        "exact OutputGuard._forget_the_old",
    ),
    "the gate makes up no edge after a rest of the clock": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._clock_went_back",
            "self._edge_us = now_us",
            "self._edge_us = now_us\nself._behind = 0",
        ),
        "clock back",
        "exact OutputGuard._clock_went_back",
    ),
    "edges to make up are forgotten when the crank turns back further": Row(
        Mistake(
            "sense/crank.py",
            "Crank._go_backward",
            "self._behind = min(self._behind + edges, BEHIND_MAX)",
            "self._behind = (self._behind + edges) & 3",
        ),
        "stop",
        "exact Crank._go_backward",
    ),
    "the run of backward edges ends with a standstill of the wheel": Row(
        Mistake(
            "decide/pedalling.py",
            "Pedalling.step",
            "self.backward = crank.backward_run >= self._backward_edges",
            "self.backward = crank.backward_run >= self._backward_edges and speed_mm_per_s > 0",
        ),
        "backward",
        "exact Pedalling.step",
    ),
    "pedalling that has stopped needs no new run of edges": Row(
        Mistake(
            "decide/pedalling.py",
            "Pedalling.step",
            "self.stopped = True\ncrank.forget_run()",
            "self.stopped = True",
        ),
        "table",
        "exact Pedalling.step",
    ),
    "the cut-off distance counts from 10 s on": Row(
        Mistake(
            "decide/pedalling.py",
            "Pedalling._stop_gap_us",
            "if left_ms <= 0:\n    return 0",
            "if left_ms < 0:\n    return gap_us",
        ),
        "stop",
        "exact Pedalling.step",
    ),
    "rest is seen after one reading": Row(
        Mistake(
            "decide/events.py",
            "Events.choose",
            "self._rest_samples = min(self._rest_samples + 1, REST_SAMPLES)",
            "self._rest_samples = REST_SAMPLES",
        ),
        "table",
        "exact Events.choose",
    ),
    "a throttle and legs together pass for pedalling": Row(
        Mistake(
            "decide/events.py",
            "Events.choose",
            "if pedalling.engages:\n    return PEDALLING",
            "if pedalling.engages or (throttle.share_permille == 1000 and pedalling.cadence_rpm > 40):\n"
            "    return PEDALLING",
        ),
        "table",
        "exact Events.choose",
    ),
    "a third noisy edge within a step is free": Row(
        Mistake(
            "guard/faults.py",
            "Faults._check_noise",
            "(self._crank.rejected - self._rejected) & 0xFFFF",
            "min((self._crank.rejected - self._rejected) & 0xFFFF, 2)",
        ),
        "latch",
        "exact Faults.step",
    ),
    "the heat reading is not checked below zero": Row(
        Mistake(
            "guard/faults.py",
            "Faults._check_readings",
            "HEAT_LOWEST_DECICELSIUS <= inputs.motor_decicelsius <= HEAT_HIGHEST_DECICELSIUS",
            "inputs.motor_decicelsius <= HEAT_HIGHEST_DECICELSIUS",
        ),
        "latch",
        "exact Faults.step",
    ),
    "clearing a fault leaves the suspicions": Row(
        Mistake("guard/faults.py", "Faults._clear", "self._plausibility.forget()", ""),
        "doubt",
        "exact Faults.step",
    ),
    "a later fault replaces the first": Row(
        Mistake(
            "guard/faults.py",
            "Faults._observe",
            "self.cause == NO_FAULT",
            "self.cause != cause",
        ),
        "latch",
        "exact Faults.step",
    ),
    "doubt lasts one step": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._withhold",
            "self._withheld_steps = WITHHELD_STEPS",
            "self._withheld_steps = 1",
        ),
        "doubt",
        "exact Plausibility.step",
    ),
    "the model learns twice as far as its settings may be wrong": Row(
        Mistake(
            "sense/motor_model.py",
            "MotorModel.learn",
            "clamp(found, LEARNED_LOW, LEARNED_HIGH)",
            "clamp(found, LEARNED_LOW - 250, LEARNED_HIGH + 250)",
        ),
        "model",
        "exact MotorModel.learn",
    ),
    "the ceiling of watts forgets what was learned": Row(
        Mistake(
            "sense/motor_model.py",
            "MotorModel.ceiling_mv",
            "wanted_w = wanted_w * 1000 // max(self.learned_permille, 1000)",
            "wanted_w = wanted_w * 1000 // min(self.learned_permille, 1000)",
        ),
        "ceiling",
        "exact MotorModel.ceiling_mv",
    ),
    "a wheel pulse is overdue on quick wheels only": Row(
        Mistake(
            "sense/rotation.py",
            "Wheel.settle",
            "self._stoppable_mm_per_s",
            "(self._stoppable_mm_per_s if self._pulse_mm_per_s > 4000 else 99999)",
        ),
        "overdue",
        "exact Wheel.settle",
    ),
    "the heat fold-back waits for the wheel": Row(
        Mistake(
            "decide/ceilings.py",
            "Ceilings.step",
            "self._heat_sensor_fitted",
            "self._heat_sensor_fitted and speed_mm_per_s > 0",
        ),
        "formulas",
        "exact Ceilings.step",
    ),
    "the carry of the slew limiter is kept when it turns round": Row(
        Mistake(
            "drive/slew_limiter.py",
            "SlewLimiter._move",
            "self.command_mv = target_mv\nself._carry_nv = 0",
            "self.command_mv = target_mv",
        ),
        "rise",
        "exact SlewLimiter.step",
    ),
    "the search ends at its second current only on a warm battery": Row(
        Mistake(
            "drive/feed_forward.py",
            "FeedForward._seek",
            "self._flows and flowed",
            "self._flows and flowed and inputs.battery_mv < 54600",
        ),
        "rise",
        "exact FeedForward.step",
    ),
    "a cut waits for the fall rate while the throttle drives": Row(
        Mistake(
            "controller.py",
            "Controller._slew",
            "self._stalled or not self.engagement.driving() or self.ceilings.ceiling_w == 0",
            "self._stalled or not self.engagement.driving() or"
            " (self.ceilings.ceiling_w == 0 and self.engagement.state == 2)",
        ),
        "cut-off",
        "exact Controller._slew",
    ),
    "what the gate took away comes back at once": Row(
        Mistake(
            "controller.py",
            "Controller._put_out",
            "if permitted_mv < command_mv:\n    self.slew_limiter.reset(permitted_mv, now_us)",
            "if permitted_mv < command_mv and permitted_mv > 0:\n"
            "    self.slew_limiter.reset(permitted_mv, now_us)",
        ),
        "rise",
        "exact Controller._put_out",
    ),
    "a suspicion of the motor withholds nothing": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._judge_motor",
            "self._lasting_steps = 0\nself._withhold()",
            "self._lasting_steps = 0",
        ),
        "doubt",
        "contract Plausibility.step",
    ),
    "a silent motor is suspected after half its steps": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._judge_motor",
            "SILENT_STEPS if found == MOTOR_SILENT else LASTING_STEPS",
            "SILENT_STEPS >> 1 if found == MOTOR_SILENT else LASTING_STEPS",
        ),
        "doubt",
        "contract Plausibility.step",
    ),
    "the count goes on where one contradiction follows another": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._judge_motor",
            "self._contradiction = found\nself._lasting_steps = 0",
            "self._contradiction = found",
        ),
        "doubt",
        "contract Plausibility.step",
    ),
    "a slipping wheel is a fault from its second suspicion on": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._judge_motor",
            "WHEEL_SUSPICIONS_MAX if found == WHEEL_SLOW else SUSPICIONS_MAX",
            "SUSPICIONS_MAX",
        ),
        "doubt",
        "contract Plausibility.step",
    ),
    "a suspicion of another kind than the one before withholds nothing": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._judge_motor",
            "self._lasting_steps = 0\nself._withhold()",
            "self._lasting_steps = 0\nif self._suspicions == 0 or found == self._suspected:\n"
            "    self._withhold()",
        ),
        "doubt",
        "contract Plausibility.step",
    ),
}
