"""The motor behind its controller: dead band, lag, limits, freewheel, heat."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant.battery import Battery
from host_sim.plant.motor import Motor

GOOD = {
    "kind": "torque",
    "start_v": 1.0,
    "full_v": 4.0,
    "lag_s": 0.1,
    "torque_constant_nm_per_a": 1.0,
    "resistance_ohm": 0.2,
    "no_load_current_a": 0.5,
    "motor_current_limit_a": 20.0,
    "battery_current_limit_a": 15.0,
    "wheel_circumference_m": 2.0,
    "thermal_resistance_k_per_w": 0.5,
    "thermal_capacity_j_per_k": 1000.0,
    "ambient_celsius": 25.0,
}


def _motor(**changes):
    return Motor(**{**GOOD, **changes})


def _run(motor, command_v, speed_m_per_s, seconds, battery_v=36.0):
    force_n = 0.0
    for _ in range(round(seconds / 0.005)):
        force_n = motor.step(command_v, battery_v, speed_m_per_s, 0.005)
    return force_n


@pytest.mark.parametrize(
    ("command_v", "current_a"), [(0.0, 0.0), (1.0, 0.0), (2.5, 10.0), (4.0, 20.0), (5.0, 20.0), (-1.0, 0.0)]
)
def test_the_command_sets_a_share_of_the_current_from_the_dead_band_to_full(command_v, current_a):
    motor = _motor()
    _run(motor, command_v, 1.0, 3.0)
    assert motor.motor_current_a == pytest.approx(current_a, abs=1e-6)


def test_the_lag_reaches_63_percent_after_one_time_constant():
    # 1 - 1/e = 0.63212 of 20 A; the current of a step is that at its middle, so 2.5 ms more to go.
    motor = _motor(motor_current_limit_a=20.0)
    _run(motor, 4.0, 0.0, 0.1)
    before_a = motor.motor_current_a
    motor.step(4.0, 36.0, 0.0, 0.005)
    assert 0.5 * (before_a + motor.motor_current_a) == pytest.approx(12.642, abs=0.01)


def test_the_lag_is_the_same_in_any_step_length():
    coarse, fine = _motor(), _motor()
    for _ in range(4):
        coarse.step(4.0, 36.0, 0.0, 0.02)
    for _ in range(16):
        fine.step(4.0, 36.0, 0.0, 0.005)
    coarse.step(4.0, 36.0, 0.0, 1e-9)
    fine.step(4.0, 36.0, 0.0, 1e-9)
    assert coarse.motor_current_a == pytest.approx(fine.motor_current_a, abs=1e-6)


def test_after_the_command_ends_assistance_ends_at_the_no_load_current():
    # 20 A e^(-t/0.1 s) = 0.5 A at t = 0.369 s.
    motor = _motor()
    _run(motor, 4.0, 1.0, 3.0)
    _run(motor, 0.0, 1.0, 0.365)
    assert motor.assisting()
    force_n = _run(motor, 0.0, 1.0, 0.010)
    assert not motor.assisting()
    assert force_n == 0.0
    _run(motor, 0.0, 1.0, 3.0)
    assert (motor.motor_current_a, motor.battery_current_a, motor.power_w) == (0.0, 0.0, 0.0)


def test_a_speed_command_sets_a_share_of_the_voltage():
    # Half of 36 V less 1.0 * 2 pi/2 m * 5 m/s = 15.708 V leaves 2.292 V over 0.2 ohm: 11.46 A.
    motor = _motor(kind="speed")
    force_n = _run(motor, 2.5, 5.0, 0.1)
    motor.temperature_celsius = 25.0
    _run(motor, 2.5, 5.0, 1.0)
    motor.temperature_celsius = 25.0
    force_n = motor.step(2.5, 36.0, 5.0, 0.005)
    assert motor.motor_current_a == pytest.approx(11.46, abs=0.01)
    assert motor.battery_current_a == pytest.approx(5.73, abs=0.01)
    assert force_n == pytest.approx(34.4, abs=0.1)  # (11.46 - 0.5) N m * pi


@pytest.mark.parametrize("kind", ["torque", "speed"])
def test_the_motor_never_brakes_a_wheel_that_outruns_it(kind):
    motor = _motor(kind=kind)
    assert _run(motor, 4.0, 15.0, 1.0) == 0.0  # No load is reached at 11.4 m/s.
    assert motor.motor_current_a == 0.5
    assert not motor.assisting()
    assert motor.power_w == pytest.approx(18.0, abs=0.01)  # 0.5 A at 36 V


@pytest.mark.parametrize("kind", ["torque", "speed"])
@pytest.mark.parametrize("speed_m_per_s", [0.0, 3.0, 6.0, 9.0])
def test_both_current_limits_always_hold(kind, speed_m_per_s):
    motor = _motor(kind=kind, motor_current_limit_a=30.0, battery_current_limit_a=8.0)
    _run(motor, 4.0, speed_m_per_s, 2.0)
    assert motor.motor_current_a <= 30.0 + 1e-9
    assert motor.battery_current_a <= 8.0 + 1e-9
    assert motor.battery_current_a == pytest.approx(8.0) or motor.motor_current_a == pytest.approx(30.0)


@given(
    kind=st.sampled_from(["torque", "speed"]),
    command_v=st.floats(0.0, 5.0),
    speed_m_per_s=st.floats(0.0, 15.0),
    battery_v=st.floats(0.0, 60.0),
)
def test_the_rim_never_gets_more_power_than_the_battery_gives(kind, command_v, speed_m_per_s, battery_v):
    motor = _motor(kind=kind)
    for _ in range(40):
        force_n = motor.step(command_v, battery_v, speed_m_per_s, 0.005)
        assert force_n >= 0.0
        assert motor.motor_current_a >= 0.0
        assert force_n * speed_m_per_s <= motor.power_w + 1e-9
        assert motor.temperature_celsius >= 25.0


def test_the_losses_heat_the_motor_to_their_thermal_resistance():
    # Stall at 10 A: 20 W cold in 0.2 ohm. Warm copper loses 20 (1 + 0.00393 dT) W; at 0.5 K/W dT = 10.409 K.
    motor = _motor(thermal_capacity_j_per_k=100.0)
    _run(motor, 2.5, 0.0, 1000.0)
    assert motor.temperature_celsius == pytest.approx(35.409, abs=0.005)


def test_a_motor_that_is_off_cools_by_its_time_constant():
    # 0.5 K/W * 1000 J/K = 500 s: of 60 K above the air 22.07 K are left after 500 s.
    motor = _motor()
    motor.temperature_celsius = 85.0
    _run(motor, 0.0, 0.0, 500.0)
    assert motor.temperature_celsius == pytest.approx(25.0 + 22.073, abs=0.001)


def test_without_a_battery_nothing_happens():
    motor = _motor()
    assert _run(motor, 4.0, 1.0, 1.0, battery_v=0.0) == 0.0
    assert motor.motor_current_a == 0.0


@pytest.mark.parametrize("kind", ["torque", "speed"])
def test_a_pack_of_five_times_the_winding_resistance_gives_no_numerical_swinging(kind):
    motor, battery = _motor(kind=kind, battery_current_limit_a=100.0), Battery(42.0, 31.0, 10.0, 1.0, 0.9)
    currents_a = []
    for _ in range(400):
        motor.step(4.0, battery.voltage_v, 3.0, 0.005)
        battery.step(motor.battery_current_a, 0.005)
        currents_a.append(motor.battery_current_a)
    assert max(currents_a[300:]) - min(currents_a[300:]) < 0.05


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("kind", "power", "kind must be .*, got 'power'"),
        ("start_v", 5.1, "start_v must be 0 to 5 V, got 5.1"),
        ("full_v", 1.05, "full_v must be at least 0.1 V above start_v, 1 V, got 1.05"),
        ("lag_s", 0.0, "lag_s must be 0.001 to 5 s, got 0.0"),
        ("torque_constant_nm_per_a", 0.0, "torque_constant_nm_per_a must be 0.01 to 50 N m/A, got 0.0"),
        ("resistance_ohm", -1.0, "resistance_ohm must be 0.005 to 10 ohm, got -1.0"),
        ("no_load_current_a", 7.6, "no_load_current_a must be 0 to 7.5 A, got 7.6"),
        ("motor_current_limit_a", 501.0, "motor_current_limit_a must be 0.5 to 500 A, got 501.0"),
        ("battery_current_limit_a", 0.4, "battery_current_limit_a must be 0.5 to 300 A, got 0.4"),
        ("wheel_circumference_m", 0.0, "wheel_circumference_m must be 0.3 to 4 m, got 0.0"),
        ("thermal_resistance_k_per_w", 0.0, "thermal_resistance_k_per_w must be 0.01 to 50 K/W, got 0.0"),
        ("thermal_capacity_j_per_k", 0.0, r"thermal_capacity_j_per_k must be 1 to 100000 J/K, got 0.0"),
        ("ambient_celsius", 61.0, "ambient_celsius must be -40 to 60 degrees Celsius, got 61.0"),
    ],
)
def test_a_value_out_of_range_is_refused_by_name(name, value, message):
    with pytest.raises(ValueError, match=message):
        _motor(**{name: value})
