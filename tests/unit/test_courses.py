"""Courses: stretches keep what they do not name, gradual values change evenly, wrong files are refused."""

import re
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.bench.course import COURSES, course_from, course_names, load_course
from host_sim.bench.faults import FAULTS
from host_sim.errors import RequestError

START = 'title = "A test"\nseconds = 60\n[[stretch]]\nat_s = 0\n'
NEXT = "[[stretch]]\n"


def course_of(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return load_course(path, known_faults={"magnet missing": ("magnet",), "channels swapped": ()})


def test_the_five_courses_load_with_the_faults_of_the_bench():
    assert course_names() == [
        "broken_sensor",
        "errand",
        "hill",
        "selector_tour",
        "thresholds",
        "turned_by_hand",
    ]
    for name in course_names():
        course = load_course(name)
        assert course.stretches[0].at_s == 0
        assert course.stretches[-1].at_s < course.seconds
    used = {fault.name for stretch in load_course("broken_sensor").stretches for fault in stretch.faults}
    assert used == {"magnet missing", "channel dead", "channels swapped"}
    assert used <= set(FAULTS)


def test_a_ride_begins_standing_with_levers_at_rest_and_the_selector_full(tmp_path):
    first = course_of(tmp_path, START).at(0)
    assert (first.cadence_rpm, first.grade, first.throttle_share, first.wind_m_per_s) == (0, 0, 0, 0)
    assert (first.selector_share, first.selector_position, first.gear_m) == (1, None, 0)
    assert (first.brake_pulled, first.power_switched_on, first.cadence_held) == (False, True, True)
    assert (first.crank_free, first.faults, first.effort_w) == (False, (), 100)


def test_a_stretch_keeps_what_it_does_not_name(tmp_path):
    text = START + "cadence_rpm = 65\ngrade_percent = 4\nbrake = true\n" + NEXT + "at_s = 10\nbrake = false\n"
    later = course_of(tmp_path, text).at(10)
    assert (later.cadence_rpm, later.grade, later.brake_pulled) == (65, 0.04, False)


def test_between_two_stretches_the_earlier_one_holds(tmp_path):
    course = course_of(tmp_path, START + "cadence_rpm = 65\n" + NEXT + "at_s = 10\ncadence_rpm = 0\n")
    assert course.at(9.999).cadence_rpm == 65
    assert course.at(10).cadence_rpm == 0
    assert course.at(1000).cadence_rpm == 0


def test_over_s_changes_what_is_named_evenly(tmp_path):
    text = START + "throttle_percent = 20\n" + NEXT
    text += (
        "at_s = 10\nover_s = 4\nthrottle_percent = 60\ngrade_percent = -8\nwind_m_per_s = 2\neffort_w = 180\n"
    )
    course = course_of(tmp_path, text)
    assert course.at(10).throttle_share == pytest.approx(0.2)
    assert course.at(11).throttle_share == pytest.approx(0.3)
    assert course.at(12).grade == pytest.approx(-0.04)
    assert course.at(13).wind_m_per_s == pytest.approx(1.5)
    assert course.at(12).effort_w == pytest.approx(140)
    assert course.at(14) is course.stretches[1]
    assert course.stretches[1].throttle_share == 0.6


def test_effort_alone_lets_the_cadence_come_and_cadence_holds_it_again(tmp_path):
    text = START + "cadence_rpm = 50\n" + NEXT + "at_s = 10\neffort_w = 150\n"
    text += NEXT + "at_s = 20\ncadence_rpm = 70\n" + NEXT + "at_s = 30\ncadence_rpm = 60\neffort_w = 90\n"
    course = course_of(tmp_path, text)
    assert [stretch.cadence_held for stretch in course.stretches] == [True, False, True, True]
    assert [stretch.cadence_rpm for stretch in course.stretches] == [50, 50, 70, 60]
    assert [stretch.effort_w for stretch in course.stretches] == [100, 150, 150, 90]


def test_gears_are_shifted_for_a_usual_cadence_where_none_was_named(tmp_path):
    assert course_of(tmp_path, START + "effort_w = 120\n").at(0).cadence_rpm == 65


def test_the_selector_is_moved_by_position_or_by_percent(tmp_path):
    text = START + "selector_position = 2\n" + NEXT + "at_s = 10\nselector_percent = 30\n"
    course = course_of(tmp_path, text)
    assert course.at(0).selector_position == 2
    assert (course.at(10).selector_position, course.at(10).selector_share) == (None, 0.3)


def test_faults_hold_until_they_are_named_again(tmp_path):
    text = START + 'fault = [{ name = "magnet missing", magnet = 3 }]\n'
    text += NEXT + "at_s = 5\ncadence_rpm = 60\n" + NEXT + "at_s = 9\nfault = []\n"
    course = course_of(tmp_path, text)
    assert [[fault.name for fault in stretch.faults] for stretch in course.stretches] == [
        ["magnet missing"],
        ["magnet missing"],
        [],
    ]
    assert course.at(0).faults[0].as_spec().magnet == 3


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "title is missing, allowed is a text in quotes of 1 to 100 characters"),
        (
            'title = "x"\nseconds = 60\n',
            "stretch is missing, allowed is a list of 1 to 10000 entries of tables",
        ),
        (START + "cadence = 4\n", "stretch 1.cadence is not a known key, did you mean cadence_rpm?"),
        (START + "cadence_rpm = 201\n", "stretch 1.cadence_rpm is 201, allowed is -150 to 200 (rpm)"),
        (START + 'cadence_rpm = "65"\n', 'stretch 1.cadence_rpm is "65", allowed is -150 to 200 (rpm)'),
        (START + "cadence_rpm = true\n", "stretch 1.cadence_rpm is true, allowed is -150 to 200 (rpm)"),
        (START + "grade_percent = nan\n", "stretch 1.grade_percent is nan, allowed is -25 to 25 (percent)"),
        (START + "brake = 1\n", "stretch 1.brake is 1, allowed is true or false"),
        (START + "selector_position = 1.5\n", "selector_position is 1.5, allowed is a whole number, 1 to 6"),
        (START + "selector_position = 1\nselector_percent = 1\n", "stretch 1 names selector_percent and"),
        (START + "over_s = 2\n", "stretch 1.over_s is 2, allowed is 0 (s)"),
        ('title = "x"\nseconds = 60\n' + NEXT + "at_s = 1\n", "stretch 1.at_s is 1, allowed is 0 (s)"),
        (
            START + NEXT + "at_s = 0\n",
            "stretch 2.at_s is 0, allowed is above 0 (s), that of the stretch before",
        ),
        (START + NEXT + "at_s = 61\n", "stretch 2.at_s is 61, allowed is up to 60 (s), the end of the ride"),
        (
            START + NEXT + "at_s = 58\nover_s = 3\n",
            "stretch 2.at_s is 58 with over_s 3, allowed is up to 60 (s)",
        ),
        (
            START + NEXT + "at_s = 5\nover_s = 3\n" + NEXT + "at_s = 7\n",
            "stretch 3.at_s is 7, allowed is 8 or more",
        ),
        (START + 'fault = [{ name = "magnet mising", magnet = 1 }]\n', "did you mean magnet missing?"),
        (
            START + 'fault = [{ name = "magnet missing" }]\n',
            'is "magnet missing" with no other key, allowed is magnet',
        ),
        (
            START + 'fault = [{ name = "channels swapped", magnet = 1 }]\n',
            'stretch 1.fault 1 is "channels swapped" with magnet, allowed is no other key',
        ),
        (START + 'fault = [{ name = "magnet missing", channel = "C" }]\n', 'is "C", allowed is "A" or "B"'),
        (START + "fault = 3\n", "stretch 1.fault is 3, allowed is a list of 0 to 16 entries of tables"),
        (START + "at_s = 4\n", "this is not TOML"),
        ("title = \n", "this is not TOML: Invalid value (at line 1"),
        ("x = " + "[" * 100_000, "this is not TOML: its values are nested too deep"),
        ("seconds = " + "9" * 5000, "this is not TOML"),
    ],
)
def test_a_bad_course_is_refused_in_one_sentence(tmp_path, text, sentence):
    with pytest.raises(RequestError) as refused:
        course_of(tmp_path, text)
    assert str(refused.value).startswith("mine.toml: ")
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_program_makes_a_course_of_the_same_keys():
    course = course_from(
        "made", "By a test", 30, [{"at_s": 0, "cadence_rpm": 60}, {"at_s": 20, "brake": True}]
    )
    assert (course.name, course.title, course.seconds) == ("made", "By a test", 30)
    assert (course.at(25).cadence_rpm, course.at(25).brake_pulled) == (60, True)
    with pytest.raises(RequestError, match=r"course made: stretch 1\.at_s is 3, allowed is 0"):
        course_from("made", "By a test", 30, [{"at_s": 3}])


def test_an_unknown_course_name_lists_the_known_ones():
    with pytest.raises(
        RequestError, match="no course is called 'erand'; there are broken_sensor, errand, hill"
    ):
        load_course("erand")


@given(
    at=st.integers(0, 900),
    cut=st.integers(0, 12),
    put=st.text(alphabet=st.characters(codec="utf-8"), max_size=8)
    | st.sampled_from(["-1", "1e400", "[]", "{}", "true"]),
)
def test_any_change_to_a_course_loads_or_is_refused(tmp_path_factory, at, cut, put):
    good = (COURSES / "broken_sensor.toml").read_text(encoding="utf-8")
    path = tmp_path_factory.mktemp("course") / "changed.toml"
    path.write_text(good[:at] + put + good[at + cut :], encoding="utf-8", newline="")
    with suppress(RequestError):
        course = load_course(path)
        assert course.at(course.seconds).at_s <= course.seconds


def test_the_manual_of_courses_names_every_fault_with_its_keys():
    text = (COURSES / "README.md").read_text(encoding="utf-8").split("## Faults")[1]
    rows = [line.split("|") for line in text.splitlines() if line.startswith("| `")]
    told = {}
    for _, names, keys, *_ in rows:
        for name in re.findall(r"`([^`]+)`", names):
            told[name] = set(re.findall(r"`([^`]+)`", keys))
    for name in [name for name in told if name.startswith("... ")]:
        keys = told.pop(name)
        for reading in ("throttle", "selector", "battery", "shunt", "motor temperature"):
            told[name.replace("...", reading)] = keys
    assert told == {name: set(keys) for name, (keys, _) in FAULTS.items()}
