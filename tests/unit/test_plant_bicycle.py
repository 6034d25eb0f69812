"""The bicycle: brakes, standing, wind, and what it refuses."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant.bicycle import Bicycle

GOOD = {
    "mass_kg": 100.0,
    "drag_area_m2": 0.5,
    "rolling_coefficient": 0.006,
    "wheel_circumference_m": 2.1,
    "wheel_inertia_kg_m2": 0.2,
    "brake_deceleration_m_per_s2": 4.0,
}


def _rolling_at(speed_m_per_s, **changes):
    bicycle = Bicycle(**{**GOOD, **changes})
    bicycle.speed_m_per_s = speed_m_per_s
    return bicycle


def test_full_brakes_without_other_losses_stop_at_their_deceleration():
    # From 8 m/s at 4 m/s2: 2 s and 8 m.
    bicycle = _rolling_at(
        8.0, rolling_coefficient=0.0, air_density_kg_per_m3=0.0, bearing_n=0.0, bearing_n_s_per_m=0.0
    )
    for _ in range(399):
        bicycle.step(0.0, 1.0, 0.0, 0.0, 0.005)
    assert bicycle.speed_m_per_s == pytest.approx(0.02, abs=1e-9)
    bicycle.step(0.0, 1.0, 0.0, 0.0, 0.005)
    bicycle.step(0.0, 1.0, 0.0, 0.0, 0.005)
    assert bicycle.speed_m_per_s == 0.0
    assert bicycle.distance_m == pytest.approx(8.0, abs=1e-9)


def test_a_stop_inside_a_step_covers_only_the_way_to_the_stop():
    # 1 m/s at 4 m/s2 stops after 0.125 m, wherever in the step of 1 s that falls.
    bicycle = _rolling_at(
        1.0, rolling_coefficient=0.0, air_density_kg_per_m3=0.0, bearing_n=0.0, bearing_n_s_per_m=0.0
    )
    bicycle.step(0.0, 1.0, 0.0, 0.0, 1.0)
    assert (bicycle.speed_m_per_s, bicycle.distance_m) == (0.0, pytest.approx(0.125))


def test_uphill_it_stands_rather_than_rolling_back():
    bicycle = _rolling_at(0.5)
    for _ in range(1000):
        bicycle.step(0.0, 0.0, 0.10, 0.0, 0.005)
    stopped_at_m = bicycle.distance_m
    bicycle.step(50.0, 0.0, 0.10, 0.0, 0.005)
    assert (bicycle.speed_m_per_s, bicycle.distance_m) == (0.0, stopped_at_m)


def test_the_brakes_hold_it_downhill_and_letting_go_lets_it_roll():
    bicycle = _rolling_at(0.0)
    bicycle.step(0.0, 1.0, -0.10, 0.0, 0.005)
    assert bicycle.speed_m_per_s == 0.0
    bicycle.step(0.0, 0.0, -0.10, 0.0, 0.005)
    assert bicycle.speed_m_per_s > 0.0


def test_a_head_wind_costs_what_the_same_speed_more_would_in_the_air():
    still, windy = _rolling_at(0.0, bearing_n_s_per_m=0.0), _rolling_at(0.0, bearing_n_s_per_m=0.0)
    assert windy.road_load_n(5.0, 0.0, 3.0) == pytest.approx(still.road_load_n(8.0, 0.0, 0.0))
    assert windy.road_load_n(2.0, 0.0, -8.0) < still.road_load_n(0.0, 0.0, 0.0)


def test_turning_wheels_add_their_inertia():
    # 0.2 kg m2 at a radius of 2.1 / 2 pi m is 1.7904 kg: 101.7904 kg at 2 m/s hold 203.581 J.
    assert _rolling_at(0.0).kinetic_energy_j(2.0) == pytest.approx(203.581, abs=0.001)


@given(
    speed=st.floats(0.0, 20.0),
    drive_n=st.floats(0.0, 500.0),
    brake_share=st.floats(0.0, 1.0),
    grade=st.floats(-0.3, 0.3),
    wind=st.floats(-15.0, 15.0),
)
def test_it_never_rolls_back_whatever_pushes_it(speed, drive_n, brake_share, grade, wind):
    bicycle = _rolling_at(speed)
    way_m = 0.0
    for _ in range(20):
        bicycle.step(drive_n, brake_share, grade, wind, 0.005)
        assert bicycle.speed_m_per_s >= 0.0
        assert bicycle.distance_m >= way_m
        way_m = bicycle.distance_m


@pytest.mark.parametrize(
    ("name", "value", "allowed"),
    [
        ("mass_kg", 9.9, "10 to 1000 kg"),
        ("drag_area_m2", 0.0, "0.05 to 5 m2"),
        ("rolling_coefficient", 0.11, "0 to 0.1"),
        ("wheel_circumference_m", 4.1, "0.3 to 4 m"),
        ("wheel_inertia_kg_m2", -0.1, "0 to 10 kg m2"),
        ("brake_deceleration_m_per_s2", 0.0, "0.1 to 12 m/s2"),
        ("air_density_kg_per_m3", 2.1, "0 to 2 kg/m3"),
        ("chain_efficiency", 1.01, "0.5 to 1"),
        ("bearing_n", -1.0, "0 to 10 N"),
        ("bearing_n_s_per_m", 1.1, "0 to 1 N s/m"),
    ],
)
def test_a_value_out_of_range_is_refused_by_name(name, value, allowed):
    with pytest.raises(ValueError, match=rf"^{name} must be {allowed}, got {value}$"):
        Bicycle(**{**GOOD, name: value})
