"""The recommendation against brute force: within 3 % of the best score that a sweep finds."""

import pytest

from host_sim.bikes.load import load_bike
from host_sim.tuning.drive import choose_drive
from host_sim.tuning.drive_bench import DriveBench, DriveSettings
from host_sim.tuning.identify import identify_at
from host_sim.tuning.operating import OperatingPoint
from host_sim.tuning.score import PRIORITIES
from tests.tuning.brute import FULL_GRID, Grid, bike_grid, sweep_drive
from tests.tuning.compare import compare, compare_all

pytestmark = pytest.mark.slow

SMALL = Grid(
    engage_edges=(3, 5),
    engage_rpm=(22, 30),
    release_rpm=(9, 13, 16),
    stop_pitch_percent=(100, 160),
    rise_mv_per_s=(300, 700, 1500),
    gain_factors=(0.1, 0.4, 1.0),
    integral_ms=(70,),
)


def test_the_folding_bicycle_is_within_3_percent_of_a_small_sweep(folding_tuned):
    found = compare("folding", folding_tuned, SMALL, map)
    assert found.over_percent <= 3.0


def test_a_loop_around_a_slow_power_stage_is_within_3_percent_of_a_small_sweep():
    # This bicycle has a side valley of small gains, a third above the best: near steps alone stayed in it.
    name, bike, priority = next(entry for entry in bike_grid() if "slow power stage" in entry[0])
    plants = [identify_at(bike, OperatingPoint(7.7, 1.0, 1.0))]
    chosen = choose_drive(bike, plants, priority).chosen
    best, _ = sweep_drive(bike, plants, priority, DriveSettings(1, 1738, 82), SMALL, map)
    assert chosen.score <= 1.03 * best, name


def test_a_soft_loop_behind_a_quick_ramp_is_found_where_it_is_the_best():
    # Around the best of the slow ramps, 600 mV/s and 521 uV/W, the score is 4.8; a sweep found 4.0 elsewhere.
    name, bike, priority = next(entry for entry in bike_grid() if "heavy trike" in entry[0])
    plants = [identify_at(bike, OperatingPoint(5.8, 1.0, 1.0))]
    chosen = choose_drive(bike, plants, priority).chosen
    assert chosen.score < 4.0, name
    assert chosen.settings.rise_mv_per_s > 4000


def test_a_recommendation_that_ignores_the_loop_would_not_pass():
    # So that the 3 % are worth something: gains a fifth of the derived ones score far worse.
    bike = load_bike("tandem")
    plants = [identify_at(bike, OperatingPoint(7.7, 1.0, 1.0))]
    bench = DriveBench(bike, plants, PRIORITIES["balanced"])
    assert bench.ride(DriveSettings(600, 59, 45)).score > 1.3 * bench.ride(DriveSettings(460, 305, 23)).score


def test_the_grid_of_bikes_covers_kinds_controllers_and_priorities():
    bikes = bike_grid()
    assert {bike.pedal_sensor.kind for _, bike, _ in bikes} == {"two channels", "one channel", "duty-coded"}
    assert {bike.motor_controller.kind for _, bike, _ in bikes} == {"torque", "speed"}
    assert {bike.shunt.fitted for _, bike, _ in bikes} == {True, False}
    assert {priority.name for _, _, priority in bikes} == {"calm", "balanced", "quick"}
    assert len(FULL_GRID.rise_mv_per_s) * len(FULL_GRID.gain_factors) * len(FULL_GRID.integral_ms) == 200


def test_over_the_whole_grid_of_bikes_every_recommendation_is_within_3_percent():
    for found in compare_all():
        assert found.over_percent <= 3.0, found
