"""Tuning rules and margins against published examples, and the firmware's loop against its textbook law."""

from dataclasses import astuple
from math import degrees, pi

import numpy as np
import pytest

from firmware.drive.power_loop import PowerLoop
from firmware.settings import Settings
from host_sim.tuning.identify import Complexes, Floats, ProcessModel
from host_sim.tuning.margins import firmware_pi_response, margins_of
from host_sim.tuning.simc import PiGains, simc, ziegler_nichols_oscillation
from tests.reference.textbook_rules import half_rule

FREQUENCIES: Floats = np.logspace(-2, 2.3, 900)
S: Complexes = 1j * FREQUENCIES


def pi_response(gains: PiGains) -> Complexes:
    return gains.gain * (1.0 + 1.0 / (gains.integral_s * S))


# S. Skogestad, Journal of Process Control 13 (2003) 291-309. The rule as in the README of its author's
# folk.ntnu.no/skoge/publications/2003/tuningPID/smooth_tunings; margins from memory, and in closed form
# for L = e^-s / (2 s): gain margin pi, phase margin 90 - 28.648 degrees.


def test_simc_for_a_lag_of_1_s_and_a_dead_time_of_200_ms_is_a_gain_of_2_5_and_1_s():
    assert astuple(simc(ProcessModel(1.0, 1.0, 0.2))) == pytest.approx((2.5, 1.0))


@pytest.mark.parametrize("theta_s", [0.02, 0.2, 1.0])
def test_a_tight_simc_loop_has_the_margins_of_the_paper_whatever_the_dead_time(theta_s):
    model = ProcessModel(3.0, 5.0 * theta_s, theta_s)
    gains = simc(model)
    assert gains.integral_s == pytest.approx(5.0 * theta_s)
    margins = margins_of(pi_response(gains) * model.response_at(FREQUENCIES), FREQUENCIES)
    assert margins.gain == pytest.approx(3.1416, rel=1e-3)
    assert margins.phase_deg == pytest.approx(61.352, abs=0.02)
    assert margins.delay_s / theta_s == pytest.approx(2.1416, rel=1e-3)
    assert margins.sensitivity == pytest.approx(1.590, abs=0.002)
    assert margins.surge_rad_per_s * theta_s == pytest.approx(pi / 2, rel=1e-3)


def test_a_tight_simc_loop_on_an_integrating_process_has_the_margins_of_the_paper():
    model = ProcessModel(0.7, float("inf"), 0.5, True)
    gains = simc(model)
    assert gains.integral_s == pytest.approx(4.0)  # 8 dead times.
    margins = margins_of(pi_response(gains) * model.response_at(FREQUENCIES), FREQUENCIES)
    assert margins.gain == pytest.approx(2.963, abs=0.003)
    assert margins.phase_deg == pytest.approx(46.86, abs=0.02)
    assert margins.delay_s / 0.5 == pytest.approx(1.590, abs=0.002)
    assert margins.sensitivity == pytest.approx(1.704, abs=0.002)


def test_the_papers_first_example_by_the_half_rule():
    # 1 / ((s + 1)(0.2 s + 1)); from memory: Kc 5.5, integral time 0.8, Ms 1.56 on the process itself.
    model = half_rule(1.0, [0.2, 1.0], 0.0)
    assert (model.gain, model.lag_s, model.dead_time_s) == pytest.approx((1.0, 1.1, 0.1))
    gains = simc(model)
    assert astuple(gains) == pytest.approx((5.5, 0.8))
    margins = margins_of(pi_response(gains) / ((S + 1.0) * (0.2 * S + 1.0)), FREQUENCIES)
    assert margins.sensitivity == pytest.approx(1.56, abs=0.005)


# Ziegler-Nichols as corrected in the errata of Astrom and Murray, "Feedback Systems", 2nd ed., eq. 11.10
# (cds.caltech.edu/~murray/amwiki): 0.45 kc, 0.54 kc / Tc.


def test_ziegler_nichols_by_oscillation_gives_the_corrected_gains():
    # Limit gain 8.50242 and period 0.744152 s of e^-0.2s / (s + 1), computed from its phase.
    margins = margins_of(ProcessModel(1.0, 1.0, 0.2).response_at(FREQUENCIES), FREQUENCIES)
    assert margins.gain == pytest.approx(8.50242, rel=1e-3)
    assert 2 * pi / margins.surge_rad_per_s == pytest.approx(0.744152, rel=1e-3)
    gains = ziegler_nichols_oscillation(8.50242, 0.744152)
    assert gains.gain == pytest.approx(3.8261, abs=1e-4)
    assert gains.gain / gains.integral_s == pytest.approx(6.1699, abs=1e-3)


# Margin table: the systems are in python-control's documentation of `margin` and in its
# control/tests/margin_test.py; the first row's values are computed in closed form (crossing at 1 rad/s).


@pytest.mark.parametrize(
    ("response", "gain", "phase_deg", "surge", "crossover"),
    [
        (1 / (S**3 + 2 * S**2 + S), 2.0, 21.387, 1.0, 0.6823),
        (2 / (S + 1) ** 3, 4.0, 67.6058, 1.7322, 0.7663),
        ((S + 0.1) / (S**2 * (S + 1)), float("inf"), 44.4594, None, 0.7907),
        (1 / (S**3 + 2 * S**2 + 3 * S + 4), 2.0, float("inf"), 1.7321, None),
    ],
)
def test_margins_of_published_systems(response, gain, phase_deg, surge, crossover):
    margins = margins_of(response, FREQUENCIES)
    assert margins.gain == pytest.approx(gain, rel=2e-3)
    assert margins.phase_deg == pytest.approx(phase_deg, abs=0.05)
    if surge is not None:
        assert margins.surge_rad_per_s == pytest.approx(surge, abs=2e-3)
    if crossover is not None:
        assert margins.crossover_rad_per_s == pytest.approx(crossover, abs=2e-3)


def test_a_loop_that_surges_already_has_a_gain_margin_below_1():
    # 10 / (s + 1)^3 crosses -180 degrees at the root of 3 with a gain of 10 / 8.
    margins = margins_of(10.0 / (S + 1.0) ** 3, FREQUENCIES)
    assert margins.gain == pytest.approx(0.8, rel=2e-3)
    assert margins.surge_rad_per_s == pytest.approx(3.0**0.5, rel=2e-3)
    assert margins.phase_deg < 0.0


def test_dead_time_is_no_pade_approximation():
    # e^-s / (2 s): of first order Padé would make the gain margin 4.00 (computed); it is pi.
    exact = margins_of(np.exp(-S) / (2.0 * S), FREQUENCIES)
    pade = margins_of((1.0 - S / 2.0) / (1.0 + S / 2.0) / (2.0 * S), FREQUENCIES)
    assert pade.gain == pytest.approx(4.0, rel=1e-3)
    assert exact.gain == pytest.approx(3.1416, rel=1e-3)


def test_the_response_of_the_firmwares_loop_is_that_of_the_firmware():
    # The real integer PowerLoop, fed a sine of error about a middle command, against z-transform arithmetic.
    settings = Settings({"gain_uv_per_w": 2000, "integral_ms": 100})
    loop = PowerLoop(settings, 0)
    target_mv, outputs = 2000, []
    frequency_hz, amplitude_w, periods = 5.0, 100.0, 4000
    loop._integral_uv = 1_000_000
    loop._target_uv = 1_000_000
    loop.target_mv = target_mv
    for period in range(periods):
        error_w = round(amplitude_w * np.sin(2 * pi * frequency_hz * period * 0.005))
        target_mv = loop.step(500, 500 - error_w, loop.target_mv, (period + 1) * 5000)
        outputs.append(target_mv / 1000.0)
    times_s = np.arange(periods) * 0.005
    turning = np.exp(-2j * pi * frequency_hz * times_s[-2000:])
    measured = np.sum(np.array(outputs[-2000:]) * turning) / np.sum(
        amplitude_w * np.sin(2 * pi * frequency_hz * times_s[-2000:]) * turning
    )
    expected = firmware_pi_response(PiGains(0.002, 0.1), np.array([2 * pi * frequency_hz]))[0]
    assert abs(measured) == pytest.approx(abs(expected), rel=0.02)
    assert degrees(np.angle(measured)) == pytest.approx(degrees(np.angle(expected)), abs=1.0)
