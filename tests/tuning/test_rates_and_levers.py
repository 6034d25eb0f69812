"""Rates and levers against calculations by hand."""

from itertools import pairwise

import pytest

from host_sim.bikes.load import load_bike
from host_sim.tuning.levers import (
    battery_foldback_mv,
    battery_loop_gain,
    felt_speed_km_per_h,
    heat_foldback_decicelsius,
    selector_shares,
    throttle_ends_mv,
)
from host_sim.tuning.rates import comfort_rise, empty_mass_kg, fall_for, legal_rise, push_n_per_v
from host_sim.tuning.variant import with_settings


def test_the_rise_rate_of_the_trike_is_the_hand_calculation():
    # A volt is 28 A / 2.5 V * 1.5 N m/A * 2 pi / 1.89 m = 55.85 N; empty 123 kg and 0.45 (2 pi / 1.89)^2 =
    # 4.97 kg.
    trike = load_bike("cargo_trike")
    assert push_n_per_v(trike) == pytest.approx(55.85, abs=0.01)
    assert empty_mass_kg(trike) == pytest.approx(127.97, abs=0.01)
    assert comfort_rise(trike, 1.0) == 2290
    assert fall_for(trike, 2290) == 9150


def test_a_volt_on_a_speed_controller_is_a_voltage_on_the_winding():
    # 54.6 V / 2.8 V / 0.22 ohm * 1.75 N m/A * 2 pi / 2.168 m = 449.5 N.
    tandem = load_bike("tandem")
    assert push_n_per_v(tandem) == pytest.approx(449.5, abs=0.1)
    assert comfort_rise(tandem, 0.5) == 200


def test_rates_stay_within_their_range():
    assert legal_rise(3.0) == 50
    assert legal_rise(123456.0) == 10_000
    trike = load_bike("cargo_trike")
    assert fall_for(trike, 50) == 2500  # The whole range of 2.5 V within a second.
    assert fall_for(trike, 9000) == 10_000


def test_selector_positions_add_equal_speeds():
    trike = load_bike("cargo_trike")
    shares = selector_shares(trike)
    assert shares[0] == 0.0
    assert shares[-1] == 100.0
    speeds = [felt_speed_km_per_h(trike, share / 100.0) for share in shares]
    gaps = [after - before for before, after in pairwise(speeds)]
    assert max(gaps) < 1.25 * min(gaps)  # Shares are rounded to 5 %.
    assert selector_shares(load_bike("tandem")) == []


def test_the_speed_without_help_is_the_hand_calculation():
    # 72 W at the rim up 2 %: at 1.402 m/s, 183 kg * 9.80665 * (0.008 + 0.02) / sqrt(1.0004) = 50.24 N of
    # weight, 1.0 N of air and bearings besides: 51.3 N * 1.402 m/s = 72 W.
    assert felt_speed_km_per_h(load_bike("cargo_trike"), 0.0) == pytest.approx(1.402 * 3.6, rel=0.005)


def test_throttle_ends_have_a_twentieth_of_the_travel_as_play():
    # 0.85 to 3.6 V: a twentieth is 137.5 mV, rounded to the even 138.
    assert throttle_ends_mv(load_bike("cargo_trike")) == (988, 3462)


def test_the_battery_fades_over_a_span_that_does_not_see_saw():
    trike = load_bike("cargo_trike")
    # 250 W * 0.12 ohm / 31 V = 0.968 V of sag; twice that is 1.94 V, up to the next 50 mV.
    assert battery_foldback_mv(trike) == 31_000 + 1950
    assert battery_loop_gain(trike, 31_000 + 1950) == pytest.approx(0.496, abs=0.001)
    weak = trike.battery.model_copy(update={"resistance_ohm": 0.5})
    assert (
        battery_foldback_mv(with_settings(trike, {}, {"battery": weak})) == 31_000 + 5500
    )  # Half of the range.


def test_heat_fades_over_thirty_kelvin_or_half_a_minute_of_full_current():
    trike = load_bike("cargo_trike")
    assert heat_foldback_decicelsius(trike) == 1000
    small = trike.motor.model_copy(update={"thermal_capacity_j_per_k": 100.0})
    # 28^2 * 0.28 / 100 = 2.195 K/s, half a minute is 66 K.
    assert heat_foldback_decicelsius(with_settings(trike, {}, {"motor": small})) == 1300 - 660
