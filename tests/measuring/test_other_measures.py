"""Ride, load steps, pushes, known values: each against a truth put in."""

import csv

import numpy as np
import pytest

from host_sim.bench.recording import RECORDINGS
from host_sim.bikes.load import BIKES, load_bike
from host_sim.measuring.bike_numbers import write_numbers
from host_sim.measuring.elevation import fit_rides
from host_sim.measuring.estimate import Estimate, NotEnoughError, half_width
from host_sim.measuring.load_steps import fit_load_steps
from host_sim.measuring.log import Log
from host_sim.measuring.road_law import Masses
from host_sim.measuring.workshop import circumference, straight_line
from host_sim.plant.battery import Battery
from host_sim.plant.bicycle import Bicycle
from tests.measuring.coverage import table


def ridden(random, crr=0.006, cda_m2=0.45):
    """One hour over hills with a power that changes, as the plant rides it."""
    bicycle = Bicycle(90.0, cda_m2, crr, 2.1, 0.2, 4.0, chain_efficiency=0.97)
    bicycle.speed_m_per_s = 6.0
    speeds, heights, powers = [], [], []
    height_m = 100.0
    for second in range(3600):
        grade = 0.02 * np.sin(bicycle.distance_m / 300.0)
        power_w = 120.0 + 90.0 * np.sin(second / 170.0)
        speeds.append(bicycle.speed_m_per_s + random.normal() * 0.03)
        heights.append(height_m + random.normal() * 0.2)
        powers.append(power_w)
        before_m = bicycle.distance_m
        for _ in range(20):
            bicycle.step(power_w * 0.97 / max(bicycle.speed_m_per_s, 1.0), 0.0, grade, 0.0, 0.05)
        height_m += grade * (bicycle.distance_m - before_m)
    columns = {"speed_m_per_s": speeds, "altitude_m": heights, "rider_power_w": powers}
    return Log("ride.csv", {"time_s": np.arange(3600.0), **{k: np.array(v) for k, v in columns.items()}})


def test_a_ride_gives_back_what_the_plant_was_made_of():
    fit = fit_rides([ridden(np.random.default_rng(5))], Masses(90.0, 1.8, 1.2), 0.97)
    assert fit.crr.value == pytest.approx(0.006, rel=0.05)
    assert fit.cda_m2.value == pytest.approx(0.45, rel=0.05)
    assert fit.crr.low <= 0.006 <= fit.crr.high
    assert fit.cda_m2.low <= 0.45 <= fit.cda_m2.high


@pytest.mark.parametrize("name", ["a", "b"])
def test_the_recorded_rides_give_believable_numbers_and_their_elevation(name):
    # Mass of rider and bicycle is not recorded; 85 kg is a guess. Unnoticed brakes make rolling large.
    with (RECORDINGS / f"road_ride_{name}.csv").open() as file:
        rows = list(csv.DictReader(file))
    renamed = {"time_s": "elapsed_s"}
    columns = {
        column: np.array([float(row[renamed.get(column, column)] or "nan") for row in rows])
        for column in ("time_s", "speed_m_per_s", "altitude_m", "rider_power_w")
    }
    fit = fit_rides([Log(name, columns)], Masses(85.0, 1.3, 1.2), 0.976)
    assert 0.003 < fit.crr.value < 0.015
    assert 0.15 < fit.cda_m2.value < 0.5
    assert np.median(np.abs(fit.computed_climb_m - fit.climb_m)) < 2.0


def test_a_short_ride_is_not_enough():
    whole = ridden(np.random.default_rng(5))
    short = Log("short", {name: column[:600] for name, column in whole.columns.items()})
    with pytest.raises(NotEnoughError, match="stretches of 60 s"):
        fit_rides([short], Masses(90.0, 1.8, 1.2), 0.97)


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
    assert around.value == pytest.approx(1.89)
    # Student's t 4.303 for 2 degrees of freedom, standard deviation 0.003 over the root of 3.
    assert around.high - around.value == pytest.approx(4.303 * 0.003 / 3**0.5, rel=1e-3)
    scale, offset = straight_line([(0.0, 0.5), (10.0, 10.7), (20.0, 20.9)], "V")
    assert (scale.value, offset.value) == pytest.approx((1.02, 0.5))
    with pytest.raises(NotEnoughError):
        circumference([(18.9, 10.0)])


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
        assert error < 0.3  # An offset is a small number beside its scale.
