"""A mistake in the firmware for each statement of `treadle prove`: the statement refutes it.

Each row: what is wrong, where, the property whose sentence it contradicts, and the job of the statement.
"""

from dataclasses import dataclass

from tests.planting import Mistake


@dataclass(frozen=True, slots=True)
class Row:
    """A `mistake`, the name of the property that it contradicts, and the `job` of the statement."""

    mistake: Mistake
    stated: str
    job: str

    @property
    def statement(self) -> str:
        """Return the name of the statement."""
        return self.job.rsplit(", kind ", 1)[0]

    @property
    def is_of_a_step(self) -> bool:
        """Tell whether the statement is about a whole step."""
        return self.job.startswith("step ")


STEP = "self.engagement.step(event)"
PLANTED = {
    "faults are evaluated after the decision, so that the step that latches still drives": Row(
        Mistake(
            "controller.py",
            "Controller.step",
            "self.faults.step(inputs, self.outputs.command_mv)\nself._engage(inputs)",
            "self._engage(inputs)\nself.faults.step(inputs, self.outputs.command_mv)",
        ),
        "cut",
        "step cut, kind 0",
    ),
    "drive is always enabled": Row(
        Mistake(
            "controller.py",
            "Controller._put_out",
            "outputs.drive_enabled = permitted_mv > 0",
            "outputs.drive_enabled = permitted_mv >= 0",
        ),
        "range",
        "step range, kind 0",
    ),
    "without a shunt the command rises at the fall rate": Row(
        Mistake(
            "controller.py",
            "Controller.__init__",
            "SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)",
            "SlewLimiter(settings.rise_mv_per_s if settings.shunt_fitted == 1 else settings.fall_mv_per_s,"
            " settings.fall_mv_per_s, now_us)",
        ),
        "rise",
        "step rise, kind 0",
    ),
    "the model's ceiling is worked out but not applied": Row(
        Mistake(
            "controller.py",
            "Controller._bounded_mv",
            "min(target_mv, self.motor_model.ceiling_mv(allowed_w))",
            "max(target_mv, min(target_mv, self.motor_model.ceiling_mv(allowed_w)))",
        ),
        "ceiling",
        "step ceiling, kind 0",
    ),
    "pedalling backward counts as no event": Row(
        Mistake(
            "controller.py", "Controller._engage", STEP, "self.engagement.step(9 if event == 2 else event)"
        ),
        "backward",
        "step backward, kind 0",
    ),
    "a stop of pedalling counts as pedalling": Row(
        Mistake(
            "controller.py", "Controller._engage", STEP, "self.engagement.step(3 if event == 6 else event)"
        ),
        "stop",
        "step stop, kind 0",
    ),
    "the ceilings are told of no speed": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "self.ceilings.step(state, self.wheel.speed_mm_per_s, self.supply.battery_mv,"
            " inputs.motor_decicelsius)",
            "self.ceilings.step(state, 0, self.supply.battery_mv, inputs.motor_decicelsius)",
        ),
        "cut-off",
        "step cut-off, kind 0",
    ),
    "doubt withholds nothing": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "self.plausibility.withheld or self.wheel.overdue",
            "self.wheel.overdue",
        ),
        "doubt",
        "step doubt, kind 0",
    ),
    "an overdue wheel pulse withholds nothing": Row(
        Mistake(
            "controller.py",
            "Controller._engage",
            "self.plausibility.withheld or self.wheel.overdue",
            "self.plausibility.withheld",
        ),
        "overdue",
        "step overdue, kind 0",
    ),
    "a potentiometer gives a share of up to 1950 permille": Row(
        Mistake(
            "sense/levers.py",
            "Selector.step",
            "self.share_permille = turned_permille",
            "self.share_permille = turned_permille * 1950 // 1000",
        ),
        "levers",
        "step levers, kind 0",
    ),
    "a throttle drives that was never at rest": Row(
        Mistake("sense/levers.py", "Throttle.step", "self.rest_seen", "self._fitted"),
        "throttle",
        "step throttle, kind 0",
    ),
    "a pulled brake clears a fault": Row(
        Mistake(
            "controller.py",
            "Controller.step",
            "self.faults.step(inputs, self.outputs.command_mv)",
            "self.faults.step(inputs, self.outputs.command_mv)\n"
            "if inputs.brake_pulled:\n    self.faults.cause = 0",
        ),
        "latch",
        "step latch, kind 0",
    ),
    "a stall cuts nothing": Row(
        Mistake(
            "controller.py",
            "Controller._slew",
            "self._stalled or not self.engagement.driving() or self.ceilings.ceiling_w == 0",
            "not self.engagement.driving() or self.ceilings.ceiling_w == 0",
        ),
        "late",
        "step stall, kind 0",
    ),
    "a clock that goes back stops no pedalling": Row(
        Mistake("controller.py", "Controller._look_at_the_clock", "self.pedalling.stop()", "pass"),
        "clock back",
        "step clock back, kind 0",
    ),
    "a ceiling of no watts cuts nothing": Row(
        Mistake(
            "controller.py",
            "Controller._slew",
            "self._stalled or not self.engagement.driving() or self.ceilings.ceiling_w == 0",
            "self._stalled or not self.engagement.driving()",
        ),
        "cut-off",
        "step decides, kind 0",
    ),
    "nothing counts as pedalling": Row(
        Mistake(
            "controller.py", "Controller._engage", STEP, "self.engagement.step(3 if event == 9 else event)"
        ),
        "table",
        "step begins, kind 0",
    ),
    "a potentiometer gives half of its share": Row(
        Mistake(
            "sense/levers.py",
            "Selector.step",
            "self.share_permille = turned_permille",
            "self.share_permille = turned_permille // 2",
        ),
        "levers",
        "step shares, kind 0",
    ),
    "the lead is flipped from 32 pulses on": Row(
        Mistake(
            "sense/crank.py",
            "Crank.__init__",
            "self._backward_step = 1 if settings.lead == B_LEADS else 3",
            "self._backward_step = 1 if (settings.lead == B_LEADS) != (pulses >= 32) else 3",
        ),
        "backward",
        "edge two channels, kind 0",
    ),
    "a duty-coded ring gains ground in either direction": Row(
        Mistake(
            "sense/crank.py",
            "Crank._duty_coded",
            "(excess_us > 0) == self._forward_duty_high",
            "excess_us != 0 or self._forward_duty_high",
        ),
        "backward",
        "edge duty, kind 2",
    ),
    "any wheel edge ends an overdue pulse": Row(
        Mistake("sense/rotation.py", "Wheel.edge", "level != RISEN", "level > RISEN"),
        "overdue",
        "edge wheel, kind 0",
    ),
    "the gate takes the lead the wrong way round": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.__init__",
            "3 if settings.lead == B_LEADS else 1",
            "1 if settings.lead == B_LEADS else 3",
        ),
        "backward",
        "gate two channels, kind 0",
    ),
    "the gate takes either direction of a duty-coded ring": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._see_duty",
            "(high_us > low_us) == (self._settings.forward_duty_high == 1)",
            "high_us != low_us or self._settings.forward_duty_high == 1",
        ),
        "backward",
        "gate duty, kind 2",
    ),
    "the gate takes any pulse of one channel for a magnet's": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._see_pulse",
            "pitch_us >> 3 <= pulse_us <= pitch_us - (pitch_us >> 3)",
            "pulse_us <= pitch_us",
        ),
        "stop",
        "gate one channel, kind 1",
    ),
    "the gate takes pulses above the cut-off speed for bounces": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.wheel_edge",
            "self._cutoff_period_us >> 2",
            "self._cutoff_period_us",
        ),
        "cut-off",
        "gate wheel, kind 0",
    ),
    "the gate does not look at the speed": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.permit",
            "age_us < 0 or age_us > OUTPUTS_VALID_US or period_us < self._cutoff_period_us",
            "age_us < 0 or age_us > OUTPUTS_VALID_US",
        ),
        "cut-off",
        "gate stops, kind 0",
    ),
    "the gate lets a throttle drive at any speed": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard._throttle_may_drive",
            "settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED and slow",
            "settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED",
        ),
        "throttle",
        "gate throttle, kind 0",
    ),
    "the gate takes a millivolt away": Row(
        Mistake(
            "guard/output_guard.py",
            "OutputGuard.permit",
            "min(command_mv, self._highest_mv)",
            "min(command_mv, self._highest_mv) - 1",
        ),
        "range",
        "gate opens, kind 0",
    ),
}
