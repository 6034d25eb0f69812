"""Load steps, pushes, known values: each against a known truth."""

import numpy as np
import pytest
from scipy.stats import linregress
from scipy.stats import t as student

from host_sim.bikes.load import BIKES, load_bike
from host_sim.measuring.bike_numbers import write_numbers
from host_sim.measuring.estimate import Estimate, NotEnoughError, half_width
from host_sim.measuring.load_steps import fit_load_steps
from host_sim.measuring.log import Log
from host_sim.measuring.workshop import circumference, straight_line
from host_sim.plant.battery import Battery
from tests.measuring.coverage import table


def test_load_steps_give_the_pack_of_the_plant():
    random = np.random.default_rng(2)
    battery = Battery(42.0, 31.0, 14.0, 0.12, 0.9)
    current_a = np.where(np.arange(1200) // 100 % 2 == 1, 8.0, 0.3)
    voltages = []
    for value in current_a:
        battery.step(float(value), 0.1)
        voltages.append(battery.voltage_v + random.normal() * 0.02)
    columns = {"time_s": np.arange(1200) * 0.1, "battery_v": np.array(voltages), "current_a": current_a}
    fit = fit_load_steps(Log("steps.csv", columns))
    assert fit.resistance_ohm.value == pytest.approx(0.12, rel=0.02)
    assert fit.resistance_ohm.low <= 0.12 <= fit.resistance_ohm.high
    assert fit.no_load_v.value == pytest.approx(40.9, abs=0.02)
    steady = {**columns, "current_a": np.full(1200, 3.0)}
    with pytest.raises(NotEnoughError, match="0 steps"):
        fit_load_steps(Log("steady.csv", steady))


def test_pushes_and_known_values():
    around = circumference([(18.90, 10.0), (18.93, 10.0), (18.87, 10.0)])
    assert around.slope.value == pytest.approx(1.89)
    # Student's t 4.303 for 2 degrees of freedom, standard deviation 0.003 over the root of 3.
    assert around.slope.high - around.slope.value == pytest.approx(4.303 * 0.003 / 3**0.5, rel=1e-3)
    assert around.residuals == pytest.approx([0.0, 0.03, -0.03])
    line = straight_line([(0.0, 0.5), (10.0, 10.7), (20.0, 20.9)], "V")
    assert (line.slope.value, line.at_zero.value) == pytest.approx((1.02, 0.5))
    assert line.residuals == pytest.approx([0.0, 0.0, 0.0], abs=1e-6)
    with pytest.raises(NotEnoughError):
        circumference([(18.9, 10.0)])
    with pytest.raises(NotEnoughError, match="all readings are equal"):
        straight_line([(5.0, 5.1), (5.0, 5.2), (5.0, 5.0)], "V")


@pytest.mark.parametrize("pairs", [[(3, 4), (20, 18), (41, 44), (60, 57)], [(-2, 1), (0.1, 0.2), (5, -9)]])
def test_known_values_have_the_line_and_the_errors_of_another_library(pairs):
    outside = linregress([reading for reading, _ in pairs], [true for _, true in pairs])
    factor = student.ppf(0.975, len(pairs) - 2)
    line = straight_line(pairs, "V")
    assert line.slope.value == pytest.approx(outside.slope, rel=1e-6)
    assert line.at_zero.value == pytest.approx(outside.intercept, rel=1e-5)
    assert line.slope.high - line.slope.value == pytest.approx(factor * outside.stderr, rel=1e-5)
    half = line.at_zero.high - line.at_zero.value
    assert half == pytest.approx(factor * outside.intercept_stderr, rel=1e-5)


def test_leaving_one_out_of_plain_means_is_the_standard_error_of_the_mean():
    values = [1.0, 2.0, 4.0, 5.0, 8.0]
    without = [(sum(values) - value) / 4 for value in values]
    # Standard error 1.2247; Student's t 2.776 for 4 degrees of freedom (tables).
    assert half_width(without, 1) == pytest.approx(2.776 * 1.2247, rel=1e-3)


def test_writing_keeps_comments_and_says_that_it_was_measured(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text((BIKES / "cargo_trike.toml").read_text(encoding="utf-8"), encoding="utf-8")
    numbers = {
        "crr": (Estimate(0.0071, 0.0004, ""), "6 coast-downs"),
        "no_load_v": (Estimate(40, 1, "V"), "x"),
    }
    write_numbers(path, numbers)
    write_numbers(path, numbers)
    text = path.read_text(encoding="utf-8")
    assert load_bike(path).bicycle.rolling_coefficient == 0.0071
    assert "measured by 6 coast-downs, 95 % 0.0067 to 0.0075" in text
    assert "# 24 x 1.75" in text
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("kind", ["load-steps", "pushed", "known"])
def test_intervals_hold_the_truth_of_random_bicycles(kind):
    # 200 of each, with this seed, are in the README of host_sim/measuring.
    for cases, held, error in table(kind, 40, 1).values():
        assert cases == 40
        assert held >= 0.85
        assert error < 0.3  # An offset is small compared with its scale.
