"""Motor and battery against worked examples from outside."""

import pytest

from host_sim.plant.battery import Battery
from host_sim.plant.motor import Motor

RPM_TO_M_PER_S = 1.0 / 60.0  # At a circumference of 1 m.


# Worked example: 24 V, 0.05 V s/rad, 1.2 ohm, 4 A; no-load speed 4584 rpm: rftools.io, DC motor speed page.
def _worked_example(kind="speed", no_load_a=0.0, celsius=25.0, thermal_k_per_w=0.01):
    """A machine with a rim of 1 m, whose heat capacity keeps the winding where it is."""
    return Motor(
        kind, 0.0, 5.0, 0.001, 0.05, 1.2, no_load_a, 500.0, 300.0, 1.0, thermal_k_per_w, 1e5, celsius
    )


def _settle(motor, speed_m_per_s, command_v=5.0):
    force_n = 0.0
    for _ in range(100):
        force_n = motor.step(command_v, 24.0, speed_m_per_s, 0.005)
    return force_n


def test_the_worked_machine_drives_up_to_4584_rpm_and_no_further():
    assert _settle(_worked_example(), 4583.0 * RPM_TO_M_PER_S) > 0.0
    assert _settle(_worked_example(), 4584.0 * RPM_TO_M_PER_S) == 0.0


def test_the_worked_machine_draws_4_a_at_3666_9_rpm_and_gives_0_2_nm_at_80_percent():
    motor = _worked_example()
    speed_m_per_s = 3666.9 * RPM_TO_M_PER_S
    force_n = _settle(motor, speed_m_per_s)
    assert motor.motor_current_a == pytest.approx(4.0, abs=0.002)
    assert force_n / 6.283185307 == pytest.approx(0.2, abs=0.0001)  # torque = force * 1 m / 2 pi
    assert force_n * speed_m_per_s == pytest.approx(76.8, abs=0.05)
    assert motor.power_w == pytest.approx(96.0, abs=0.05)
    assert force_n * speed_m_per_s / motor.power_w == pytest.approx(0.80, abs=0.0005)


def test_mechanical_power_is_greatest_at_half_the_no_load_speed_and_a_quarter_of_stall_times_no_load():
    # Textbook, from memory: Pmax = Ts w0 / 4 = 1.0 N m * 480 rad/s / 4 = 120 W.
    powers_w = []
    for percent in range(101):
        speed_m_per_s = 4583.66 * percent / 100.0 * RPM_TO_M_PER_S
        powers_w.append(_settle(_worked_example(), speed_m_per_s) * speed_m_per_s)
    assert powers_w.index(max(powers_w)) == 50
    assert max(powers_w) == pytest.approx(120.0, abs=0.05)


def test_torque_falls_on_a_straight_line_from_stall_to_no_load():
    # n(T) = n0 (1 - T/Ts), curriculum.vexrobotics.com motor formulas; Ts = 20 A * 0.05 = 1 N m.
    for share in (0.0, 0.25, 0.5, 0.75):
        force_n = _settle(_worked_example(), share * 4583.66 * RPM_TO_M_PER_S)
        assert force_n / 6.283185307 == pytest.approx(1.0 - share, abs=0.0005)


def test_the_no_load_current_is_lost_to_the_torque():
    # T = (I - I0) Kt: dynetic.com/equations.htm. At 384 rad/s and I0 = 1 A: (4 - 1) * 0.05 = 0.15 N m.
    force_n = _settle(_worked_example(no_load_a=1.0), 384.0 / 6.283185307)
    assert force_n / 6.283185307 == pytest.approx(0.15, abs=0.0001)


def test_copper_at_85_celsius_has_23_6_percent_more_resistance_than_at_25():
    # +0.393 % per kelvin, IEC 60034-1; the 23.6 % is printed at rftools.io. 20 A at stall when cold.
    hot = Motor("speed", 0.0, 5.0, 0.001, 0.05, 1.2, 0.0, 500.0, 300.0, 1.0, 0.01, 1e5, 60.0)
    hot.temperature_celsius = 85.0
    # A heat capacity of 1e5 J/K keeps it there while the command settles.
    _settle(hot, 0.0)
    assert 20.0 / hot.motor_current_a == pytest.approx(1.236, abs=0.0005)


def test_a_three_c_load_sags_a_cell_from_3_7_to_3_25_v():
    # 3.7 V, 3 Ah, 50 mohm, 3 C: vbatpower.com/formulas/battery-impedance-sag.
    battery = Battery(3.7, 3.0, 3.0, 0.05, 1.0)
    battery.step(9.0, 0.0)
    assert battery.voltage_v == pytest.approx(3.25, abs=1e-9)


def test_7_08384_a_from_36_v_behind_0_1_ohm_are_250_w_at_35_29162_v():
    # I = (E - sqrt(E^2 - 4 R P)) / 2 R, the quadratic of P = (E - I R) I, computed by hand.
    battery = Battery(36.0, 30.0, 10.0, 0.1, 1.0)
    battery.step(7.08384, 0.0)
    assert battery.voltage_v == pytest.approx(35.29162, abs=5e-6)
    assert battery.voltage_v * 7.08384 == pytest.approx(250.0, abs=2e-4)


def test_two_loads_tell_the_resistance():
    # R = (V1 - V2) / (I2 - I1), vbatpower.com.
    battery = Battery(36.0, 30.0, 10.0, 0.1, 1.0)
    battery.step(2.0, 0.0)
    light_v = battery.voltage_v
    battery.step(12.0, 0.0)
    assert (light_v - battery.voltage_v) / 10.0 == pytest.approx(0.1, abs=1e-9)


def test_ten_amperes_for_an_hour_take_ten_ampere_hours():
    battery = Battery(42.0, 30.0, 12.0, 0.1, 1.0)
    for _ in range(3600):
        battery.step(10.0, 1.0)
    assert battery.charge == pytest.approx(2.0 / 12.0, abs=1e-9)
    assert battery.open_circuit_v() == pytest.approx(32.0, abs=1e-6)
