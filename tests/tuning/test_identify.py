"""What is fitted is what was there, and what is identified on the bench is what the motor's equations say."""

from math import inf

import numpy as np
import pytest

from host_sim.bikes.load import load_bike
from host_sim.tuning.identify import ProcessModel, TwoLags, fit_model, fit_two_lags, identify, identify_at
from host_sim.tuning.operating import OperatingPoint

TIMES_S = np.arange(100) * 0.005


@pytest.mark.parametrize(
    ("gain", "lag_s", "dead_time_s"), [(400.0, 0.03, 0.01), (2.5, 0.12, 0.033), (-7.0, 0.05, 0.0)]
)
def test_a_lag_with_dead_time_is_found_again(gain, lag_s, dead_time_s):
    steps = ProcessModel(gain, lag_s, dead_time_s).step_response(TIMES_S)
    found = fit_model(steps, 0.005)
    assert not found.integrating
    assert (found.gain, found.lag_s, found.dead_time_s) == pytest.approx(
        (gain, lag_s, dead_time_s), rel=0.01, abs=1e-3
    )


def test_a_response_that_never_bends_is_called_integrating():
    steps = 80.0 * np.maximum(TIMES_S - 0.02, 0.0)
    found = fit_model(steps, 0.005)
    assert found.integrating
    assert found.lag_s == inf
    assert found.gain == pytest.approx(80.0, rel=0.01)
    assert found.dead_time_s == pytest.approx(0.02, abs=0.001)


def test_two_lags_are_found_again_under_noise():
    steps = TwoLags(400.0, 0.03, 0.012, 0.002).step_response(TIMES_S) + np.random.default_rng(1).normal(
        0.0, 2.0, 100
    )
    found = fit_two_lags(steps)
    assert found.gain == pytest.approx(400.0, rel=0.01)
    assert found.slow_s + found.fast_s + found.dead_time_s == pytest.approx(0.044, abs=0.002)


def test_a_volt_moves_the_watts_that_the_equations_of_a_torque_controller_say():
    # By hand, for the trike at 5 m/s and 250 W: wheel 16.62 rad/s, E = 24.93 V, E I + 0.28 I^2 = 250 gives
    # I = 9.1 A; a volt is 28 A / 2.5 = 11.2 A; dP/dU = 11.2 (24.93 + 2 * 0.28 * 9.1) = 336 W/V.
    plant = identify_at(load_bike("cargo_trike"), OperatingPoint(5.0, 0.9, 1.0))
    assert plant is not None
    assert plant.model.gain == pytest.approx(336.0, rel=0.03)
    # Its lag is that of the power stage, 20 ms, and of the smoothing of the current over four periods.
    assert 0.025 < plant.model.lag_s < 0.036
    assert 0.005 < plant.model.dead_time_s < 0.012
    assert plant.misfit < 0.02


def test_a_volt_moves_the_watts_that_the_equations_of_a_speed_controller_say():
    # By hand, for the tandem at 5 m/s and 480 W: wheel 14.49 rad/s, E = 25.36 V, I = 16.57 A, terminal
    # 29.0 V; full battery less its sag is 53.6 V, over 2.8 V of travel 19.1 V a volt; dP/dU = 19.1 (E + 2
    # I R) / R = 2836.
    plant = identify_at(load_bike("tandem"), OperatingPoint(5.0, 1.0, 1.0))
    assert plant is not None
    assert plant.model.gain == pytest.approx(
        2836.0, rel=0.12
    )  # The sag of the battery takes some of it away.


def test_a_power_that_the_motor_can_not_take_is_no_operating_point():
    # At 0.2 m/s the tandem's current limit of 34 A draws 34^2 * 0.22 + 34 * 1.0 = 289 W, not 480.
    assert identify_at(load_bike("tandem"), OperatingPoint(0.2, 0.9, 1.0)) is None


def test_nothing_is_identified_without_a_shunt():
    assert identify(load_bike("folding")) == []
