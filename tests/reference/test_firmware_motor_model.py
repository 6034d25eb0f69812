"""The firmware's motor model, in integers, against a worked example from outside and scipy's root finding."""

from math import pi

import pytest
from scipy.optimize import brentq

from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

CIRCUMFERENCE_M = 0.1
M_PER_S_PER_RPM = CIRCUMFERENCE_M / 60.0


# Worked example: 24 V, 0.05 V s/rad, 1.2 ohm, 4 A at 3666.9 rpm and 96 W, no-load speed 4584 rpm, stall 20 A:
# rftools.io, DC motor speed page.
def _worked_example(kind: int, rpm: float, command_mv: int, power_w: int) -> MotorModel:
    """Return the model of the machine with a rim of 0.1 m, at rest with all its constants."""
    settings = settings_with(
        motor_kind=kind,
        command_start_mv=0,
        command_max_mv=5_000,
        back_emf_mv_per_m_per_s=round(0.05 * 2.0 * pi / CIRCUMFERENCE_M * 1000.0),
        motor_resistance_mohm=1_200,
        motor_current_limit_ma=20_000,
        battery_current_limit_ma=20_000,
    )
    return _settled(settings, rpm * M_PER_S_PER_RPM, 24.0, command_mv, power_w)


def _settled(settings, speed_m_per_s, battery_v, command_mv, power_w):
    model = MotorModel(settings)
    wheel = Wheel(SmallInt(2_100), SmallInt(1))
    wheel.speed_mm_per_s = SmallInt(round(speed_m_per_s * 1000.0))
    wheel.late_mm_per_s = SmallInt(0)
    supply = Supply()
    supply.battery_mv = SmallInt(round(battery_v * 1000.0))
    supply.power_w = SmallInt(power_w)
    for _ in range(80):
        model.step(SmallInt(command_mv), wheel, supply)
    return model


def test_the_worked_machine_at_full_voltage_draws_4_a_at_3666_9_rpm():
    model = _worked_example(MOTOR_SPEED, 3666.9, 5_000, 96)
    # The lags end 2 mV of 5000 below the command: 0.04 %. A watt is 35 mA here.
    assert model.motor_mv == pytest.approx(24_000, rel=0.0005)
    assert model.current_ma == pytest.approx(4_000, abs=35)
    assert model.drop_mv == pytest.approx(4_800, abs=42)
    assert model.motor_mv - model.drop_mv == pytest.approx(int(model.back_emf_mv), abs=60)
    assert model.back_emf_mv == pytest.approx(19_200, abs=5)


def test_the_worked_machine_with_4_a_takes_96_w_at_3666_9_rpm():
    # A fifth of the stall current of 20 A.
    model = _worked_example(MOTOR_TORQUE, 3666.9, 1_002, 96)
    assert model.current_ma == 4_000
    assert model.most_w == pytest.approx(96, abs=1)
    # The least leaves a quarter of the back-EMF for wrong settings: 24 V, and nothing is left to drive.
    assert model.least_w == 0
    # At half the no-load speed it can: (12 + 4.8) V * 4 A = 67.2 W.
    half = _worked_example(MOTOR_TORQUE, 2292.0, 1_002, 67)
    assert half.least_w == pytest.approx(67, abs=1)
    assert half.most_w == pytest.approx(67, abs=1)


def test_the_worked_machine_meets_the_whole_battery_at_4584_rpm():
    model = _worked_example(MOTOR_SPEED, 4584.0, 0, 0)
    assert model.back_emf_mv == pytest.approx(24_000, abs=10)
    assert model.command_for(model.back_emf_mv) == 5_000
    # At half the no-load speed half of the command.
    half = _worked_example(MOTOR_SPEED, 2292.0, 0, 0)
    assert half.command_for(half.back_emf_mv) == pytest.approx(2_500, abs=3)


def test_the_worked_machine_stalls_at_20_a():
    # 24 V / 1.2 ohm: 20 A and 480 W.
    model = _worked_example(MOTOR_TORQUE, 0.0, 5_002, 480)
    assert model.current_ma == 20_000
    assert model.most_w == 480
    assert _worked_example(MOTOR_SPEED, 0.0, 5_000, 480).current_ma == pytest.approx(20_000, abs=30)


def _current_a(power_w: float, back_emf_v: float, resistance_ohm: float, most_a: float) -> float:
    """Return where E I + R I^2 is the power, by scipy; `most_a` where it lies beyond."""

    def missing_w(current_a: float) -> float:
        return back_emf_v * current_a + resistance_ohm * current_a**2 - power_w

    return brentq(missing_w, 0.0, most_a) if missing_w(most_a) > 0.0 else most_a


@pytest.mark.parametrize("allowed_w", [50, 250, 750, 1_500])
@pytest.mark.parametrize("resistance_mohm", [50, 250, 1_200])
@pytest.mark.parametrize("speed_m_per_s", [0.0, 1.0, 3.0, 6.9])
def test_the_ceiling_is_the_root_that_scipy_finds(allowed_w, resistance_mohm, speed_m_per_s):
    settings = settings_with(
        motor_kind=MOTOR_TORQUE,
        command_start_mv=0,
        command_max_mv=5_000,
        back_emf_mv_per_m_per_s=5_000,
        motor_resistance_mohm=resistance_mohm,
        motor_current_limit_ma=50_000,
    )
    model = _settled(settings, speed_m_per_s, 48.0, 0, 0)
    for _ in range(40):
        command_mv = model.ceiling_mv(SmallInt(allowed_w))
    wanted_w = allowed_w + max(0.1 * allowed_w, 20.0)
    current_a = _current_a(wanted_w, 5.0 * speed_m_per_s, resistance_mohm / 1000.0, 50.0)
    # Whole watts, tens of millivolts and of milliamperes: 2 %, or 30 mV of 5 V.
    assert command_mv == pytest.approx(5_000 * current_a / 50.0, rel=0.02, abs=30)


@pytest.mark.parametrize("power_w", [50, 250, 750])
@pytest.mark.parametrize("resistance_mohm", [50, 250, 1_200])
@pytest.mark.parametrize("speed_m_per_s", [1.0, 3.0, 6.9])
def test_the_current_of_a_measured_power_is_the_root_that_scipy_finds(
    power_w, resistance_mohm, speed_m_per_s
):
    settings = settings_with(
        motor_kind=MOTOR_SPEED,
        back_emf_mv_per_m_per_s=5_000,
        motor_resistance_mohm=resistance_mohm,
        motor_current_limit_ma=50_000,
    )
    model = _settled(settings, speed_m_per_s, 48.0, 2_000, power_w)
    current_a = _current_a(power_w, 5.0 * speed_m_per_s, resistance_mohm / 1000.0, 50.0)
    assert model.current_ma == pytest.approx(1000.0 * current_a, rel=0.02, abs=100)
