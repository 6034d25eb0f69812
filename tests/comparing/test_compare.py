"""A wrong number in the bike file is found from a log; if nothing is wrong, nothing is named."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from typer.testing import CliRunner

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bikes.load import BIKES, load_bike
from host_sim.cli.program import app
from host_sim.comparing.causes import find_causes
from host_sim.comparing.difference import gaps, match
from host_sim.comparing.effort import Effort, effort_of
from host_sim.comparing.measured import measured
from host_sim.comparing.predicted import LogScript, predict
from host_sim.comparing.road_alone import coasting
from host_sim.errors import RequestError
from host_sim.measuring.intervals import ALIKE_ON_THE_ROAD, DRIVE, ROAD, WHEEL_PULSES, intervals
from host_sim.replay.log_file import Section
from tests.bench_log import ridden_section, write_log
from tests.quick_first import quick_first

SECONDS = 84.0
RIDDEN = [
    {"at_s": 0, "cadence_rpm": 0},
    {"at_s": 3, "cadence_rpm": 64, "effort_w": 90.0},
    {"at_s": 32, "cadence_rpm": 0},
    {"at_s": 54, "cadence_rpm": 60, "selector_percent": 100},
    {"at_s": 70, "cadence_rpm": 0},
    {"at_s": 74, "cadence_rpm": 70, "grade_percent": 4.0},
]
LOOKED_AT = ROAD + ALIKE_ON_THE_ROAD + DRIVE
NUMBERS = {number.name: number for number in (*LOOKED_AT, WHEEL_PULSES)}


@cache
def ridden(bike_name: str, number: str = "", factor: float = 1.0) -> Section:
    """Ride a bicycle of which one number differs from its file."""
    bike = load_bike(bike_name)
    if number:
        value = NUMBERS[number].of(bike) * factor
        bike = NUMBERS[number].changed(bike, round(value) if number == WHEEL_PULSES.name else value)
    return ridden_section(bike, CourseScript(course_from("out", "out", SECONDS, RIDDEN)), SECONDS, seed=5)


def causes(bike_name: str, section: Section):
    bike = load_bike(bike_name)
    return find_causes(bike, measured(section), intervals(BIKES / f"{bike_name}.toml", bike, LOOKED_AT))


@pytest.mark.parametrize("bike_name", quick_first(1, ["cargo_trike", "tandem"]))
def test_a_ride_of_the_very_bike_is_predicted_and_nothing_is_named(bike_name):
    ride = measured(ridden(bike_name))
    predicted = predict(load_bike(bike_name), ride)
    found = gaps(predicted, ride)
    assert abs(found["battery_power"].mean) < 0.05 * found["battery_power"].measured_mean
    assert abs(found["speed"].mean) < 0.2
    helps = match(predicted, ride)
    assert (helps.both, helps.measured_only, helps.predicted_only) == (3, 0, 0)
    assert helps.begins_later_s is not None
    assert abs(helps.begins_later_s) < 0.3
    found_causes = causes(bike_name, ridden(bike_name))
    assert (found_causes.named, found_causes.slope_or_wind) == ([], False)


def test_the_bench_has_the_crank_of_the_log_only_as_far_as_gears_and_wheel_allow():
    # On a road, a wheel that stands in the log can't be pedalled: the crank stands too.
    ride = measured(ridden("cargo_trike"))
    stands = replace(ride, speed_m_per_s=0.0 * ride.speed_m_per_s)
    bike = load_bike("cargo_trike")
    bench = bench_for(bike, 1)
    worst: list[float] = []

    class Watch(StepWatch):
        def begin(self, world, controller):
            self.world = world

        def look(self, outputs):
            most = self.world.bicycle.speed_m_per_s * 2.0 * np.pi / bike.bicycle.development_low_m
            worst.append(abs(self.world.rider.crank_rad_per_s) - most)

    bench.watch(Watch())
    effort = effort_of(bike, stands)
    bench.ride(LogScript(bike, stands, effort), 20.0)
    assert max(effort.rider_power_w) == 0.0
    assert max(worst) < 0.05


def test_a_hill_of_the_log_stays_where_it_is_for_a_slower_bench():
    ride = measured(ridden("cargo_trike"))
    bike = load_bike("cargo_trike")
    effort = effort_of(bike, ride)
    hill = Effort([0.0] * len(effort.grade), [0.0] * len(effort.grade), [0.0] * len(effort.grade))
    begins = 25
    hill.grade[begins:] = [0.05] * (len(hill.grade) - begins)
    way_m = float(np.sum(ride.speed_m_per_s[: begins * 10])) * 0.1
    script, bench = LogScript(bike, ride, hill), bench_for(bike, 1)
    seen: list[tuple[float, float]] = []

    class Watch(StepWatch):
        def begin(self, world, controller):
            self.world = world

        def look(self, outputs):
            seen.append((self.world.bicycle.distance_m, self.world.grade))

    bench.watch(Watch())
    bench.ride(script, SECONDS)
    # Only the motor drives here: the bench is slower, and reaches the hill later, or never.
    assert {grade for distance_m, grade in seen if distance_m < way_m - 1.0} == {0.0}
    assert {grade for distance_m, grade in seen if distance_m > way_m + 1.0} <= {0.05}


@pytest.mark.parametrize(
    ("bike_name", "number", "factor", "alike"),
    quick_first(
        1,
        [
            ("cargo_trike", "bicycle.mass_kg", 1.19, "bicycle.drag_area_m2"),
            ("tandem", "bicycle.mass_kg", 0.85, "bicycle.drag_area_m2"),
            ("tandem", "bicycle.wheel_circumference_m", 0.81, "bicycle.mass_kg"),
            ("tandem", "bicycle.drag_area_m2", 1.19, "bicycle.mass_kg"),
        ],
    ),
)
def test_what_coasting_can_not_distinguish_is_named_together(bike_name, number, factor, alike):
    found = causes(bike_name, ridden(bike_name, number, factor))
    (group,) = found.not_distinguished
    by_name = {cause.number.name: cause for cause in group}
    assert {number, alike} <= set(by_name)
    assert by_name[number].value / by_name[number].file_value == pytest.approx(factor, rel=0.01)
    assert by_name[number].share > 0.95
    assert all(cause.number not in DRIVE for cause in found.named)


@pytest.mark.parametrize("bike_name", ["folding", "step_through"])
def test_a_hill_where_it_coasts_is_no_number_of_the_bicycle(bike_name):
    lines = [
        *({"at_s": 0, "cadence_rpm": 0}, {"at_s": 3, "cadence_rpm": 55, "effort_w": 120.0}),
        *(
            {"at_s": 20, "cadence_rpm": 50, "grade_percent": 5.0},
            {"at_s": 35, "cadence_rpm": 0, "grade_percent": -3.0},
        ),
        *(
            {"at_s": 50, "cadence_rpm": 75, "grade_percent": 0.0},
            {"at_s": 60, "cadence_rpm": 0, "brake": True},
        ),
    ]
    script = CourseScript(course_from("hills", "hills", 66.0, lines))
    found = causes(bike_name, ridden_section(load_bike(bike_name), script, 66.0, seed=9))
    assert (found.named, found.slope_or_wind) == ([], True)


@pytest.mark.parametrize(
    "magnets", [pytest.param(4, marks=pytest.mark.long), pytest.param(1, marks=pytest.mark.slow)]
)
def test_a_wheel_sensor_with_other_magnets_than_the_file_says_is_named(magnets):
    assert load_bike("tandem").wheel_sensor.pulses_per_rev == 2
    first = causes("tandem", ridden("tandem", WHEEL_PULSES.name, magnets / 2)).named[0]
    assert (first.number.name, first.value) == (WHEEL_PULSES.name, magnets)
    assert first.share > 0.95


@pytest.mark.parametrize(
    ("bike_name", "number", "factor"),
    quick_first(
        1,
        [
            pytest.param("tandem", "motor.torque_constant_nm_per_a", 1.08, marks=pytest.mark.long),
            pytest.param("tandem", "motor.resistance_ohm", 0.85, marks=pytest.mark.slow),
            pytest.param("tandem", "battery.resistance_ohm", 1.19, marks=pytest.mark.slow),
            ("cargo_trike", "motor_controller.start_v", 0.9),
            pytest.param("cargo_trike", "motor.current_limit_a", 0.88, marks=pytest.mark.slow),
            ("cargo_trike", "bicycle.rolling_coefficient", 1.19),
            pytest.param("cargo_trike", "bicycle.drag_area_m2", 0.81, marks=pytest.mark.slow),
        ],
    ),
)
def test_a_number_that_is_wrong_is_named_first_with_its_true_value(bike_name, number, factor):
    named = causes(bike_name, ridden(bike_name, number, factor)).named
    assert named
    assert named[0].number.name == number
    assert named[0].value / named[0].file_value == pytest.approx(factor, rel=0.01)
    assert named[0].share > 0.7
    assert not named[0].interval.measured


@pytest.mark.long
def test_a_number_known_by_measuring_is_moved_within_its_interval_only(tmp_path):
    text = (BIKES / "tandem.toml").read_text(encoding="utf-8")
    old = "resistance_ohm = 0.22\n"
    assert text.count(old) == 1
    said = "resistance_ohm = 0.22   # measured by stand run, 95 % 0.215 to 0.225; before: by a meter\n"
    path = tmp_path / "own.toml"
    path.write_text(text.replace(old, said), encoding="utf-8")
    bike = load_bike(str(path))
    known = intervals(path, bike, DRIVE)
    number = NUMBERS["motor.resistance_ohm"]
    assert (known[number].low, known[number].high, known[number].measured) == (0.215, 0.225, True)
    found = find_causes(
        bike,
        measured(ridden("tandem", number.name, 0.85)),
        known | intervals(path, bike, ROAD + ALIKE_ON_THE_ROAD),
    )
    moved = [one for one in found.named if one.number is number]
    assert [(one.at_end, one.interval.measured) for one in moved] == [(True, True)] * len(moved)
    assert found.named[0].number is not number


@pytest.mark.parametrize(
    "comment",
    [
        "measured by hand",
        "measured by stand run, 95 % 0.3 to 0.4",
        "measured by stand run, 95 % 0.225 to 0.215",
        "measured by stand run, 95 % e to -",
        "",
    ],
)
def test_a_comment_that_gives_no_interval_around_the_value_counts_as_not_measured(tmp_path, comment):
    text = (BIKES / "tandem.toml").read_text(encoding="utf-8")
    path = tmp_path / "own.toml"
    line = f"resistance_ohm = 0.22   # {comment}\n"
    path.write_text(text.replace("resistance_ohm = 0.22\n", line), encoding="utf-8")
    known = intervals(path, load_bike(str(path)), DRIVE)[NUMBERS["motor.resistance_ohm"]]
    assert not known.measured
    assert (known.low, known.high) == pytest.approx((0.176, 0.264))


def test_the_measured_series_are_those_of_the_bench_and_coasting_is_found():
    ride = measured(ridden("cargo_trike"))
    assert ride.seconds == pytest.approx(SECONDS, abs=0.2)
    assert np.median(ride.cadence_rpm[100:300]) == pytest.approx(64, abs=1.5)
    assert [round(start / 10) for start, _ in coasting(ride)] == [33]
    assert len(ride.spans_s) == 3
    assert ride.spans_s[0][0] == pytest.approx(3.5, abs=1.0)


@pytest.mark.parametrize("bike_name", ["step_through", "cargo_trike"])
def test_pedalling_backward_is_backward_in_the_log_of_each_kind_of_sensor(bike_name):
    lines = [{"at_s": 0, "cadence_rpm": 0}, {"at_s": 2, "cadence_rpm": 60}, {"at_s": 8, "cadence_rpm": -40}]
    script = CourseScript(course_from("back", "back", 14.0, lines))
    ride = measured(ridden_section(load_bike(bike_name), script, 14.0, seed=3))
    assert np.median(ride.cadence_rpm[40:75]) == pytest.approx(60, abs=2)
    assert np.median(ride.cadence_rpm[90:130]) == pytest.approx(-40, abs=2)
    predicted = predict(load_bike(bike_name), ride)
    helps = match(predicted, ride)
    assert (helps.both, helps.measured_only, helps.predicted_only) == (1, 0, 0)


def test_a_log_that_begins_at_rest_for_a_moment_begins_at_rest():
    lines = [{"at_s": 0, "cadence_rpm": 0}, {"at_s": 2, "cadence_rpm": 35, "effort_w": 40.0}]
    script = CourseScript(course_from("start", "start", 14.0, lines))
    ride = measured(ridden_section(load_bike("step_through"), script, 14.0, seed=9))
    assert ride.speed_m_per_s[0] == 0.0
    assert ride.speed_m_per_s[60] > 2.0


def test_a_ring_from_the_middle_of_a_ride_is_compared_too():
    section = ridden("cargo_trike")
    blocks = [block for block in section.blocks if block.step > 15 * 200]
    ride = measured(Section("paper", "source", section.settings, True, blocks))
    predicted = predict(load_bike("cargo_trike"), ride)
    assert ride.speed_m_per_s[0] > 3.0
    found = gaps(predicted, ride)
    assert abs(found["battery_power"].mean) < 0.1 * found["battery_power"].measured_mean


# The command.


def run(*arguments):
    result = CliRunner().invoke(app, ["compare", *arguments])
    if isinstance(result.exception, RequestError):
        raise result.exception
    return result


@pytest.mark.long
def test_the_command_gives_json_a_picture_and_what_is_set_otherwise(tmp_path):
    log = write_log(tmp_path / "out.steps", ridden("cargo_trike", "motor.current_limit_a", 0.88))
    done = run("cargo_trike", str(log), "--json", "--out", str(tmp_path / "new"))
    told = json.loads(done.stdout)
    assert told["causes"][0]["number"] == "motor.current_limit_a"
    assert told["engagements"]["both"] == 3
    assert set(told["errors"]) == {"speed", "battery_power", "command"}
    assert (told["other_settings"], told["seconds"]) == ([], pytest.approx(SECONDS, abs=0.2))
    assert (tmp_path / "new" / "compare.png").read_bytes().startswith(b"\x89PNG")
    other = run("folding", str(log), "--seconds", "12", "--out", str(tmp_path / "other"))
    assert "the board's settings differ from the bike file's" in other.stdout
    assert "bench minus road" in other.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("cargo_trike", "nosuch.steps"), "nosuch.steps: there is no such file"),
        (("nosuch", "out.steps"), "nosuch"),
        (("cargo_trike", "out.steps", "--seconds", "9"), "--seconds is 9, allowed is 10 to 1800"),
        (("cargo_trike", "out.steps", "--seconds", "long"), "--seconds is 'long', allowed is a number"),
        (("cargo_trike", "short.steps"), "s without a gap, allowed is 10 s or more"),
        (("cargo_trike", "text.csv"), "is not a log of treadle watch"),
        (
            ("cargo_trike", "newer.steps"),
            "the log's settings do not fit this version of the firmware: engage_rpm",
        ),
    ],
)
def test_what_can_not_be_compared_is_refused_in_a_sentence(tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    section = ridden("cargo_trike")
    write_log(tmp_path / "out.steps", section)
    write_log(
        tmp_path / "short.steps", Section("paper", "source", section.settings, False, section.blocks[:3])
    )
    newer = section.settings | {"engage_rpm": 100_000}
    write_log(tmp_path / "newer.steps", Section("paper", "source", newer, False, section.blocks))
    (tmp_path / "text.csv").write_text("time_s\n0\n", encoding="utf-8")
    with pytest.raises(RequestError, match=said):
        run(*words)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "newer.steps",
        "out.steps",
        "short.steps",
        "text.csv",
    ]
