"""The tutorial is a script: its commands run in its order in an empty folder and print what it shows."""

import json
import re
from xml.etree import ElementTree

import pytest

from host_sim.bikes import load_bike
from tests.docs.tutorial import DRAWN, PAGE, PICTURES, WIRING, Part, not_printed, parts_of, run, wiring_of
from tests.micropython_unix import micropython_unix

TUTORIAL = PAGE.read_text(encoding="utf-8")
PARTS = parts_of(TUTORIAL)
JOB = (
    *("new", "ride", "bundle", "flash", "inspect", "calibrate", "commission", "watch", "ride"),
    *("measure", "tune", "verify", "flash", "handover"),
)


def test_the_tutorial_goes_through_the_whole_job_in_its_order_and_shows_what_each_command_says():
    commands = [command for part in PARTS for command in part.commands]
    assert tuple(re.findall(r"^(?:printf .*\| )?treadle (\w+)", "\n".join(commands), re.M)) == JOB
    assert len(commands) == len(JOB)
    assert all(len(part.shown) >= 2 for part in PARTS)


def test_cautions_stand_before_the_first_command():
    before = TUTORIAL.split("```sh")[0]
    for words in ("battery unplugged", "wheel off the", "Local codes"):
        assert words in before


def test_the_pictures_that_it_shows_are_there_and_no_others():
    shown = set(re.findall(r"\]\(tutorial/([\w.]+)\)", TUTORIAL))
    assert shown == {*DRAWN, WIRING} == {path.name for path in PICTURES.iterdir()}


@pytest.mark.long
def test_without_a_board_the_page_shows_what_is_printed_and_the_wiring_of_its_bike(tmp_path):
    for part in PARTS[:3]:
        assert not_printed(part.shown, run(part, tmp_path)) is None, part.commands
    drawn = (PICTURES / WIRING).read_text(encoding="utf-8")
    assert ElementTree.fromstring(drawn).tag.endswith("svg")
    assert drawn == wiring_of(tmp_path / "longtail.toml")
    assert drawn in (tmp_path / "pico" / "wiring_rpi_pico.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("shown", "printed", "missing"),
    [
        (("a", "b"), ["a", "b"], None),
        (("a", "…", "c"), ["a", "b", "x", "c"], None),
        (("a", "…"), ["a", "b"], None),
        (("a …, late 0",), ["a 12, late 0"], None),
        (("a", "c"), ["a", "b", "c"], "c"),  # A line is left out without a sign.
        (("a",), ["a", "b"], "(the end)"),
        (("…", "b", "a"), ["a", "b"], "a"),
        (("a …, late 0",), ["a 12, late 1"], "a …, late 0"),
    ],
)
def test_a_line_that_was_not_printed_there_is_found(shown, printed, missing):
    assert not_printed(shown, printed) == missing


def test_commands_without_output_are_refused():
    with pytest.raises(ValueError, match="has no block of output"):
        parts_of("```sh\ntreadle new\n```\n\nAnd so on.\n")


def test_a_command_that_fails_ends_the_run_and_is_named(tmp_path):
    with pytest.raises(RuntimeError, match=r"treadle ride nosuch\n.*nosuch"):
        run(Part(("treadle ride nosuch", "touch on"), ()), tmp_path)
    assert not (tmp_path / "on").exists()


@pytest.mark.long
def test_the_whole_job_prints_what_the_page_shows_and_leaves_what_it_says(tmp_path):
    micropython_unix()
    here = tmp_path / "here"
    here.mkdir()
    for part in PARTS:
        assert not_printed(part.shown, run(part, here)) is None, part.commands
    bike = load_bike(here / "longtail.toml")
    assert bike.bicycle.wheel_circumference_m == 2.15
    written = (here / "longtail.toml").read_text(encoding="utf-8")
    assert "2.15 # measured by 3 pushes, 95 % 2.145 to 2.155; before: measured by Ada, " in written
    assert json.loads((here / "calibration.json").read_text())["settings"]["wheel_circumference_mm"] == 2150
    commissioned = json.loads((here / "commission.json").read_text())
    assert commissioned["passed"] is True
    assert commissioned["settings"] == bike.firmware_settings.as_dict()
    slot = (here / "desk" / "settings_a.txt").read_text()
    for name, value in commissioned["settings"].items():
        assert f"\n{name} {value}\n" in slot
    assert (here / "ride.csv").read_text().count("\n") > 100
    assert "longtail" in (here / "longtail.html").read_text(encoding="utf-8")
    for made in DRAWN.values():
        assert (here / made).is_file()
