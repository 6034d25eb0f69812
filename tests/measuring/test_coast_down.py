"""Coast-downs: the law against an integrator, the numbers against bicycles whose truth is known."""

import control
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from host_sim.measuring.coast_down import fit_coast_downs
from host_sim.measuring.coast_runs import coast_runs
from host_sim.measuring.estimate import NotEnoughError
from host_sim.measuring.log import Log
from host_sim.measuring.road_law import Masses, coasting_speed
from tests.measuring import roads
from tests.measuring.coasting import Truth, coasted, masses, measured

MASSES = Masses(100.0, 2.0, 1.2)
TIMES_S = np.linspace(0.0, 20.0, 41)


@pytest.mark.parametrize(
    ("crr", "cda_m2", "wind_m_per_s", "grade"),
    [(0.006, 0.5, 0.0, 0.0), (0.006, 0.5, 2.0, 0.001), (0.004, 0.8, -1.0, -0.008), (0.01, 0.02, 0.0, 0.0)],
)
def test_the_closed_form_is_what_an_integrator_gives(crr, cda_m2, wind_m_per_s, grade):
    def slowing(_, speed):
        weight_n = 100.0 * 9.80665
        air_n = 0.6 * cda_m2 * (speed + wind_m_per_s) ** 2
        road_n = weight_n * (crr + grade) / np.sqrt(1.0 + grade**2) + 0.091 + 0.0087 * speed
        return -(air_n + road_n) / 102.0

    outside = solve_ivp(slowing, (0.0, 20.0), [8.0], t_eval=TIMES_S, rtol=1e-10, atol=1e-12).y[0]
    ones = np.ones_like(TIMES_S)
    ours = coasting_speed(MASSES, crr, cda_m2, wind_m_per_s * ones, grade * ones, 8.0 * ones, TIMES_S)
    assert np.max(np.abs(ours - outside)) < 1e-6


def test_without_noise_or_wind_the_numbers_are_exact():
    ones = np.ones_like(TIMES_S)
    logs = []
    for place in range(6):
        start = (8.0 + 0.2 * place) * ones
        speed = coasting_speed(MASSES, 0.007, 0.6, 0.0 * ones, 0.0 * ones, start, TIMES_S)
        logs.append(Log(f"{place}", {"time_s": TIMES_S, "speed_m_per_s": speed}))
    fit = fit_coast_downs([run for log in logs for run in coast_runs(log)], MASSES)
    assert fit.crr.value == pytest.approx(0.007, rel=2e-3)
    assert fit.cda_m2.value == pytest.approx(0.6, rel=2e-3)


def test_an_identification_by_python_control_of_the_same_runs_gives_the_same_numbers():
    # Its least squares of the response to the inputs 1 and v^2 (control.markov, one lag): the force
    # that slows the bicycle, minus the bearings', over stretches of 5 s, without wind and grade.
    random = np.random.default_rng(8)
    truth = Truth(random)
    truth.wind_m_per_s = truth.gust_m_per_s = truth.grade = 0.0
    runs = [run for log in coasted(truth, random) for run in coast_runs(log)]
    forces_n, squares = [], []
    for run in runs:
        for first in range(0, len(run.time_s) - 10, 10):
            time_s, speed = (one[first : first + 11] for one in (run.time_s, run.speed_m_per_s))
            seconds = time_s[-1] - time_s[0]
            slowing = (speed[0] - speed[-1]) / seconds
            bearings_n = 0.091 + 0.0087 * np.trapezoid(speed, time_s) / seconds
            forces_n.append(slowing * (truth.mass_kg + roads.WHEELS_KG) - bearings_n)
            squares.append(np.trapezoid(speed**2, time_s) / seconds)
    inputs = np.array([np.ones(len(squares)), squares])
    rolling_n, air = np.squeeze(control.markov(np.array([forces_n]), inputs, m=1))
    fit = fit_coast_downs(runs, masses(truth))
    assert fit.crr.value == pytest.approx(rolling_n / (truth.mass_kg * 9.80665), rel=0.02)
    assert fit.cda_m2.value == pytest.approx(air / (0.5 * 1.2), rel=0.02)


def test_ten_random_bicycles_lie_in_their_intervals_and_near_the_truth():
    # One in ten may miss; 200 are in tests/benchmarks/measure_coverage.py.
    random = np.random.default_rng(7)
    held = []
    errors = []
    for _ in range(10):
        truth = Truth(random)
        fit = measured(truth, random)
        for estimate, true in ((fit.crr, truth.crr), (fit.cda_m2, truth.cda_m2)):
            held.append(estimate.low <= true <= estimate.high)
            errors.append(abs(estimate.value / true - 1.0))
    assert sum(held) >= 18
    assert np.median(errors) < 0.05


def test_all_there_and_then_all_back_is_found_to_be_that():
    random = np.random.default_rng(3)
    truth = Truth(random)
    truth.wind_m_per_s, truth.gust_m_per_s = 1.4, 0.1
    logs = coasted(truth, random)
    fit = fit_coast_downs([run for log in logs[0::2] + logs[1::2] for run in coast_runs(log)], masses(truth))
    assert fit.signs == [1, 1, 1, -1, -1, -1]
    assert fit.head_wind_m_per_s == pytest.approx(1.4, abs=0.3)
    assert fit.crr.value == pytest.approx(truth.crr, rel=0.1)


@pytest.mark.parametrize("alternating", [True, False])
def test_an_order_of_directions_that_fits_badly_does_not_refuse_the_other_one(alternating):
    # With this wind and grade the best fit of the wrong order is at a bound.
    random = np.random.default_rng(3)
    truth = Truth(random)
    truth.grade, truth.wind_m_per_s, truth.gust_m_per_s = 0.004, 1.4, 0.1
    logs = coasted(truth, random)
    logs = logs if alternating else logs[0::2] + logs[1::2]
    fit = fit_coast_downs([run for log in logs for run in coast_runs(log)], masses(truth))
    assert fit.signs == ([1, -1, 1, -1, 1, -1] if alternating else [1, 1, 1, -1, -1, -1])
    assert fit.grade == pytest.approx(0.004, abs=0.0005)
    assert fit.crr.value == pytest.approx(truth.crr, rel=0.1)


def test_runs_in_one_file_are_found_and_those_with_pedals_or_brakes_end_there():
    down = np.linspace(9.0, 3.0, 301)
    speed = np.concatenate((down, np.linspace(3.0, 9.0, 101), down))
    time_s = np.arange(len(speed)) * 0.1
    cadence = np.where((time_s >= 30.1) & (time_s < 40.0), 80.0, 0.0)
    log = Log("two.csv", {"time_s": time_s, "speed_m_per_s": speed, "cadence_rpm": cadence})
    assert len(coast_runs(log)) == 2
    braked = np.concatenate((down[:200], np.linspace(down[199], 0.0, 20)))
    run = coast_runs(Log("b.csv", {"time_s": np.arange(220) * 0.1, "speed_m_per_s": braked}))[0]
    assert run.speed_m_per_s[-1] > 5.0


def test_runs_that_no_rolling_resistance_explains_are_not_enough_instead_of_zero_with_certainty():
    # The road falls both ways: somebody pushed, or the clock is wrong.
    random = np.random.default_rng(3)
    truth = Truth(random)
    truth.crr, truth.grade, truth.wind_m_per_s, truth.gust_m_per_s = -0.003, 0.0, 0.0, 0.0
    runs = [run for log in coasted(truth, random) for run in coast_runs(log)]
    with pytest.raises(NotEnoughError, match="don't separate air from rolling resistance"):
        fit_coast_downs(runs, masses(truth))


def test_too_few_runs_are_not_enough():
    random = np.random.default_rng(3)
    truth = Truth(random)
    runs = [run for log in coasted(truth, random, runs=3) for run in coast_runs(log)]
    with pytest.raises(NotEnoughError, match="3 coast-downs found, at least 4 are needed"):
        fit_coast_downs(runs, masses(truth))
