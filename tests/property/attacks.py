"""Further mistakes in the firmware, thought of as attacks on the proof: a formula or a call is refuted.

Each row: what is wrong, where, the property whose sentence it contradicts, and the job that finds it soon.
"""

from tests.planting import Mistake
from tests.property.planted_mistakes import Row

ATTACKS = {
    "a fault is judged before this step's comparison": Row(
        Mistake(
            "controller.py",
            "Controller.step",
            "self._compare(inputs)\nself.faults.step(inputs, self.outputs.command_mv)",
            "self.faults.step(inputs, self.outputs.command_mv)\nself._compare(inputs)",
        ),
        "latch",
        "joined Controller.step",
    ),
    "above 4 V the command rises twice as fast": Row(
        Mistake(
            "drive/slew_limiter.py",
            "SlewLimiter.step",
            "return self._move(target_mv, self._rise_mv_per_s if rising else self._fall_mv_per_s, now_us)",
            "return self._move(target_mv, (self._rise_mv_per_s * 2 if self.command_mv > 4000 else "
            "self._rise_mv_per_s) if rising else self._fall_mv_per_s, now_us)",
        ),
        "rise",
        "exact SlewLimiter.step",
    ),
    "on a torque motor the command rises at the fall rate": Row(
        Mistake(
            "drive/slew_limiter.py",
            "SlewLimiter.seek",
            "max(rate_mv_per_s, self._rise_mv_per_s)",
            "max(rate_mv_per_s, self._fall_mv_per_s)",
        ),
        "rise",
        "exact SlewLimiter.seek",
    ),
    "a potentiometer above 90 % of its turn gives up to 1950 permille": Row(
        Mistake(
            "sense/levers.py",
            "Selector.step",
            "self.share_permille = turned_permille",
            "self.share_permille = turned_permille + 950 if turned_permille > 900 else turned_permille",
        ),
        "levers",
        "exact Selector.step",
    ),
    "the gate flips the lead from 32 pulses on": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.__init__",
            "self._forward_step = 3 if settings.lead == B_LEADS else 1",
            "self._forward_step = 3 if (settings.lead == B_LEADS) != (settings.pulses_per_rev >= 32) else 1",
        ),
        "backward",
        "joined OutputGuard.crank_edge, kind 0",
    ),
    "a latch is cleared when bicycle and crank stand": Row(
        Mistake(
            "guard/faults.py",
            "Faults.step",
            "if inputs.clear_requested:\n    self._clear()",
            "if inputs.clear_requested or (self._crank.standing and self._wheel.speed_mm_per_s == "
            "0):\n    self._clear()",
        ),
        "latch",
        "exact Faults.step",
    ),
    "the difference of two times is off at half the clock's period": Row(
        Mistake(
            "ticks.py",
            "ticks_diff_us",
            "if difference_us >= _HALF_PERIOD_US:\n    return difference_us - _HALF_PERIOD_US - "
            "_HALF_PERIOD_US",
            "if difference_us > _HALF_PERIOD_US:\n    return difference_us - _HALF_PERIOD_US - "
            "_HALF_PERIOD_US",
        ),
        "clock",
        "clock is relative",
    ),
    "the throttle drives at exactly the start-up speed": Row(
        Mistake(
            "decide/events.py",
            "Events._throttle_may_drive",
            "self._wheel.speed_mm_per_s < self._startup_speed_mm_per_s",
            "self._wheel.speed_mm_per_s <= self._startup_speed_mm_per_s",
        ),
        "throttle",
        "exact Events.choose",
    ),
    "the gate is told of no crank edge": Row(
        Mistake(
            "controller.py", "Controller._take_edges", "self.guard.crank_edge(log.levels, log.time_us)", ""
        ),
        "formulas",
        "joined Controller._take_edges",
    ),
    "the gate is told of edges with the levels of the edge before": Row(
        Mistake(
            "controller.py",
            "Controller._take_edges",
            "self.guard.crank_edge(log.levels, log.time_us)",
            "self.guard.crank_edge(self.crank.levels, log.time_us)",
        ),
        "formulas",
        "joined Controller._take_edges",
    ),
    "of the edges that wait only the first is taken": Row(
        Mistake(
            "controller.py",
            "Controller._take_edges",
            "while log.take():\n    self.crank.edge(log.levels, log.time_us)\n    "
            "self.guard.crank_edge(log.levels, log.time_us)",
            "if log.take():\n    self.crank.edge(log.levels, log.time_us)\n    "
            "self.guard.crank_edge(log.levels, log.time_us)",
        ),
        "formulas",
        "joined Controller._take_edges",
    ),
    "an edge that did not last is accepted": Row(
        Mistake(
            "sense/crank.py",
            "Crank.edge",
            "self._reject()",
            "self._accept(self._pending_levels, self._pending_us)",
        ),
        "formulas",
        "joined Crank.edge, kind 0",
    ),
    "just at the cut-off speed half of the power is left": Row(
        Mistake(
            "decide/ceilings.py",
            "Ceilings._speed_permille",
            "return fading_permille(speed_mm_per_s, self._taper_start_mm_per_s, self._cutoff_speed_mm_per_s)",
            "return 500 if speed_mm_per_s == self._cutoff_speed_mm_per_s else "
            "fading_permille(speed_mm_per_s, self._taper_start_mm_per_s, "
            "self._cutoff_speed_mm_per_s)",
        ),
        "cut-off",
        "exact Ceilings.step",
    ),
    "an overdue wheel pulse counts on a motor that is known only": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "self.plausibility.withheld or self.wheel.overdue",
            "self.plausibility.withheld or (self.wheel.overdue and self.motor_model.known)",
        ),
        "overdue",
        "joined Controller._engage",
    ),
    "the gate takes readings of half a second": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.permit",
            "age_us > OUTPUTS_VALID_US",
            "age_us > 10 * OUTPUTS_VALID_US",
        ),
        "cut",
        "joined OutputGuard.permit",
    ),
    "the stop gap is twice as long on 64 pulses": Row(
        Mistake(
            "decide/pedalling.py",
            "Pedalling.__init__",
            "self._release_gap_us = release_pitch_us // 10 * share_permille // 100",
            "self._release_gap_us = release_pitch_us // 10 * share_permille // 100 * (2 if pulses "
            "== 64 else 1)",
        ),
        "stop",
        "exact Pedalling.step",
    ),
    "a clock that goes back forgets the run on a wheel that stands only": Row(
        Mistake(
            "controller.py",
            "Controller._look_at_the_clock",
            "self.crank.restamp(now_us)",
            "if self.wheel.speed_mm_per_s == 0:\n    self.crank.restamp(now_us)",
        ),
        "clock back",
        "exact Controller._look_at_the_clock",
    ),
    "a selector whose wire is broken keeps its share": Row(
        Mistake(
            "sense/levers.py",
            "Selector.step",
            "if self.wire_open or self.wire_shorted:\n    self.share_permille = 0\n    return",
            "if self.wire_open or self.wire_shorted:\n    return",
        ),
        "levers",
        "exact Selector.step",
    ),
    "a step leaves a field that is in no list": Row(
        Mistake(
            "controller.py",
            "Controller._put_out",
            "self._last_us = now_us",
            "self._last_us = now_us\nself.guard._highest_mv = permitted_mv if permitted_mv > 4990 "
            "else self.guard._highest_mv",
        ),
        "range",
        "exact Controller._put_out",
    ),
    "a dead shunt is a fault above 5 km/h only": Row(
        Mistake(
            "guard/faults.py",
            "Faults._check_plausibility",
            "conditions |= 1 << SHUNT_DEAD if found.shunt_dead else 0",
            "conditions |= 1 << SHUNT_DEAD if found.shunt_dead and self._wheel.speed_mm_per_s > 1389 else 0",
        ),
        "latch",
        "exact Faults.step",
    ),
    "the search may go above the model's ceiling": Row(
        Mistake(
            "controller.py",
            "Controller._bounded_mv",
            "target_mv = max(target_mv, self.feed_forward.seek_mv)\nreturn min(target_mv, "
            "self.motor_model.ceiling_mv(allowed_w))",
            "target_mv = min(target_mv, self.motor_model.ceiling_mv(allowed_w))\nreturn "
            "max(target_mv, self.feed_forward.seek_mv, min(self.power_loop.target_mv, "
            "self.settings.command_start_mv + 100))",
        ),
        "ceiling",
        "exact Controller._bounded_mv",
    ),
    "a brake counts from the second reading on": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "event = self.events.choose(self.faults.cause, inputs.brake_pulled)",
            "event = self.events.choose(self.faults.cause, inputs.brake_pulled and not "
            "self.outputs.drive_enabled)",
        ),
        "cut",
        "joined Controller._engage",
    ),
    "a late step is one of more than 60 ms": Row(
        Mistake(
            "controller.py",
            "Controller._look_at_the_clock",
            "elapsed_us > OUTPUTS_VALID_US",
            "elapsed_us > OUTPUTS_VALID_US + 10000",
        ),
        "late",
        "exact Controller._look_at_the_clock",
    ),
    "doubt ends with the next pulse of the wheel": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "self.plausibility.withheld or self.wheel.overdue",
            "(self.plausibility.withheld and not self.wheel.pulsed) or self.wheel.overdue",
        ),
        "doubt",
        "joined Controller._engage",
    ),
    "a third suspicion of the motor is needed": Row(
        Mistake(
            "guard/plausibility.py",
            "Plausibility._judge_motor",
            "WHEEL_SUSPICIONS_MAX if found == WHEEL_SLOW else SUSPICIONS_MAX",
            "WHEEL_SUSPICIONS_MAX",
        ),
        "doubt",
        "exact Plausibility.step",
    ),
    "duty of channel B is read from A": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.__init__",
            "self._signal_level = 2 if settings.lead == B_LEADS else 1",
            "self._signal_level = 1",
        ),
        "backward",
        "joined OutputGuard.crank_edge, kind 1",
    ),
    "the direction of a duty-coded ring is forgotten at a standstill": Row(
        Mistake(
            "sense/crank.py",
            "Crank.settle",
            "self.forward_run = 0",
            "self.forward_run = 0\nself._forward_duty_high = True",
        ),
        "backward",
        "exact Crank.settle",
    ),
    "two channels count a double change as forward": Row(
        Mistake(
            "sense/crank.py",
            "Crank._two_channels",
            "if moved == 2:\n    self.forward_run = 0\n    self.backward_run = 0\n    "
            "self._reject()\nelif moved == self._backward_step:\n    self._go_backward(1)\nelse:\n "
            "   self._forward(position, time_us)",
            "if moved == self._backward_step:\n    self._go_backward(1)\nelse:\n    "
            "self._forward(position, time_us)",
        ),
        "backward",
        "exact Crank._two_channels",
    ),
    "pedalling goes on after a stop if the throttle is open": Row(
        Mistake(
            "decide/pedalling.py",
            "Pedalling.step",
            "self.stopped = True\ncrank.forget_run()",
            "self.stopped = crank.pitch_us > 0\ncrank.forget_run()",
        ),
        "stop",
        "exact Pedalling.step",
    ),
    "a fault leaves the output of one more step": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "self.events.choose(self.faults.cause, inputs.brake_pulled)",
            "self.events.choose(self.outputs.fault_cause, inputs.brake_pulled)",
        ),
        "cut",
        "joined Controller._engage",
    ),
    "a pair of settings need not ascend": Row(
        Mistake(
            "settings.py",
            "Settings.__init__",
            "getattr(self, lower) >= getattr(self, higher)",
            "getattr(self, lower) > getattr(self, higher)",
        ),
        "formulas",
        "exact settings",
    ),
    "a controller refuses the highest legal rate": Row(
        Mistake(
            "drive/slew_limiter.py",
            "SlewLimiter.__init__",
            "1 <= rate <= RATE_MAX_MV_PER_S",
            "1 <= rate < RATE_MAX_MV_PER_S",
        ),
        "formulas",
        "exact settings",
    ),
}
