"""On the speed kind help comes at once at any speed, and no more steeply than by the plain rise rate.

The tandem on a roller: its riders coast for three seconds and pedal on. Without a search (`seek_mv_per_s` 0)
the command climbs from the dead band to the back-EMF at the rise rate: 1.65 s at 10 km/h, 3.25 s at 24.
"""

from functools import cache

import pytest

from tests.ride.judging import JudgedRide, bike_with, with_settings

SPEEDS_KM_PER_H = (10, 15, 20, 24)
SECONDS = 10


def _tandem_that_believes(percent_of_back_emf: int):
    tandem = bike_with("tandem")
    emf = tandem.firmware_settings.back_emf_mv_per_m_per_s * percent_of_back_emf // 100
    return with_settings(tandem, back_emf_mv_per_m_per_s=emf)


@cache
def _plain(km_per_h: float) -> JudgedRide:
    return JudgedRide(with_settings(bike_with("tandem"), seek_mv_per_s=0), km_per_h, SECONDS)


# 200 is what doubled wheel pulses make of it until current flows.
@pytest.mark.parametrize("percent", [80, 100, 120, 200])
@pytest.mark.parametrize("km_per_h", SPEEDS_KM_PER_H)
def test_half_of_the_power_is_there_within_1_1_s_and_no_steeper_than_before(km_per_h, percent):
    ride = JudgedRide(_tandem_that_believes(percent), km_per_h, SECONDS)
    plain = _plain(km_per_h)
    assert ride.half_s <= 1.1
    assert ride.steepest_n_per_s <= 1.05 * plain.steepest_n_per_s
    assert ride.highest_n <= 1.05 * plain.highest_n
    assert ride.truth.over_power_j == 0.0
    assert ride.cause == "none"


@pytest.mark.parametrize("km_per_h", SPEEDS_KM_PER_H)
def test_without_the_search_it_takes_longer(km_per_h):
    # That is what the search is for, and that these rides can tell the difference.
    assert _plain(km_per_h).half_s >= 1.5


@pytest.mark.parametrize("percent", [80, 120])
def test_a_resistance_or_a_limit_that_is_a_fifth_off_changes_neither(percent):
    tandem = bike_with("tandem")
    for name in ("motor_resistance_mohm", "battery_current_limit_ma", "no_load_current_ma"):
        value = getattr(tandem.firmware_settings, name) * percent // 100
        ride = JudgedRide(with_settings(tandem, **{name: value}), 20, SECONDS)
        assert ride.half_s <= 1.1, name
        assert ride.steepest_n_per_s <= 1.05 * _plain(20).steepest_n_per_s, name
        assert ride.truth.over_power_j == 0.0, name


def test_after_a_pause_in_pedalling_help_is_back_as_quickly():
    pause = [{"at_s": 8, "cadence_rpm": 0}, {"at_s": 11, "cadence_rpm": 70.0}]
    ride = JudgedRide(bike_with("tandem"), 20, 16, then=pause)
    assert ride.truth.over_power_j == 0.0
    # 5 s and 5 s of pedalling; at most 1.1 s each until there is help, and half a second to engage.
    assert ride.truth.driven_s >= 10.0 - 2 * 1.6
