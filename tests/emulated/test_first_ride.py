"""The new bicycle of the tutorial on the emulated Pico: bundle, checklist, steps replayed, handover sheet."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware.ticks import ticks_diff_us
from host_sim.bikes.load import load_bike
from host_sim.boardlink.frames import Frame, Wire
from host_sim.boardlink.recorded import Block
from host_sim.cli.commission import CommissionRequest, commission
from host_sim.replay.log_file import Section
from host_sim.replay.stepping import replay
from tests.docs.tutorial import PAGE, parts_of, run
from tests.emulated import courses
from tests.emulated.courses import BRAKE, CRANK_A, CRANK_B, S
from tests.emulated.pico import Heard, emulate, why_missing

pytestmark = [
    pytest.mark.skipif(bool(why_missing()), reason=why_missing()),
    pytest.mark.xdist_group("emulated"),
]
PULSES = 12


def backward(start_us: float, end_us: float, rpm: float) -> courses.Edges:
    """Turn the other way: the same edges with the channels changed."""
    other = {CRANK_A: CRANK_B, CRANK_B: CRANK_A}
    return [
        (time_us, other[pin], level) for time_us, pin, level in courses.crank(start_us, end_us, rpm, PULSES)
    ]


# The motor of the emulator is not this bike's: after 2.4 s the firmware would notice.
BRAKES_US = (6.8 * S, 11.8 * S)
SET_US = 16.0 * S  # The wheel has stood for long enough.


def course(way_m: float) -> courses.Edges:
    """Do what the checklist asks for: pedal, brake while it drives, backward, pedal and brake again."""
    return [
        *courses.crank(4.8 * S, 7.2 * S, 60, PULSES),
        *courses.wheel(4.8 * S, 8.2 * S, 3.0, way_m),
        *((BRAKES_US[0], BRAKE, 1), (7.6 * S, BRAKE, 0)),
        *backward(8.4 * S, 9.2 * S, 40),
        *courses.crank(9.8 * S, 12.2 * S, 60, PULSES),
        *courses.wheel(9.8 * S, 12.6 * S, 3.0, way_m),
        *((BRAKES_US[1], BRAKE, 1), (12.6 * S, BRAKE, 0)),
    ]


class HeardBoard:
    """A board whose frames were heard before; what is asked of it must be what was typed."""

    def __init__(self, heard: Heard, change: dict[str, int], settings: dict[str, int]) -> None:
        self._frames = iter(heard.frames)
        self._change = change
        self._settings = settings

    def frames(self, seconds: float) -> Iterator[Frame]:
        first_us: int | None = None
        for frame in self._frames:
            yield frame
            first_us = frame.time_us if first_us is None else first_us
            if ticks_diff_us(frame.time_us, first_us) >= seconds * 1e6:
                return

    def name(self) -> str:
        return "rpi_pico"

    def settings(self) -> dict[str, int]:
        return self._settings

    def change(self, changes: dict[str, int]) -> None:
        """Go on with what was heard from the time on at which this was typed."""
        assert changes == self._change
        self._frames = (frame for frame in self._frames if frame.time_us >= SET_US)

    def clear_fault(self) -> None:
        raise AssertionError("nothing was to be cleared")


@pytest.fixture(scope="module")
def work(tmp_path_factory) -> Path:
    """Return a folder in which the tutorial's bike file is, and a bundle for the Pico in its own form."""
    folder = tmp_path_factory.mktemp("work")
    run(parts_of(PAGE.read_text(encoding="utf-8"))[0], folder)
    bundle = "treadle bundle --board rpi_pico longtail.toml --out pico"
    run(type(parts_of(PAGE.read_text(encoding="utf-8"))[0])((bundle,), ()), folder)
    return folder


@pytest.fixture(scope="module")
def heard(work, tmp_path_factory) -> Heard:
    bike = load_bike(work / "longtail.toml")
    skip = {"treadle_rpi_pico.uf2", "wiring_rpi_pico.html"}
    files = {
        path.relative_to(work / "pico").as_posix(): path.read_bytes()
        for path in (work / "pico").rglob("*")
        if path.is_file() and path.name not in skip
    }
    way_m = bike.bicycle.wheel_circumference_m / bike.wheel_sensor.pulses_per_rev
    set_again = {"request": "set", "settings": {"engage_rpm": bike.firmware_settings.engage_rpm}}
    typed = [(1.4 * S, '{"request": "stream all"}\n'), (SET_US, json.dumps(set_again) + "\n")]
    analog = {"battery_mv": 52_000.0, "throttle_mv": 0.0, "selector_mv": 0.0}
    return emulate(
        files, tmp_path_factory.mktemp("pico"), course(way_m), typed, milliseconds=19_500, analog=analog
    )


def test_the_first_power_checklist_is_ticked_by_the_emulated_pico(work, heard, treadle, monkeypatch):
    monkeypatch.chdir(work)
    settings = load_bike("longtail.toml").firmware_settings.as_dict()
    board = HeardBoard(heard, {"engage_rpm": settings["engage_rpm"]}, settings)
    request = CommissionRequest("longtail.toml", "Ada", [], 120.0, Path("commission.json"), False)
    answers = ["yes", "1", "yes"]
    result = commission(
        request, board, lambda question: answers.pop(0), print, lambda: "2026-01-02T03:04:05+00:00"
    )
    assert result.holds, [entry for entry in result.entries if entry.outcome == "failed"]
    code, _, err = treadle("handover", "longtail.toml", "--record", "commission.json", "--out", "sheet.html")
    assert (code, err) == (0, "")
    assert "commission" in Path("sheet.html").read_text(encoding="utf-8")


def test_a_pulled_brake_cuts_the_drive_pin_at_once(heard):
    for pulled_us in BRAKES_US:
        changes = [(at, value) for at, name, value in heard.events if name == "enable"]
        before = [value for at, value in changes if at < pulled_us]
        after = [(at, value) for at, value in changes if at >= pulled_us]
        assert before[-1] == 1
        assert after[0][1] == 0
        assert after[0][0] - pulled_us <= 5_500  # A period, and half a millisecond.
    assert len(after) == 1


def test_all_steps_until_the_restart_are_replayed_here_to_the_bit(work, heard):
    blocks: list[Block] = []
    until = b"".join(content for time_us, content in heard.serial if time_us < SET_US)
    Wire(blocks.append).feed(until)
    settings = load_bike(work / "longtail.toml").firmware_settings
    found = replay(Section("rpi_pico", "fused", settings.as_dict(), False, blocks), settings)
    assert (found.from_start, found.loss, found.parting) == (True, None, None)
    assert found.steps == found.equal > 2_000
