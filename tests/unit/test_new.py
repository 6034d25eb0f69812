"""`treadle new`: a file that explains every key, loads and rides at once, and says what in it is a guess."""

import json
import os
import pty
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import load_course
from host_sim.bench.script import CourseScript
from host_sim.bikes import example_names, load_bike
from host_sim.bikes.key_notes import _ONLY_BENCH, NOTES
from host_sim.bikes.keys import README, dotted, keys_of_model, range_of, readme_with_table
from host_sim.errors import RequestError
from host_sim.places.limits import place_names

LONGTAIL = (
    *("--volts", "48", "--watts", "750", "--sensor", "two-channel"),
    *("--pulses", "12", "--place", "us_class_2"),
)
ROOT = Path(__file__).resolve().parents[2]


def test_the_file_holds_what_was_told_and_counts_its_guesses(treadle, here):
    code, out, err = treadle("new", "longtail", *LONGTAIL, "--json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert list(told) == ["file", "title", "place", "guesses", "caution"]
    bike = load_bike(here / "longtail.toml")
    assert (bike.place, bike.motor.rated_power_w, bike.pedal_sensor.pulses_per_rev) == (
        "us_class_2",
        750,
        12,
    )
    # 13 cells of 4.2 V make what is sold as 48 V.
    assert (bike.battery.full_v, bike.battery.empty_v) == (54.6, 40.9)
    text = (here / "longtail.toml").read_text(encoding="utf-8")
    assert text.count("# GUESS. ") == len(told["guesses"])
    assert "pedal_sensor.pulses_per_rev" not in told["guesses"]
    assert "motor.resistance_ohm" in told["guesses"]


def test_every_key_stands_in_the_file_with_its_range_and_a_typical_value(treadle, here):
    treadle("new", "longtail", *LONGTAIL)
    text = " ".join((here / "longtail.toml").read_text(encoding="utf-8").replace("\n# ", " ").split())
    for section, key in keys_of_model():
        note = NOTES[dotted(section, key)]
        assert f"{note.meaning} Allowed: {range_of(section, key)}. " in text, key
        if key != "settings":
            assert f"Typical: {note.typical} ({note.source})." in text, key


@pytest.mark.parametrize(
    ("volts", "watts", "sensor", "pulses", "place", "more"),
    [
        ("24", "250", "one-channel", "6", "eu", ()),
        ("36", "250", "duty-coded", "32", "uk", ("--controller", "torque", "--side", "left")),
        ("48", "500", "two-channel", "24", "british_columbia", ("--brakes", "all", "--throttle", "yes")),
        ("52", "749", "two-channel", "64", "us_federal", ("--selector", "6", "--shunt", "no")),
        ("48", "750", "two-channel", "4", "us_class_3", ("--selector", "potentiometer", "--wheel", "2.2")),
    ],
)
def test_the_new_bike_rides_at_once_and_is_helped_without_a_fault(
    treadle, here, volts, watts, sensor, pulses, place, more
):
    answers = ("--volts", volts, "--watts", watts, "--sensor", sensor, "--pulses", pulses, "--place", place)
    assert treadle("new", "mine", *answers, *more)[0] == 0
    bench = bench_for(load_bike(here / "mine.toml"), 1)
    bench.ride(CourseScript(load_course("errand")), 60.0)
    assert bench.meter.engagements >= 1
    assert bench.meter.faults == []


def test_too_few_pulses_for_steady_help_are_said_at_once(treadle, here):
    answers = ("--volts", "48", "--watts", "500", "--place", "private_ground", "--pulses")
    code, said = treadle("new", "sparse", *answers, "4", "--sensor", "duty-coded")[:2]
    assert code == 0
    assert "caution    4 pulses, 2 m and 27.9 km/h conflict: below 82 rpm" in said
    assert "caution" not in treadle("new", "dense", *answers, "12", "--sensor", "two-channel")[1]
    assert (
        json.loads(treadle("new", "plain", *answers, "12", "--sensor", "two-channel", "--json")[1])["caution"]
        == ""
    )


@pytest.mark.parametrize("place", place_names())
def test_every_place_takes_a_new_bike(treadle, here, place):
    code, _, err = treadle("new", "mine", *LONGTAIL[:2], "--watts", "200", *LONGTAIL[4:8], "--place", place)
    assert (code, err) == (0, "")


REFUSALS = {
    ("../mine", *LONGTAIL): 'NAME is "../mine", allowed is a name without a folder',
    ("", *LONGTAIL): 'NAME is "", allowed is a name that begins with a letter or digit',
    ("..", *LONGTAIL): "allowed is a name",
    ("...", *LONGTAIL): 'NAME is "...", allowed is a name that begins with a letter or digit',
    (".hidden", *LONGTAIL): 'NAME is ".hidden"',
    (" ", *LONGTAIL): 'NAME is " "',
    ("x", *LONGTAIL, "--volts", "nan"): "--volts is 'nan', allowed is a number above 0",
    ("x", *LONGTAIL, "--watts", "-750"): "--watts is '-750', allowed is a number above 0",
    ("x", *LONGTAIL, "--pulses", "12.5"): "--pulses is '12.5', allowed is a whole number from 4 to 64",
    ("x", *LONGTAIL, "--rider", "7500"): "bicycle.rider_kg is 7500, allowed is 20 to 300 (kg)",
    ("x", *LONGTAIL, "--bicycle", "0.5"): "bicycle.own_mass_kg is 0.5, allowed is 5 to 150 (kg)",
    ("x", *LONGTAIL, "--selector", "7"): '--selector is "7", allowed is none, potentiometer, 2, 3, 4, 5, 6',
    ("x", *LONGTAIL, "--side", "lefft"): "did you mean left?",
    ("x", *LONGTAIL, "--controller", "spead"): "did you mean speed?",
    ("x", *LONGTAIL, "--out", "no/x.toml"): "there is no no",
    ("x", "--volts", "48"): "--watts, --sensor, --pulses, --place are missing",
    ("x", *LONGTAIL[:-2]): "--place is missing, allowed is to give it",
    ("x", *LONGTAIL, "--sensor", "two-chanel"): "did you mean two-channel?",
    ("x", *LONGTAIL, "--place", "us_clas_2"): "did you mean us_class_2?",
    ("x", *LONGTAIL, "--volts", "72"): "--volts is 72, allowed is 20 to 52 (V, nominal)",
    ("x", *LONGTAIL, "--volts", "much"): "--volts is 'much', allowed is a number above 0",
    ("x", *LONGTAIL, "--watts", "751"): "--watts is 751, allowed is up to 750 (W) in us_class_2",
    ("x", *LONGTAIL, "--place", "us_federal"): "--watts is 750, allowed is below 750 (W) in us_federal",
    ("x", *LONGTAIL, "--pulses", "3"): "--pulses is '3', allowed is a whole number from 4 to 64",
    ("x", *LONGTAIL, "--throttle", "maybe"): '--throttle is "maybe", allowed is yes or no',
    ("x", *LONGTAIL, "--wheel", "9"): "bicycle.wheel_circumference_m is 9, allowed is 0.5 to 3 (m)",
    ("x", *LONGTAIL, "--out", "x.txt"): "--out is x.txt, allowed is a file that ends in .toml",
    ("tandem", *LONGTAIL): 'NAME is "tandem", which is an example bike',
}


@pytest.mark.parametrize("words", REFUSALS, ids=lambda words: " ".join(words[-2:]))
def test_a_wrong_answer_is_refused_in_one_sentence_and_nothing_is_written(treadle, here, words):
    code, out, err = treadle("new", *words)
    assert (code, out) == (2, "")
    assert REFUSALS[words] in err
    assert err.count("\n") == 1
    assert list(here.iterdir()) == []


def test_a_title_with_quotes_is_written_as_it_was_told(treadle, here):
    title = 'The "long" one \\ café'
    treadle("new", "mine", *LONGTAIL, "--title", title)
    assert tomllib.loads((here / "mine.toml").read_text(encoding="utf-8"))["title"] == title


def test_a_name_with_its_ending_is_that_file_and_one_with_a_blank_is_told_as_it_is_typed(treadle, here):
    code, out, _ = treadle("new", "my bike.toml", *LONGTAIL)
    assert code == 0
    assert [path.name for path in here.iterdir()] == ["my bike.toml"]
    assert "treadle ride 'my bike.toml' --course errand" in out
    assert load_bike(here / "my bike.toml").title == "my bike"


def test_a_file_that_exists_is_kept_without_force(treadle, here):
    (here / "mine.toml").write_text("mine", encoding="utf-8")
    code, _, err = treadle("new", "mine", *LONGTAIL)
    assert code == 2
    assert "mine.toml exists already" in err
    assert (here / "mine.toml").read_text(encoding="utf-8") == "mine"


def test_in_a_terminal_it_asks_again_after_a_wrong_answer_and_enter_guesses(here):
    answers = ["forty", "48", "750", "two-channel", "12", "us_class_2", "left", *[""] * 8]
    master, slave = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", "from host_sim.cli import main; main()", "new", "asked"],
        cwd=here,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=slave,
        stdout=slave,
        stderr=slave,
    ) as asking:
        os.close(slave)
        os.write(master, "".join(answer + "\n" for answer in answers).encode())
        said = b""
        try:
            while piece := os.read(master, 4096):
                said += piece
        except OSError:  # How a pseudo-terminal ends on Linux.
            pass
    os.close(master)
    assert asking.returncode == 0, said.decode()
    assert b"--volts is 'forty', allowed is a number above 0" in said
    bike = load_bike(here / "asked.toml")
    assert bike.pedal_sensor.side == "left"
    assert not bike.throttle.fitted


def test_every_guess_says_how_to_measure_it_and_the_commands_it_names_exist(treadle, here):
    guesses = json.loads(treadle("new", "longtail", *LONGTAIL, "--json")[1])["guesses"]
    for name in guesses:
        how = NOTES[name].measure.replace(_ONLY_BENCH, "").strip()
        assert how, name
        for command, option in re.findall(r"`treadle (\w+)(?: (--[\w-]+))?", how):
            code, help_text, _ = treadle(command, "--help")
            assert code == 0, (name, command)
            assert option in help_text, (name, command, option)
    named = " ".join(NOTES[name].measure for name in guesses)
    for command in ("measure", "inspect", "calibrate"):
        assert f"`treadle {command}" in named


def test_every_key_of_the_model_has_its_words_and_no_other():
    assert {dotted(*pair) for pair in keys_of_model()} == set(NOTES)


def test_the_readme_lists_every_key_as_the_model_has_it():
    text = README.read_text(encoding="utf-8")
    assert readme_with_table(text) == text
    for section, key in keys_of_model():
        assert f"\n| `{dotted(section, key)}` |" in text


def test_the_example_bikes_lie_in_what_is_called_their_range():
    bikes = [load_bike(name) for name in example_names()]
    checked = 0
    for name, note in NOTES.items():
        span = re.match(r"([\d.]+) to ([\d.]+)", note.typical)
        if "example bikes" in note.source and span is not None:
            section, key = name.split(".")
            for bike in bikes:
                value = getattr(getattr(bike, section), key)
                assert float(span[1]) <= value <= float(span[2]), (name, bike.name, value)
                checked += 1
    assert checked >= 40


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('kind = "two channel"', 'did you mean "two channels"?'),
        ("puls_per_rev = 10", "did you mean pulses_per_rev?"),
    ],
)
def test_a_misspelt_word_or_key_of_a_bike_file_gets_the_nearest_one(tmp_path, line, said):
    trike = Path(README.parent / "cargo_trike.toml").read_text(encoding="utf-8")
    right = 'kind = "two channels"' if "kind" in line else "pulses_per_rev = 10"
    changed = trike.replace(right, line)
    assert changed != trike
    (tmp_path / "mine.toml").write_text(changed, encoding="utf-8")
    with pytest.raises(RequestError, match=re.escape(said)):
        load_bike(tmp_path / "mine.toml")


def test_a_misspelt_example_bike_gets_the_nearest_one(treadle, here):
    code, _, err = treadle("ride", "cargotrike")
    assert code == 2
    assert "did you mean cargo_trike?" in err
