"""The fault matrix: its verdicts, its rides, and cells that show what was measured on the bench."""

from pathlib import Path

import matplotlib.image
import pytest

from host_sim.bench.faults import FAULTS
from host_sim.bench.truth import Bounds, Truth
from host_sim.bikes.load import example_names, load_bike
from host_sim.cli.verify_faults import table_lines
from host_sim.report.fault_matrix_figure import COLOURS, draw_fault_matrix
from host_sim.rules.fault_matrix import FAILS, HOLDS, UNSEEN, Cell, Limits, Matrix, fault_matrix, judged
from host_sim.rules.fault_rides import (
    BY_THROTTLE,
    COASTING,
    PEDALLING,
    SITUATIONS,
    STARTING,
    Measured,
    bounds_of,
    columns_km_per_h,
    lines_of,
    ride_cell,
)
from host_sim.rules.fault_rows import INPUTS, ROWS, row_named, rows_for
from host_sim.rules.hazards import load_hazards
from tests.quick_first import quick_first

TABLE = load_hazards()
TRIKE, TANDEM = load_bike("cargo_trike"), load_bike("tandem")
FOLDING, STEP_THROUGH = load_bike("folding"), load_bike("step_through")


def cell_of(bike, row, speed_km_per_h, situation):
    job = (bike, "" if row is None else row, speed_km_per_h, situation, 1)
    return judged(bike, TABLE, None if row is None else row_named(row), job, ride_cell(job))


def measured(**values):
    """What a ride without any excess measured, with these values over it."""
    result = Measured(Truth(Bounds(275.0, 7.6, 0.0)), "", None)
    for name, value in values.items():
        assert hasattr(result, name)
        setattr(result, name, value)
    return result


def judged_as(bike, row, **values):
    return judged(bike, TABLE, row_named(row), (bike, row, 8.0, PEDALLING, 1), measured(**values))


def in_this_process(function, jobs):
    return map(function, jobs)


# Rows and courses.


def test_every_input_and_every_fault_of_the_bench_has_a_row():
    assert tuple(dict.fromkeys(row.input for row in ROWS)) == INPUTS
    used = {fault["name"] for row in ROWS for fault in row.faults}
    assert used == set(FAULTS)
    assert len({row.name for row in ROWS}) == len(ROWS)


def test_a_bike_has_the_rows_of_what_is_fitted():
    folding = {row.input for row in rows_for(FOLDING)}
    assert folding == {
        "crank",
        "wheel",
        "motor controller",
        "brake switch",
        "battery divider",
        "clock",
        "supply",
    }
    assert {row.input for row in rows_for(TRIKE)} == set(INPUTS)
    names = [row.name for row in rows_for(STEP_THROUGH)]
    assert "crank: B stuck low" in names
    assert "crank: A stuck low" not in names


def test_the_columns_are_four_speeds_and_three_above_the_cut_off():
    assert columns_km_per_h(TRIKE) == (3.0, 8.0, 16.0, 22.0, 28.0)
    assert columns_km_per_h(TANDEM) == (3.0, 8.0, 16.0, 22.0, 35.0)


def test_bounds_are_those_of_the_place_with_its_tolerance():
    bounds = bounds_of(TRIKE)
    # 250 W and a tenth; 25 km/h and the tenth that EN 15194 allows a measured speed; 6 km/h for the throttle.
    assert bounds.power_w == pytest.approx(275.0)
    assert bounds.speed_m_per_s * 3.6 == pytest.approx(27.5)
    assert bounds.throttle_m_per_s * 3.6 == pytest.approx(6.0)
    assert bounds_of(FOLDING).throttle_m_per_s == 0.0  # No throttle.
    assert bounds_of(TANDEM).speed_m_per_s * 3.6 == pytest.approx(32.0)


@pytest.mark.parametrize("situation", SITUATIONS)
def test_every_row_makes_a_course_in_every_situation_with_its_fault_at_the_right_time(situation):
    for row in ROWS:
        seconds, fault_s, lines = lines_of(TRIKE, row, 8.0, situation)
        times_s = [line["at_s"] for line in lines]
        assert times_s == sorted(set(times_s))
        assert times_s[-1] < seconds
        told = [line["at_s"] for line in lines if line.get("fault")]
        assert told == ([pytest.approx(fault_s)] if row.faults else [])
    assert (fault_s == 0.0) == (situation == STARTING)


# Verdicts.


@pytest.mark.parametrize(
    ("values", "holds"),
    [
        ({"over_power_j": 10.0}, True),
        ({"over_power_j": 10.1}, False),
        ({"over_speed_j": 700.0}, True),
        ({"over_speed_j": 700.1}, False),
        ({"unpedalled_s": 1.0}, True),
        ({"unpedalled_s": 1.1}, False),
        ({"unpedalled_m": 2.05}, True),
        ({"unpedalled_m": 2.06}, False),
        ({"braked_s": 0.5}, True),
        ({"braked_s": 0.51}, False),
    ],
)
def test_a_cell_holds_up_to_its_limits(values, holds):
    # The folding bicycle: 2 m, by EN 15194 4.2.13.1 b and the parallel text TBIS 15194:2019.
    cell = judged_as(FOLDING, "crank: bounce", **values)
    assert cell.verdict == (HOLDS if holds else FAILS)
    assert bool(cell.why) == (not holds)


def test_a_fault_that_comes_ten_times_may_cost_what_ten_faults_may():
    row = "motor controller: cuts out again and again"
    assert judged_as(TRIKE, row, over_power_j=100.0).verdict == HOLDS
    assert judged_as(TRIKE, row, over_power_j=101.0).verdict == FAILS


def test_what_cannot_be_seen_refers_to_its_hazard_and_fails_beyond_the_size_stated():
    row = "shunt: gain -50 %"
    cell = judged_as(TANDEM, row, over_power_j=9000.0, peak_power_w=1050.0)
    assert (cell.verdict, cell.hazard) == (UNSEEN, "shunt reads wrong by a constant share")
    beyond = judged_as(TANDEM, row, over_power_j=9000.0, peak_power_w=1051.0)
    assert beyond.verdict == FAILS
    assert "more than stated" in beyond.why[0]
    # The entry speaks of power alone: anything else keeps its ordinary limit.
    assert judged_as(TANDEM, row, over_power_j=90.0, unpedalled_s=3.0).verdict == FAILS
    # And of speed controllers alone.
    assert judged_as(TRIKE, row, over_power_j=90.0, peak_power_w=300.0).verdict == FAILS


def test_a_ride_without_a_fault_has_no_excuse():
    job = (TANDEM, "", 8.0, PEDALLING, 1)
    assert judged(TANDEM, TABLE, None, job, measured(over_power_j=11.0)).verdict == FAILS


def test_limits_of_the_hazard_table_replace_only_what_they_name():
    unseen = next(one for hazard in TABLE.hazard for one in hazard.unseen if one.braked_s is not None)
    ordinary, stated = Limits(TRIKE), Limits(TRIKE, 1, unseen)
    assert stated.braked_s == unseen.braked_s
    assert (stated.over_power_j, stated.over_speed_j) == (ordinary.over_power_j, ordinary.over_speed_j)
    assert (stated.run_on_s, stated.run_on_m) == (ordinary.run_on_s, ordinary.run_on_m)


# Rides.


@pytest.mark.parametrize("name", quick_first(2, example_names()))
def test_without_a_fault_every_bike_holds_in_every_situation(name):
    bike = load_bike(name)
    for situation in SITUATIONS:
        for speed_km_per_h in (8.0, columns_km_per_h(bike)[-1]):
            cell = cell_of(bike, None, speed_km_per_h, situation)
            assert (cell.verdict, cell.why) == (HOLDS, [])
    assert cell_of(bike, None, 16.0, PEDALLING).measured.peak_power_w > 100.0


def test_a_cell_is_the_same_each_time_it_is_ridden():
    for row in ("crank: noise 5 a second", "throttle: dropouts", "wheel: dropouts 30 %"):
        one, two = (cell_of(TRIKE, row, 8.0, STARTING).as_json() for _ in range(2))
        assert one == two


@pytest.mark.parametrize(
    ("bike", "row", "speed_km_per_h", "situation"),
    [
        (TRIKE, "crank: A stuck as it is", 16.0, COASTING),
        (TRIKE, "crank: both interference 5 Hz", 8.0, COASTING),
        (TRIKE, "clock: jumps back 5 s", 22.0, COASTING),
        (TRIKE, "clock: stands still", 22.0, PEDALLING),
        (TRIKE, "battery divider: gain -50 %", 16.0, PEDALLING),
        (TRIKE, "throttle: stuck high", 3.0, BY_THROTTLE),
        (TRIKE, "supply: comes and goes", 8.0, PEDALLING),
        (TRIKE, "shunt: stuck high", 16.0, PEDALLING),
        (STEP_THROUGH, "crank: legs turn backward", 16.0, PEDALLING),
        (STEP_THROUGH, "crank: B interference 5 Hz", 8.0, COASTING),
    ],
)
def test_a_slice_of_the_matrix_holds(bike, row, speed_km_per_h, situation):
    cell = cell_of(bike, row, speed_km_per_h, situation)
    assert (cell.verdict, cell.why) == (HOLDS, [])


@pytest.mark.parametrize(
    ("bike", "row", "speed_km_per_h", "situation"),
    [
        (FOLDING, "crank: A interference 5 Hz", 16.0, COASTING),  # A still crank drives.
        (FOLDING, "crank: legs turn backward", 16.0, PEDALLING),
        (FOLDING, "wheel: half the pulses", 28.0, PEDALLING),
        (TRIKE, "brake switch: shorted, never pulled", 8.0, PEDALLING),
        (TRIKE, "clock: runs half as fast again", 28.0, PEDALLING),
        (TRIKE, "throttle: stuck as it is", 3.0, BY_THROTTLE),
        (TANDEM, "shunt: gain -50 %", 16.0, PEDALLING),
    ],
)
def test_what_no_software_can_see_is_measured_and_stays_within_its_size(bike, row, speed_km_per_h, situation):
    cell = cell_of(bike, row, speed_km_per_h, situation)
    assert cell.verdict == UNSEEN, cell.why


@pytest.mark.parametrize(
    ("bike", "row", "speed_km_per_h", "situation"),
    [
        (TRIKE, "shunt: dead or open", 22.0, PEDALLING),  # 586 W on 250 W.
        (TRIKE, "shunt: dead or open", 8.0, STARTING),
        (TANDEM, "shunt: dead or open", 16.0, STARTING),  # 1,000 W on 500 W.
        (TRIKE, "shunt: stuck at 0.72 A", 8.0, PEDALLING),
        (TRIKE, "wheel: half the pulses", 28.0, STARTING),  # 20 of 20 s.
        (TRIKE, "wheel: lost, open or stuck", 28.0, PEDALLING),  # 5.9 s.
    ],
)
def test_a_single_sensor_fault_gives_no_more_than_was_allowed(bike, row, speed_km_per_h, situation):
    cell = cell_of(bike, row, speed_km_per_h, situation)
    assert (cell.verdict, cell.why) == (HOLDS, [])


# The whole, on paper.


def _small_matrix(verdict: str) -> Matrix:
    cells = []
    for row in ("no fault", "shunt: dead or open"):
        for situation in SITUATIONS:
            for speed_km_per_h in columns_km_per_h(TRIKE):
                worse = row != "no fault" and speed_km_per_h == 8.0
                why = ["586 W of 250 W, 5987 J too much in 20.0 s"] if worse and verdict != HOLDS else []
                hazard = "wheel slips" if worse and verdict == UNSEEN else ""
                cells.append(
                    Cell(row, speed_km_per_h, situation, measured(), verdict if worse else HOLDS, why, hazard)
                )
    return Matrix(TRIKE, ["no fault", "shunt: dead or open"], cells)


def test_the_table_shows_the_worst_situation_of_each_speed_within_80_columns():
    lines = table_lines(_small_matrix(FAILS))
    assert lines[2].split() == ["shunt:", "dead", "or", "open", "holds", "FAILS", "holds", "holds", "holds"]
    longest = max(len(row.name) for row in ROWS)
    assert longest + 5 * 7 <= 80


@pytest.mark.parametrize("verdict", [HOLDS, FAILS, UNSEEN])
def test_the_picture_has_the_colour_of_a_verdict_only_where_it_was_given(tmp_path: Path, verdict):
    path = tmp_path / "faults.png"
    draw_fault_matrix(_small_matrix(verdict), path)
    pixels = matplotlib.image.imread(path)[:, :, :3]

    def area(colour):
        wanted = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
        return int((abs(pixels - wanted).max(axis=2) < 0.004).sum())

    key = area(COLOURS[FAILS]) if verdict != FAILS else area(COLOURS[UNSEEN])
    # Beside the sample in the key, four cells: one for each situation.
    if verdict == HOLDS:
        assert area(COLOURS[UNSEEN]) < 1.6 * key
    else:
        assert area(COLOURS[verdict]) > 2.0 * key


def test_one_row_is_ridden_alone_by_its_name_and_reported_as_it_goes():
    seen = []
    matrix = fault_matrix(
        FOLDING, TABLE, 1, in_this_process, lambda *done: seen.append(done), "crank: A stuck low"
    )
    assert matrix.rows == ["crank: A stuck low"]
    assert len(matrix.cells) == 3 * 5  # No throttle.
    assert seen[-1] == (15, 15)
    assert matrix.holds
    assert matrix.cell("crank: A stuck low", 16.0, STARTING).verdict == HOLDS
    with pytest.raises(KeyError, match="crank: A stuck low at 17 km/h, starting"):
        matrix.cell("crank: A stuck low", 17.0, STARTING)
