"""On the emulated Pico a grounded GP12 keeps the motor off, and the link answers and stores a change."""

import json

import pytest

from boards.rpi_pico.pins import SAFE_START
from tests.emulated import courses
from tests.emulated.measured import files_of
from tests.emulated.pico import emulate, why_missing

pytestmark = [
    pytest.mark.skipif(bool(why_missing()), reason=why_missing()),
    pytest.mark.xdist_group("emulated"),
]


def said(heard) -> list[dict[str, object]]:
    return [json.loads(line) for line in heard.lines if line.startswith("{")]


def test_a_grounded_pin_keeps_the_motor_off_and_the_link_answers(tmp_path):
    # The change takes most of a second: littlefs erases blocks.
    typed = [
        (1.2 * courses.S, '{"request": "about"}\n'),
        (2.0 * courses.S, '{"request": "set", "settings": {"engage_rpm": 33}}\n'),
    ]
    # The start takes about a second; the jumper comes off before the start with the new setting.
    ride = [(time_us + 1.5 * courses.S, pin, level) for time_us, pin, level in courses.RIDE]
    edges = [(0.0, SAFE_START, 0), (1.6 * courses.S, SAFE_START, 1), *ride]
    heard = emulate(files_of("fused"), tmp_path, edges, typed, milliseconds=6_500)
    frames = heard.frames
    assert max(frame.cadence_rpm for frame in frames) > 50
    assert not any(frame.settings_valid or frame.drive_enabled for frame in frames)
    assert {frame.command_v for frame in frames} == {0.0}
    assert not any(name == "enable" and value for _, name, value in heard.events)
    answers = said(heard)
    safe = "safe start, so the motor stays off until a start without the pin (stored: settings_a.txt)"
    assert [answer.get("settings") for answer in answers if answer.get("ok") == "about"] == [safe]
    assert [answer["slot"] for answer in answers if answer.get("ok") == "set"] == ["settings_b.txt"]
    assert answers[-1] == {"notice": "settings: " + safe.replace("_a", "_b")}


def test_without_it_the_same_ride_drives(tmp_path):
    heard = emulate(files_of("fused"), tmp_path, courses.RIDE, milliseconds=4_000)
    assert heard.frames[-1].settings_valid
    assert heard.first("enable", 1) > 2.9 * courses.S
