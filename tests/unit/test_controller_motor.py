"""Stories of rides with a controller that knows its motor: seek, found, followed, bounded, withheld.

The defaults: a dead band up to 1000 mV, full at 3600 mV; 5 V at 1 m/s, 250 mOhm, 25 A in the motor. The
battery gives 36 V.
All in SmallInt and from 1 ms before the tick wrap.
"""

from itertools import pairwise

import pytest

from firmware.decide.ceilings import BY_DOUBT, BY_LIMIT
from firmware.decide.engagement import ASSISTING
from firmware.guard.faults import MOTOR_SILENT, NO_FAULT, SHUNT_DEAD, SHUNT_STUCK, WHEEL_LOST
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import settings_with

BATTERY_MV = 36_000
BATTERY_MOHM = 50


class MotorRig(Rig):
    """A rig whose motor draws what its back-EMF and its resistance let it; `read_percent` of it is read."""

    def __init__(self, **settings: int):
        super().__init__(settings_with(battery_empty_mv=20_000, battery_foldback_mv=22_000, **settings))
        self.draws_current = False
        self.battery_mv = BATTERY_MV
        self.read_percent = 100
        self.true_ma = 0
        self.commands_mv: list[int] = []
        self.after_step.append(MotorRig._draw)

    def _draw(self, _: int) -> None:
        settings = self.settings
        above_mv = max(int(self.command_mv) - int(settings.command_start_mv), 0)
        span_mv = int(settings.command_max_mv) - int(settings.command_start_mv)
        emf_mv = 5 * self.wheel_mm_per_s
        if settings.motor_kind == MOTOR_SPEED:
            motor_mv = BATTERY_MV * above_mv // span_mv
            motor_ma = min(max(motor_mv - emf_mv, 0) * 1_000 // 250, 25_000)
        else:
            motor_ma = 25_000 * above_mv // span_mv
        self.true_ma = (emf_mv + motor_ma * 250 // 1_000) * motor_ma // BATTERY_MV
        self.battery_mv = BATTERY_MV - self.true_ma * BATTERY_MOHM // 1_000
        self.current_ma = self.true_ma * self.read_percent // 100
        self.commands_mv.append(int(self.command_mv))

    @property
    def true_w(self) -> int:
        return self.true_ma * self.battery_mv // 1_000_000


def coasting(mm_per_s: int = 4_000, **settings: int) -> MotorRig:
    """Return a bicycle that rolls, the pedals still."""
    rig = MotorRig(**settings)
    rig.ready()
    rig.run(2_000, wheel_mm_per_s=mm_per_s)
    return rig


def engaged(rig: MotorRig) -> MotorRig:
    """Pedal until the first command goes out; that step is the first of `commands_mv`."""
    rig.rpm = 60
    rig.until(lambda rig: rig.command_mv > 0, 2_000)
    del rig.commands_mv[:-1]
    return rig


# The speed kind.


def test_the_command_crosses_the_dead_band_seeks_quickly_and_stops_at_the_first_current():
    rig = engaged(coasting(motor_kind=MOTOR_SPEED))
    rig.until(lambda rig: rig.controller.feed_forward.found_mv > 0, 2_000)
    commands_mv = rig.commands_mv
    # 9 V/s are 45 mV in a step, up to 8.6 V, 1621 mV; then 1.71 V/s, 8.55 mV.
    assert commands_mv[:4] == [1_000, 1_045, 1_090, 1_135]
    slow = [mv for mv in commands_mv[:-1] if mv > 1_621]
    steps_mv = [later - earlier for earlier, later in pairwise(slow)]
    assert set(steps_mv) == {8, 9}
    # 20 V are 2444 mV. It draws 1 A of the battery before it is noticed, and goes back.
    assert 2_440 <= max(commands_mv) <= 2_490
    assert 2_410 <= commands_mv[-1] <= 2_446
    assert len(commands_mv) * 5 <= 640


def test_after_the_search_the_power_loop_goes_on_from_there_at_the_rise_rate():
    rig = engaged(coasting(motor_kind=MOTOR_SPEED))
    rig.until(lambda rig: rig.controller.feed_forward.found_mv > 0, 2_000)
    del rig.commands_mv[:-1]
    rig.run(400)
    steps_mv = [later - earlier for earlier, later in pairwise(rig.commands_mv)]
    # 600 mV/s are 3 mV in a step.
    assert max(steps_mv) <= 3
    rig.run(3_000)
    assert 225 <= rig.true_w <= 275
    assert rig.controller.faults.cause == NO_FAULT


def test_without_a_search_the_same_takes_four_times_as_long():
    rig = engaged(coasting(motor_kind=MOTOR_SPEED, seek_mv_per_s=0))
    assert rig.commands_mv == [1_000]
    # 1444 mV at 3 mV a step.
    assert 2_300 <= rig.until(lambda rig: rig.true_ma > 0, 5_000) <= 2_500


def test_a_wheel_that_slows_down_takes_the_command_along_before_the_power_loop_can():
    rig = engaged(coasting(motor_kind=MOTOR_SPEED, gain_uv_per_w=0, integral_ms=20_000))
    rig.run(6_000)
    before_mv = int(rig.command_mv)
    rig.run(2_000, wheel_mm_per_s=3_800)
    # 0.2 m/s are 1 V, a quarter more 1.25 V, 90 mV; the loop itself is as good as switched off.
    assert 60 <= before_mv - rig.command_mv <= 130


def test_a_dead_shunt_is_found_by_the_sag_and_help_ends_in_the_same_step():
    rig = coasting(motor_kind=MOTOR_SPEED)
    rig.read_percent = 0
    engaged(rig)
    rig.until(lambda rig: rig.controller.faults.cause != NO_FAULT, 2_500)
    assert rig.controller.faults.cause == SHUNT_DEAD
    assert rig.command_mv == 0
    assert not rig.outputs.drive_enabled


# The torque kind.


def test_a_shunt_that_reads_half_can_not_lift_the_command_beyond_the_ceiling():
    rig = coasting(motor_kind=MOTOR_TORQUE)
    rig.read_percent = 60
    engaged(rig)
    rig.run(5_000)
    # The loop asks for 250 W / 0.6 = 417 W. The ceiling gives 275 W.
    assert 255 <= rig.true_w <= 285


def test_a_healthy_shunt_reaches_what_is_allowed_below_the_ceiling():
    rig = engaged(coasting(motor_kind=MOTOR_TORQUE))
    rig.run(15_000)
    assert 240 <= rig.true_w <= 252


def test_a_silent_motor_is_a_doubt_first_and_a_fault_when_it_comes_back():
    rig = coasting(motor_kind=MOTOR_TORQUE)
    rig.read_percent = 0
    rig.after_step.append(lambda rig, _: setattr(rig, "battery_mv", BATTERY_MV))  # No sag to find it by.
    engaged(rig)
    rig.until(lambda rig: rig.command_mv == 0, 2_000)
    assert rig.controller.plausibility.withheld
    assert rig.controller.faults.cause == NO_FAULT
    assert (rig.controller.ceilings.ceiling_w, rig.controller.ceilings.lowest) == (0, BY_DOUBT)
    assert rig.state == ASSISTING
    # 180 steps later it is tried again, and this time it is a fault.
    assert 890 <= rig.until(lambda rig: rig.command_mv > 0, 2_000) <= 910
    rig.until(lambda rig: rig.command_mv == 0, 2_000)
    assert rig.controller.faults.cause == MOTOR_SILENT


@pytest.mark.parametrize("kind", [MOTOR_SPEED, MOTOR_TORQUE])
def test_a_shunt_that_dies_drops_the_output_within_20_steps(kind):
    # 450 W, 12.5 A: a fall of more than 4 A that the road can't make.
    rig = engaged(coasting(motor_kind=kind, power_limit_w=450, assist_power_w=450))
    rig.run(5_000)
    assert rig.true_w > 380
    rig.read_percent = 0
    rig.current_ma = 0
    assert rig.until(lambda rig: rig.command_mv == 0, 1_000) <= 100


@pytest.mark.parametrize("kind", [MOTOR_SPEED, MOTOR_TORQUE])
def test_a_shunt_that_dies_at_little_power_is_found_before_the_power_is_too_much(kind):
    # 100 W, 2.8 A: the road could make that fall.
    rig = engaged(coasting(motor_kind=kind, assist_power_w=100))
    rig.run(5_000)
    rig.read_percent = 0
    rig.current_ma = 0
    highest_w = 0
    for _ in range(600):
        rig.step()
        highest_w = max(highest_w, rig.true_w)
    assert highest_w <= 275
    assert rig.controller.faults.cause != NO_FAULT


def test_a_stuck_shunt_is_found_when_the_battery_moves():
    rig = engaged(coasting(motor_kind=MOTOR_TORQUE))
    rig.run(1_000)

    def stick(rig: Rig, _: int) -> None:
        rig.current_ma = 3_000
        rig.battery_mv = BATTERY_MV - (rig.elapsed_us // 5_000) % 200 * 10

    rig.after_step.append(stick)
    rig.until(lambda rig: rig.controller.faults.cause != NO_FAULT, 1_000)
    assert rig.controller.faults.cause == SHUNT_STUCK


# The wheel.


def test_pulses_that_stop_as_no_brake_stops_end_help_until_one_comes():
    rig = engaged(coasting(6_800, motor_kind=MOTOR_TORQUE, cutoff_speed_mm_per_s=9_000))
    rig.run(2_000)
    assert rig.command_mv > 0
    rig.wheel_mm_per_s = 0
    # 2100 mm at 6.8 m/s are 309 ms. Twice as long after the last pulse it is overdue.
    assert 305 <= rig.until(lambda rig: rig.command_mv == 0, 2_000) <= 625
    assert rig.controller.wheel.overdue
    assert rig.controller.ceilings.lowest == BY_DOUBT
    rig.run(4_000)
    assert rig.command_mv == 0
    assert rig.state == ASSISTING
    rig.run(1_500, wheel_mm_per_s=3_000)
    assert rig.command_mv > 0
    assert rig.controller.ceilings.lowest == BY_LIMIT


def test_a_wheel_whose_pulses_never_come_back_is_a_fault_after_six_seconds_of_pedalling():
    rig = engaged(coasting(6_800, motor_kind=MOTOR_TORQUE, cutoff_speed_mm_per_s=9_000))
    rig.run(2_000)
    rig.wheel_mm_per_s = 0
    waited_ms = rig.until(lambda rig: rig.controller.faults.cause != NO_FAULT, 8_000)
    assert rig.controller.faults.cause == WHEEL_LOST
    # Six seconds after the last pulse, which came up to 309 ms before.
    assert 5_680 <= waited_ms <= 6_010
