"""The road load against a standard's own formula, closed forms of a coast-down, and a launch."""

from math import atan, tan

import pytest

from host_sim.plant.bicycle import Bicycle

DEGREE = 0.017453292519943295


def _bare(mass_kg=100.0, drag_area_m2=0.5, rolling_coefficient=0.0, density=0.0):
    """A bicycle without wheel inertia and bearing losses: what closed forms speak of."""
    return Bicycle(mass_kg, drag_area_m2, rolling_coefficient, 2.1, 0.0, 4.0, density, 1.0, 0.0, 0.0)


def _roll(bicycle, seconds, grade=0.0, drive_n=0.0, step_s=0.005):
    for _ in range(round(seconds / step_s)):
        bicycle.step(drive_n, 0.0, grade, 0.0, step_s)


# TBIS 15194:2019 annex L p. 160: F = R + 0.027 V^2 + 9.8 W sin(theta), R = 2.6 N, V in km/h, W in kg.
# The forces below are that formula by hand. 0.027 N/(km/h)^2 is 0.571 m2 of drag area at 1.225 kg/m3.
@pytest.mark.parametrize(
    ("speed_km_per_h", "slope_degrees", "force_n"), [(15, 0, 8.675), (10, 4, 56.57), (20, -4, -37.87)]
)
def test_the_road_load_is_that_of_the_parallel_standard_within_0_3_percent(
    speed_km_per_h, slope_degrees, force_n
):
    bicycle = _bare(75.0, 0.571, 2.6 / (75.0 * 9.8), 1.225)
    load_n = bicycle.road_load_n(speed_km_per_h / 3.6, tan(slope_degrees * DEGREE), 0.0)
    assert load_n == pytest.approx(force_n, rel=0.003)


# TBIS 15194:2019 p. 163: wheel power P2' = 0.278 V F; 0.278 is 1/3.6 rounded up by 0.08 %.
@pytest.mark.parametrize(("speed_km_per_h", "slope_degrees", "power_w"), [(15, 0, 36.2), (10, 4, 157.3)])
def test_the_wheel_power_is_that_of_the_parallel_standard_within_0_3_percent(
    speed_km_per_h, slope_degrees, power_w
):
    bicycle = _bare(75.0, 0.571, 2.6 / (75.0 * 9.8), 1.225)
    # Chain efficiency is 1 here, so pedal power is wheel power.
    power_at_pedals_w = bicycle.pedal_power_w(speed_km_per_h / 3.6, tan(slope_degrees * DEGREE), 0.0)
    assert power_at_pedals_w == pytest.approx(power_w, rel=0.003)


def test_rolling_alone_stops_a_bicycle_in_the_time_and_way_of_constant_deceleration():
    # 0.006 * 9.80665 = 0.0588399 m/s2 from 5 m/s: t = v/a = 84.976 s, s = v^2/2a = 212.441 m.
    bicycle = _bare(rolling_coefficient=0.006)
    bicycle.speed_m_per_s = 5.0
    _roll(bicycle, 84.970)
    assert bicycle.speed_m_per_s > 0.0
    _roll(bicycle, 0.01)
    assert bicycle.speed_m_per_s == 0.0
    assert bicycle.distance_m == pytest.approx(212.441, abs=0.001)


def test_air_alone_slows_a_bicycle_as_the_textbook_hyperbola_says():
    # m dv/dt = -k v^2 with k = 0.3 kg/m, m = 100 kg, 10 m/s: after 60 s v = 10/2.8 = 3.5714 m/s, and
    # s = (m/k) ln 2.8 = 333.333 * 1.029619 = 343.206 m.
    bicycle = _bare(density=1.2)
    bicycle.speed_m_per_s = 10.0
    _roll(bicycle, 60.0)
    assert bicycle.speed_m_per_s == pytest.approx(3.571429, rel=1e-5)
    assert bicycle.distance_m == pytest.approx(343.2065, rel=1e-5)


def test_downhill_it_reaches_the_speed_at_which_air_balances_the_slope():
    # 980.665 N * (0.0499376 - 0.006 * 0.9987523) = 43.0955 N = 0.3 v^2, so v = 11.9855 m/s.
    bicycle = _bare(rolling_coefficient=0.006, density=1.2)
    _roll(bicycle, 400.0, grade=-0.05)
    assert bicycle.speed_m_per_s == pytest.approx(11.9855, abs=0.0002)


def test_a_launch_of_150_kg_over_20_m_in_7_83_s_takes_250_w():
    # P = 2 m D^2 / t^3 with m = 150 kg, D = 20 m: EN 15194:2009 Annex D, from memory.
    bicycle = _bare(mass_kg=150.0)
    _roll(bicycle, 7.830, drive_n=97.865)
    assert bicycle.distance_m == pytest.approx(20.0, rel=1e-3)
    assert bicycle.kinetic_energy_j(bicycle.speed_m_per_s) / 7.830 == pytest.approx(250.0, rel=1e-3)


def test_a_grade_is_rise_over_run_not_the_sine():
    # 100 % is 45 degrees: 980.665 N / sqrt 2 = 693.435 N.
    assert _bare().road_load_n(0.0, 1.0, 0.0) == pytest.approx(693.435, abs=0.001)
    assert atan(1.0) == pytest.approx(45.0 * DEGREE)
