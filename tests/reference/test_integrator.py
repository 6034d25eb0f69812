"""The step-by-step plant against closed forms and against scipy's adaptive integrator."""

from math import sqrt

import pytest
from scipy.integrate import solve_ivp

from host_sim.plant.battery import Battery
from host_sim.plant.bicycle import Bicycle
from host_sim.plant.motor import Motor


def _bicycle_errors(step_s):
    """Errors of speed and way after 20 s of 60 N against m dv/dt = F - k v^2."""
    bicycle = Bicycle(100.0, 0.5, 0.0, 2.1, 0.0, 4.0, 1.2, 1.0, 0.0, 0.0)
    for _ in range(round(20.0 / step_s)):
        bicycle.step(60.0, 0.0, 0.0, 0.0, step_s)
    # v = sqrt(F/k) tanh(t sqrt(F k)/m), s = (m/k) ln cosh(t sqrt(F k)/m), with F = 60 N, k = 0.3 kg/m.
    return bicycle.speed_m_per_s - 9.76231272, bicycle.distance_m - 107.87408527


def test_halving_the_step_of_the_bicycle_quarters_its_error():
    # The closed form is given to 1e-8, so the steps are large enough for errors well above that.
    coarse_speed, coarse_way = _bicycle_errors(2.0)
    fine_speed, fine_way = _bicycle_errors(1.0)
    assert coarse_speed / fine_speed == pytest.approx(4.0, abs=0.4)
    assert coarse_way / fine_way == pytest.approx(4.0, abs=0.4)


def test_at_5_ms_the_bicycle_is_exact_to_one_part_in_a_million():
    speed_error, way_error = _bicycle_errors(0.005)
    assert abs(speed_error) < 1e-5
    assert abs(way_error) < 1e-4


CONSTANT, OHM, NO_LOAD_A, AROUND_M, LAG_S = 1.0, 0.3, 0.6, 2.1, 0.08
PACK_OHM, FULL_V, EMPTY_V, CAPACITY_AS = 0.15, 42.0, 31.0, 36_000.0
THERMAL_K_PER_W, HEAT_J_PER_K, AMBIENT = 0.5, 800.0, 20.0
MASS_KG, DRAG_AREA_M2, ROLLING, INERTIA, MOTOR_LIMIT_A = 130.0, 0.6, 0.008, 0.2, 20.0
SPOKE = 2.0 * 3.141592653589793 / AROUND_M


def _grade(time_s):
    return 0.0 if time_s < 12.0 else 0.04


def _solved(kind, wanted_share, rider_n, seconds):
    """Speed, way, charge and temperature by an ODE solver, battery and motor solved together exactly."""

    def rates(time_s, state):
        speed, _, share, charge, celsius = state
        ohm = OHM * (1.0 + 0.00393 * (celsius - 25.0))
        open_v = EMPTY_V + (FULL_V - EMPTY_V) * charge
        emf_v = CONSTANT * SPOKE * speed
        if kind == "speed":
            current_a = min((share * open_v - emf_v) / (ohm + share * share * PACK_OHM), MOTOR_LIMIT_A)
        else:
            current_a = share * MOTOR_LIMIT_A
        drawn_w = current_a * (emf_v + current_a * ohm)
        pack_a = (open_v - sqrt(open_v**2 - 4.0 * PACK_OHM * drawn_w)) / (2.0 * PACK_OHM)
        force_n = CONSTANT * (current_a - NO_LOAD_A) * SPOKE
        if current_a <= NO_LOAD_A:
            force_n, pack_a, drawn_w = 0.0, 0.0, 0.0
        slope = _grade(time_s)
        load_n = MASS_KG * 9.80665 * (ROLLING + slope) / sqrt(1.0 + slope * slope)
        load_n += 0.5 * 1.2 * DRAG_AREA_M2 * speed * speed + 0.091 + 0.0087 * speed
        heat_w = drawn_w - force_n * speed
        return [
            (rider_n + force_n - load_n) / (MASS_KG + INERTIA * SPOKE * SPOKE),
            speed,
            (wanted_share - share) / LAG_S,
            -pack_a / CAPACITY_AS,
            (heat_w - (celsius - AMBIENT) / THERMAL_K_PER_W) / HEAT_J_PER_K,
        ]

    state = [3.0, 0.0, 0.0, 0.9, AMBIENT]
    # Two pieces, so that the solver need not find the foot of the hill.
    for start_s, end_s in ((0.0, 12.0 - 1e-9), (12.0, seconds)):
        state = solve_ivp(rates, (start_s, end_s), state, rtol=1e-9, atol=1e-10, max_step=0.05).y[:, -1]
    return [state[0], state[1], state[3], state[4]]


def _stepped(kind, command_v, rider_n, seconds, step_s):
    """The same four by the plant."""
    bicycle = Bicycle(MASS_KG, DRAG_AREA_M2, ROLLING, AROUND_M, INERTIA, 4.0)
    motor = Motor(
        kind, 1.0, 4.0, LAG_S, CONSTANT, OHM, NO_LOAD_A, MOTOR_LIMIT_A, 200.0, AROUND_M,
        THERMAL_K_PER_W, HEAT_J_PER_K, AMBIENT,
    )  # fmt: skip
    battery = Battery(FULL_V, EMPTY_V, CAPACITY_AS / 3600.0, PACK_OHM, 0.9)
    bicycle.speed_m_per_s = 3.0
    for index in range(round(seconds / step_s)):
        force_n = motor.step(command_v, battery.voltage_v, bicycle.speed_m_per_s, step_s)
        battery.step(motor.battery_current_a, step_s)
        bicycle.step(rider_n + force_n, 0.0, _grade(index * step_s), 0.0, step_s)
    return [bicycle.speed_m_per_s, bicycle.distance_m, battery.charge, motor.temperature_celsius]


# A command step at 3 m/s and a hill of 4 % after 12 s, seen after 30 s. "speed": 2.5 V is a share of 0.5;
# "torque": 2.2 V is a share of 0.4, 8 A. 30 N come from the rider.
@pytest.mark.parametrize(("kind", "command_v", "share"), [("speed", 2.5, 0.5), ("torque", 2.2, 0.4)])
def test_motor_battery_and_bicycle_on_a_hill_agree_with_scipy(kind, command_v, share):
    exact = _solved(kind, share, 30.0, 30.0)
    stepped = _stepped(kind, command_v, 30.0, 30.0, 0.005)
    assert stepped[0] == pytest.approx(exact[0], rel=1e-4)
    assert stepped[1] == pytest.approx(exact[1], rel=1e-4)
    assert 0.9 - stepped[2] == pytest.approx(0.9 - exact[2], rel=1e-3)
    assert stepped[3] - AMBIENT == pytest.approx(exact[3] - AMBIENT, rel=1e-3)


def test_halving_the_step_of_the_whole_chain_halves_its_error():
    # Charge after 14 s, two of them uphill: motor and battery see each other a step late, so first order.
    exact = _solved("speed", 0.5, 30.0, 14.0)[2]
    errors = [_stepped("speed", 2.5, 30.0, 14.0, step_s)[2] - exact for step_s in (0.02, 0.01, 0.005)]
    assert errors[0] / errors[1] == pytest.approx(2.0, abs=0.3)
    assert errors[1] / errors[2] == pytest.approx(2.0, abs=0.3)
