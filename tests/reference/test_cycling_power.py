"""The power that legs need, against published worked examples."""

from math import cos

import pytest

from host_sim.plant.bicycle import Bicycle

# Martin et al., J. Appl. Biomech. 14 (1998) 276-291. Inputs and total of its worked example as a test of
# the open `rouleur` package restates them (tests/test_simple.py, which asserts 213 W). Rolling coefficient
# 0.0032 and spokes 0.0044 m2: Sports Eng. 2021, 10.1007/s12283-021-00345-2, table 1, citing Martin. Wheel
# inertia 0.14 kg m2, radius 0.311 m and chain 0.976: from memory.
SPEED_M_PER_S = 471.8 / 56.42
HEAD_WIND_M_PER_S = 2.94 * cos((340.0 - 310.0) * 0.017453292519943295)
GRADE = 0.003
AROUND_M = 2.0 * 3.141592653589793 * 0.311


def _martin(mass_kg=90.0, rolling=0.0032, density=1.2234, bearing_n=0.091, bearing_n_s_per_m=0.0087):
    return Bicycle(
        mass_kg,
        0.2565 + 0.0044,
        rolling,
        AROUND_M,
        0.14,
        4.0,
        air_density_kg_per_m3=density,
        chain_efficiency=0.976,
        bearing_n=bearing_n,
        bearing_n_s_per_m=bearing_n_s_per_m,
    )


def _power_w(bicycle, grade=0.0, wind_m_per_s=0.0):
    return bicycle.road_load_n(SPEED_M_PER_S, grade, wind_m_per_s) * SPEED_M_PER_S


def test_the_air_term_of_the_worked_example_is_158_8_w():
    bicycle = _martin(rolling=0.0, bearing_n=0.0, bearing_n_s_per_m=0.0)
    assert _power_w(bicycle, 0.0, HEAD_WIND_M_PER_S) == pytest.approx(158.80, abs=0.01)


def test_the_rolling_term_of_the_worked_example_is_23_63_w():
    bicycle = _martin(density=0.0, bearing_n=0.0, bearing_n_s_per_m=0.0)
    assert _power_w(bicycle) == pytest.approx(23.63, abs=0.02)


def test_the_bearing_term_of_the_worked_example_is_1_369_w():
    assert _power_w(_martin(rolling=0.0, density=0.0)) == pytest.approx(1.369, abs=0.001)


def test_the_slope_term_of_the_worked_example_is_22_15_w():
    bicycle = _martin(rolling=0.0, density=0.0, bearing_n=0.0, bearing_n_s_per_m=0.0)
    assert _power_w(bicycle, GRADE) == pytest.approx(22.15, abs=0.02)


def test_the_kinetic_term_of_the_worked_example_is_2_305_w():
    bicycle = _martin()
    gained_j = bicycle.kinetic_energy_j(8.45) - bicycle.kinetic_energy_j(8.28)
    assert gained_j / 56.42 == pytest.approx(2.305, abs=0.001)


def test_the_whole_worked_example_rounds_to_213_w():
    bicycle = _martin()
    gained_j = bicycle.kinetic_energy_j(8.45) - bicycle.kinetic_energy_j(8.28)
    steady_w = bicycle.pedal_power_w(SPEED_M_PER_S, GRADE, HEAD_WIND_M_PER_S)
    assert round(steady_w + gained_j / 56.42 / 0.976) == 213


# Power on the flat without wind, 90 kg: table printed at glasstetter.net/bikepower. Its rows come back with
# P = (0.0047 * 90 kg * g + 0.267 v^2) v / 0.95; 0.267 kg/m is a drag area of 0.445 m2 at 1.2 kg/m3.
@pytest.mark.parametrize(
    ("speed_km_per_h", "power_w"),
    [(10, 18), (15, 39), (20, 72), (25, 124), (30, 199), (35, 301), (40, 434), (45, 603), (50, 814)],
)
def test_the_printed_table_for_90_kg_comes_back(speed_km_per_h, power_w):
    bicycle = Bicycle(90.0, 0.445, 0.0047, 2.1, 0.0, 4.0, 1.2, 0.95, 0.0, 0.0)
    assert bicycle.pedal_power_w(speed_km_per_h / 3.6, 0.0, 0.0) == pytest.approx(power_w, abs=0.6)


def test_at_25_km_per_h_air_rolling_and_chain_take_89_29_and_6_w():
    # The split printed with the same table.
    speed_m_per_s = 25.0 / 3.6
    air = Bicycle(90.0, 0.445, 0.0, 2.1, 0.0, 4.0, 1.2, 0.95, 0.0, 0.0)
    rolling = Bicycle(90.0, 0.445, 0.0047, 2.1, 0.0, 4.0, 0.0, 0.95, 0.0, 0.0)
    air_w = air.road_load_n(speed_m_per_s, 0.0, 0.0) * speed_m_per_s
    rolling_w = rolling.road_load_n(speed_m_per_s, 0.0, 0.0) * speed_m_per_s
    chain_w = air.pedal_power_w(speed_m_per_s, 0.0, 0.0) - air_w
    chain_w += rolling.pedal_power_w(speed_m_per_s, 0.0, 0.0) - rolling_w
    assert air_w == pytest.approx(89.0, abs=0.6)
    assert rolling_w == pytest.approx(29.0, abs=0.6)
    assert chain_w == pytest.approx(6.0, abs=0.6)


# Cd x A by position: coachrobmuller.blogspot.com 2010/06 gives 0.632 (tops), 0.400 (hoods), 0.32 (drops) m2.
def test_an_upright_seat_costs_about_twice_the_air_of_a_bent_one():
    upright = Bicycle(90.0, 0.632, 0.0, 2.1, 0.0, 4.0, 1.2, 1.0, 0.0, 0.0)
    bent = Bicycle(90.0, 0.32, 0.0, 2.1, 0.0, 4.0, 1.2, 1.0, 0.0, 0.0)
    assert upright.road_load_n(7.0, 0.0, 0.0) / bent.road_load_n(7.0, 0.0, 0.0) == pytest.approx(1.975)
