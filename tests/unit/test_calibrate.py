"""Calibration takes steady, plausible readings in their order, and says why it does not take another."""

import json
from collections.abc import Iterator

import pytest

from host_sim.bikes import load_bike
from host_sim.bikes.load import BIKES
from host_sim.boardlink.frames import Frame
from host_sim.cli.calibrate import CalibrateRequest, calibrate, changed_settings
from host_sim.commissioning.calibration import STEP_NAMES, Measuring, run_calibration
from host_sim.commissioning.record import NOT_APPLICABLE, SKIPPED, TICKED
from host_sim.errors import RequestError
from tests.watching.frames_at_hand import frame_with

NOON = "2026-01-02T12:00:00+00:00"


class FakeBoard:
    """A board whose next looks show these readings, each twenty times."""

    def __init__(self, *readings: dict[str, float]) -> None:
        self.looks = list(readings)
        self.changed: list[dict[str, int]] = []

    def frames(self, seconds: float) -> Iterator[Frame]:
        reading = self.looks.pop(0)
        count = int(reading.get("count", 20))
        jump_v = reading.get("jump", 0.0)
        for number in range(count):
            values = {
                name: value for name, value in reading.items() if name not in ("count", "jump", "loose")
            }
            if "loose" in reading:
                values["brake_pulled"] = number == count // 2
            if jump_v and number == count // 2:
                values = {name: value + jump_v for name, value in values.items()}
            yield frame_with(**{"drive_enabled": False} | values)

    def name(self) -> str:
        return "paper"

    def settings(self) -> dict[str, int]:
        return {}

    def change(self, changes: dict[str, int]) -> None:
        self.changed.append(changes)

    def clear_fault(self) -> None:
        raise AssertionError("nobody asked for that")


def throttle(volts: float, **more: float) -> dict[str, float]:
    return {"throttle_v": volts, **more}


def selector(volts: float) -> dict[str, float]:
    return {"selector_v": volts}


# The trike has a throttle, a selector with four positions from 0.6 to 4.2 V, a shunt, and a wheel of 1.89 m.
READINGS = (
    *(throttle(0.8), throttle(3.7), selector(0.6), selector(4.2), selector(1.8), selector(3.0)),
    *({"brake_pulled": pulled} for pulled in (False, True, False, True, False)),
    *({"battery_v": 38.0}, {"current_a": 5.0}),
)
BRAKES = ["", "2", "", "", "", ""]
ANSWERS = ["", "", "", "", "", "", "", *BRAKES, "", "38.2", "", "5.0", "", "5.7"]


def run(*readings, answers=(), only=(), bike="cargo_trike"):
    board = FakeBoard(*readings)
    given, said = list(answers), []
    measuring = Measuring(board, load_bike(bike), lambda question: given.pop(0), said.append)
    entries = run_calibration(measuring, only, lambda: NOON)
    assert given == []
    assert board.looks == []
    return entries, measuring, said


def test_all_steps_of_the_trike_in_their_order():
    entries, measuring, _ = run(*READINGS, answers=ANSWERS)
    assert [entry.item for entry in entries] == list(STEP_NAMES)
    assert {entry.outcome for entry in entries} == {TICKED}
    assert measuring.found == {
        "throttle.rest_v": 0.8,
        "throttle.full_v": 3.7,
        "selector.low_v": 0.6,
        "selector.high_v": 4.2,
        "bicycle.wheel_circumference_m": 1.9,
    }
    assert measuring.notes == []


def test_steps_that_a_bicycle_has_not_are_not_asked_for():
    entries, _, _ = run({"battery_v": 38.0}, answers=["skip", "", "38", "skip"], bike="folding")
    applied = [entry.item for entry in entries if entry.outcome != NOT_APPLICABLE]
    assert applied == ["brakes", "battery", "wheel"]
    assert entries[-1].outcome == SKIPPED


# Reading, answers after the first Enter, and the reason; then the step is left out.
REFUSALS = {
    "jumps": (("throttle rest",), [throttle(0.8, jump=0.2)], ["", "skip"], "throttle_v jumps by 0.20 V"),
    "few": (("throttle rest",), [throttle(0.8, count=5)], ["", "skip"], "only 5 frames arrived"),
    "driven": (("throttle rest",), [{"drive_enabled": True}], ["", "skip"], "the motor is being driven"),
    "unplugged": (
        ("throttle rest",),
        [throttle(0.0)],
        ["", "skip"],
        "throttle.rest_v reads 0 V, allowed is 0.2",
    ),
    "shorted": (
        ("throttle full",),
        [throttle(5.0)],
        ["", "skip"],
        "throttle.full_v reads 5 V, allowed is 0.7",
    ),
    "not moved": (("throttle full",), [throttle(1.0)], ["", "skip"], "did you move the lever"),
    "no number": (("battery",), [], ["", "much", "skip"], '"much" is not a number'),
    "zero": (("battery",), [], ["", "0", "skip"], "0 is out of range, allowed is above 0"),
    "resistor": (("battery",), [{"battery_v": 30.0}], ["", "38", "skip"], "allowed is 10 % apart"),
    "dead": (("battery",), [{"battery_v": 0.0}], ["", "38", "skip"], "check the resistors"),
    "little": (("shunt",), [], ["", "1.9", "skip"], "1.9 A is too little"),
    "two turns": (("wheel",), [], ["", "3.8", "skip"], "count the turns again"),
    "a broken wire": (("brakes",), [{"brake_pulled": True}], ["", "skip"], "although all are let go"),
    "no lever": (("brakes",), [{"brake_pulled": False}], ["", "0", "skip"], '"0" levers, allowed is 1 to 4'),
    "five levers": (("brakes",), [{"brake_pulled": False}], ["", "5", "skip"], '"5" levers, allowed'),
    "a strange count": (("brakes",), [{"brake_pulled": False}], ["", "²", "skip"], '"²" levers, allowed'),
    "dead lever": (
        ("brakes",),
        [{"brake_pulled": False}, {"brake_pulled": True}, {"brake_pulled": False}, {"brake_pulled": False}],
        ["", "2", "", "", "", "skip"],
        "lever 2 reads as let go although it is pulled",
    ),
    "stuck lever": (
        ("brakes",),
        [{"brake_pulled": False}, {"brake_pulled": True}, {"brake_pulled": True}],
        ["", "1", "", "", "skip"],
        "lever 1 reads as pulled although it is let go",
    ),
    "loose lever": (("brakes",), [{"loose": 1}], ["", "skip"], "the brake input comes and goes"),
    "position": (
        ("selector positions",),
        [selector(2.2)],
        ["", "", "skip"],
        "position 2 reads 2.20 V, allowed is 1.80",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_what_can_not_be_taken_is_told_and_asked_for_again(name):
    only, readings, answers, reason = REFUSALS[name]
    entries, measuring, said = run(*readings, answers=answers, only=only)
    assert measuring.found == {}
    assert reason in said[0]
    assert [entry.outcome for entry in entries if entry.item == only[0]] == [SKIPPED]


def test_after_a_refusal_the_next_reading_is_taken():
    _, measuring, said = run(throttle(0.0), throttle(0.8), answers=["", ""], only=("throttle rest",))
    assert measuring.found == {"throttle.rest_v": 0.8}
    assert said[-1] == "  throttle.rest_v = 0.8 V"


def test_the_ends_in_the_wrong_order_are_refused():
    _, measuring, said = run(
        throttle(3.7), throttle(0.8), answers=["", "", "skip"], only=("throttle rest", "throttle full")
    )
    assert measuring.found == {"throttle.rest_v": 3.7}
    assert "throttle.full_v reads 0.8 V and throttle.rest_v was 3.7 V" in said[1]


def test_a_scale_that_is_off_by_some_percent_is_noted_as_no_setting_can_hold_it():
    entries, measuring, _ = run({"battery_v": 38.0}, answers=["", "39.9"], only=("battery",))
    assert measuring.notes == [
        "multiply BATTERY_FULL_MV in the board's pins.py by 1.0500: there is no setting for this scale"
    ]
    assert "factor 1.0500" in next(entry.seen for entry in entries if entry.item == "battery")


@pytest.fixture
def mine(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text((BIKES / "cargo_trike.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def test_what_was_measured_stands_in_the_bike_file_on_the_board_and_in_the_record(mine):
    board, given = FakeBoard(*READINGS), list(ANSWERS)
    before = load_bike(mine)
    request = CalibrateRequest(str(mine), "Ada\nB", [], mine.with_name("done.json"), False)
    calibrate(request, board, lambda question: given.pop(0), lambda line: None, lambda: NOON)
    after = load_bike(mine)
    assert (after.throttle.rest_v, after.throttle.full_v) == (0.8, 3.7)
    text = mine.read_text(encoding="utf-8")
    assert "rest_v = 0.8 # measured by Ada B, 2026-01-02" in text
    assert text.startswith("# The cargo trike that the repair café lends")
    assert board.changed == [changed_settings(before, after)]
    # 0.8 V and 150 mV of play; 3.7 V less as much; half of the rest; 400 mV beyond the end.
    assert {name: board.changed[0][name] for name in ("throttle_rest_mv", "throttle_full_mv")} == {
        "throttle_rest_mv": 950,
        "throttle_full_mv": 3550,
    }
    assert board.changed[0]["wheel_circumference_mm"] == 1900
    record = json.loads(mine.with_name("done.json").read_text(encoding="utf-8"))
    assert (record["heading"], record["by"], record["begun"]) == ("treadle calibration 1", "Ada\nB", NOON)
    assert record["settings"] == board.changed[0]
    assert [item["item"] for item in record["items"]] == list(STEP_NAMES)


def test_an_interruption_leaves_bike_file_board_and_folder_as_they_were(mine):
    text = mine.read_text(encoding="utf-8")
    request = CalibrateRequest(str(mine), "Ada", [], mine.with_name("done.json"), False)
    board = FakeBoard(*READINGS)
    given = ["", ""]

    def interrupted(question: str) -> str:
        if not given:
            raise KeyboardInterrupt
        return given.pop(0)

    with pytest.raises(KeyboardInterrupt):
        calibrate(request, board, interrupted, lambda line: None, lambda: NOON)
    assert mine.read_text(encoding="utf-8") == text
    assert board.changed == []
    assert [path.name for path in mine.parent.iterdir()] == ["mine.toml"]


@pytest.mark.parametrize(
    ("bike", "by", "only", "said"),
    [
        ("cargo_trike", "Ada", [], "BIKE is the example cargo_trike"),
        ("mine.toml", " ", [], "--by is empty"),
        ("mine.toml", "Ada", ["weel"], "did you mean wheel?"),
    ],
)
def test_a_wrong_request_is_refused(mine, monkeypatch, bike, by, only, said):
    monkeypatch.chdir(mine.parent)
    with pytest.raises(RequestError) as refused:
        CalibrateRequest(bike, by, only, None, False)
    assert said in str(refused.value)
