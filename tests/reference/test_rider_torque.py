"""The rider's torque and the ripple it makes, against published measurements of riders."""

import pytest

from host_sim.plant.bicycle import Bicycle
from host_sim.plant.rider import EFFORT, FOLLOW, Rider

TURN_RAD = 6.283185307179586
STEP_S = 0.002


def _at_25_km_per_h(mode):
    rider = Rider(200.0, 0.257, 0.0, 2.0, 8.0, 1.0)
    rider.mode = mode
    rider.target_rad_per_s = TURN_RAD
    rider.development_m = 25.0 / 3.6  # 60 rpm at 25 km/h
    return rider


def _torques_nm(rider, power_w, turns):
    """Crank torque of every step over whole turns, at constant speed."""
    rider.power_w = power_w
    for _ in range(1000):
        rider.step(25.0 / 3.6, STEP_S)
    start_rad = rider.crank_rad
    torques_nm = []
    while rider.crank_rad < start_rad + turns * TURN_RAD:
        rider.step(25.0 / 3.6, STEP_S)
        torques_nm.append(rider.delivered_power_w / rider.crank_rad_per_s)
    return torques_nm


# Mean torque T = 60 P / (2 pi n), mechanics: 100 W 15.92, 150 W 23.87 N m at 60 rpm.
@pytest.mark.parametrize(("power_w", "torque_nm"), [(100.0, 15.92), (150.0, 23.87)])
@pytest.mark.parametrize("mode", [FOLLOW, EFFORT])
def test_the_mean_torque_at_60_rpm_is_power_over_crank_speed(mode, power_w, torque_nm):
    torques_nm = _torques_nm(_at_25_km_per_h(mode), power_w, 5)
    assert sum(torques_nm) / len(torques_nm) == pytest.approx(torque_nm, rel=0.002)


# Leirdal and Ettema, MSSE 2011 (PubMed 20798659): dead-centre power 25.7 % of the mean when corrected.
# A profile with two peaks a turn and that dead centre peaks at 2 - 0.257 = 1.743 of the mean.
@pytest.mark.parametrize("mode", [FOLLOW, EFFORT])
def test_a_dead_centre_of_25_7_percent_goes_with_a_peak_of_1_743_mean_torques(mode):
    torques_nm = _torques_nm(_at_25_km_per_h(mode), 150.0, 2)
    assert max(torques_nm) / 23.873 == pytest.approx(1.743, abs=0.002)
    assert min(torques_nm) / 23.873 == pytest.approx(0.257, abs=0.002)


def test_torque_peaks_twice_a_turn():
    torques_nm = _torques_nm(_at_25_km_per_h(EFFORT), 150.0, 10)
    peaks = sum(a < b >= c for a, b, c in zip(torques_nm, torques_nm[1:], torques_nm[2:], strict=False))
    assert peaks == 20


# dv/v = P a / (2 * 2 pi n m v^2), computed; it agrees with "mostly inertial load, small at speed, larger at
# low speed" (alex-cycle.blogspot 2015/01). 150 W, 100 kg: 0.18 % at 25 km/h and 60 rpm, 3.6 % at 8 and 30.
@pytest.mark.parametrize(
    ("speed_km_per_h", "turns_per_s", "ripple_percent", "within"),
    [(25.0, 1.0, 0.184, 0.005), (8.0, 0.5, 3.59, 0.1)],
)
def test_torque_peaks_make_the_speed_ripple_of_a_100_kg_bicycle(
    speed_km_per_h, turns_per_s, ripple_percent, within
):
    speed_m_per_s = speed_km_per_h / 3.6
    # A drag area that takes 150 W at this speed keeps it there: 0.6 A v^3 = 150 W.
    bicycle = Bicycle(
        100.0, min(150.0 / (0.6 * speed_m_per_s**3), 5.0), 0.0, 2.1, 0.0, 4.0, 1.2, 1.0, 0.0, 0.0
    )
    grade = (150.0 / speed_m_per_s - bicycle.road_load_n(speed_m_per_s, 0.0, 0.0)) / 980.665
    rider = Rider(200.0, 0.257, 0.0, 2.0, 8.0, 1.0)
    rider.mode = EFFORT
    rider.development_m = speed_m_per_s / turns_per_s
    rider.power_w = 150.0
    bicycle.speed_m_per_s = speed_m_per_s
    speeds_m_per_s = []
    for index in range(60_000):
        bicycle.step(rider.step(bicycle.speed_m_per_s, STEP_S), 0.0, grade, 0.0, STEP_S)
        if index >= 50_000:
            speeds_m_per_s.append(bicycle.speed_m_per_s)
    swing = 0.5 * (max(speeds_m_per_s) - min(speeds_m_per_s))
    assert 100.0 * swing / speed_m_per_s == pytest.approx(ripple_percent, abs=within)
