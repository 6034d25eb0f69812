"""The first-power checklist ticks what it sees, stops at what fails, and says what was left out."""

import json
from collections.abc import Iterator

import pytest

from host_sim.bikes import load_bike
from host_sim.boardlink.frames import Frame
from host_sim.cli.commission import CommissionRequest, commission
from host_sim.commissioning.checklist import ITEM_NAMES, ITEMS, Checking, passed, run_checklist
from host_sim.commissioning.record import CONFIRMED, FAILED, NOT_APPLICABLE, NOT_REACHED, SKIPPED, TICKED
from host_sim.errors import RequestError
from tests.watching.frames_at_hand import frame_with

OPEN = "throttle wire open"


def still(**changes) -> Frame:
    """Return a frame of a standing bicycle with nothing wrong."""
    return frame_with(
        **{"state": "ready", "drive_enabled": False, "direction": "standing", "cadence_rpm": 0}
        | {"period_us": 5_000, "overruns": 0, "command_v": 0.0}
        | changes
    )


def driving(**changes) -> Frame:
    return still(
        **{"state": "assisting", "drive_enabled": True, "direction": "forward", "cadence_rpm": 60} | changes
    )


PULLED = {"state": "braked", "drive_enabled": False, "brake_pulled": True}
# What a healthy bicycle shows to each look at its frames, in the order of the list.
HEALTHY: dict[str, list[list[Frame]]] = {
    "settings": [[still()]],
    "loop time": [[still()] * 10],
    "forward": [[still(), driving()]],
    "help": [[driving()]],
    "brake cuts": [[driving(), driving(**PULLED)]],
    "backward": [[still(direction="backward", cadence_rpm=30)]],
    "each brake": [[driving(), driving(**PULLED)], [driving(), driving(**PULLED)]],
    "fault stays": [[still(), still(fault=OPEN)], [still(fault=OPEN)] * 3, [still(fault=OPEN), still()]],
    "restart": [[still(state="waiting"), still()]],
}
ANSWERS = ["yes", "2", "", "yes"]  # Off the ground, levers, plugged in again, expiry.


class FakeBoard:
    """A board that shows given frames, one list after the other."""

    def __init__(self, looks: dict[str, list[list[Frame]]]) -> None:
        self.looks = [frames for item in HEALTHY for frames in looks[item]]
        self.changed: list[dict[str, int]] = []
        self.cleared = 0

    def frames(self, seconds: float) -> Iterator[Frame]:
        yield from self.looks.pop(0)

    def name(self) -> str:
        return "paper"

    def settings(self) -> dict[str, int]:
        return load_bike("cargo_trike").firmware_settings.as_dict()

    def change(self, changes: dict[str, int]) -> None:
        self.changed.append(changes)

    def clear_fault(self) -> None:
        self.cleared += 1


def outcomes(looks=None, answers=None, skip=()):
    board = FakeBoard(HEALTHY | (looks or {}))
    given = list(ANSWERS if answers is None else answers)
    checking = Checking(
        board, load_bike("cargo_trike"), lambda question: given.pop(0), lambda line: None, 10.0
    )
    entries = run_checklist(checking, skip, lambda: "2026-01-02T03:04:05+00:00")
    return entries, board


def test_a_healthy_bicycle_passes_and_what_a_person_said_is_marked():
    entries, board = outcomes()
    assert [entry.item for entry in entries] == list(ITEM_NAMES)
    by_name = {entry.item: entry.outcome for entry in entries}
    assert {name for name, outcome in by_name.items() if outcome == CONFIRMED} == {"off the ground", "expiry"}
    assert set(by_name.values()) == {TICKED, CONFIRMED}
    assert passed(entries)
    assert board.cleared == 1
    assert board.changed == [{"engage_rpm": load_bike("cargo_trike").firmware_settings.engage_rpm}]
    assert board.looks == []


FAILURES = {
    "settings": ([[still(fault=OPEN)]], f"fault: {OPEN}"),
    "loop time": ([[still(), *[still(overruns=1)] * 9]], "1 late"),
    "forward": ([[still(direction="backward", cadence_rpm=20)]], "seen as backward"),
    "help": ([[still()] * 50], "help while pedalling was not seen in 10 s"),
    "brake cuts": ([[driving(), driving(brake_pulled=True)]], "it drives although a brake is pulled"),
    "backward": ([[driving(direction="backward")]], "it drives while pedalled backward"),
    "each brake": (
        [[driving(), driving(**PULLED)], [driving(), driving(), still(**PULLED | {"drive_enabled": True})]],
        "lever 2: it drives although a brake is pulled",
    ),
    "fault stays": ([[still(fault=OPEN)], [still(fault=OPEN), still()]], f'the fault "{OPEN}" did not stay'),
    "restart": ([[still(state="waiting"), driving()]], "it drives after a restart"),
}


@pytest.mark.parametrize("item", FAILURES)
def test_what_fails_is_told_and_ends_the_list(item):
    looks, said = FAILURES[item]
    entries, _ = outcomes({item: looks})
    at = list(ITEM_NAMES).index(item)
    assert entries[at].outcome == FAILED
    assert said in entries[at].seen
    assert {entry.outcome for entry in entries[at + 1 :]} <= {NOT_REACHED}
    assert not passed(entries)


@pytest.mark.parametrize(
    ("item", "looks", "said"),
    [
        ("loop time", [[still(period_us=5_400)] * 9], "a step every 5.40 ms"),
        ("loop time", [[still()] * 3], "only 3 frames arrived"),
        ("brake cuts", [[still(**PULLED)] * 9], "a brake pulled while it drove was not seen"),
        # A lever that is pulled while nothing drives shows no cut.
        (
            "each brake",
            [[still(), still(**PULLED)] * 9],
            "lever 1: a brake pulled while it drove was not seen",
        ),
        ("each brake", [[driving()] * 9], "lever 1: a brake pulled while it drove was not seen"),
        ("each brake", [[driving(), still(fault=OPEN)]], f"lever 1: fault: {OPEN}"),
        ("forward", [[still()] * 9], "forward pedalling was not seen in 10 s"),
        ("backward", [[driving()] * 9], "backward pedalling was not seen in 10 s"),
        ("settings", [[still(settings_valid=False)] * 9], "a frame with valid settings was not seen"),
        ("fault stays", [[still()] * 9], "no fault came in 10 s"),
        (
            "fault stays",
            [[still(fault="shunt dead: the battery voltage falls but no current is read")]],
            "came, expected was one of the throttle",
        ),
        (
            "fault stays",
            [[still(fault=OPEN)], [still(fault=OPEN)], [still(fault=OPEN)] * 9],
            "could not be cleared",
        ),
        ("restart", [[still()]], "states after the restart: ready"),
        ("restart", [[]], "states after the restart: none"),
    ],
)
def test_other_ways_to_fail(item, looks, said):
    entries, _ = outcomes({item: looks})
    (failed,) = [entry for entry in entries if entry.outcome == FAILED]
    assert failed.item == item
    assert said in failed.seen


def test_a_no_about_the_wheel_ends_it_before_the_board_is_looked_at():
    entries, board = outcomes(answers=["no"])
    assert [entry.outcome for entry in entries] == [FAILED] + [NOT_REACHED] * (len(ITEMS) - 1)
    assert len(board.looks) == sum(len(looks) for looks in HEALTHY.values())


@pytest.mark.parametrize("told", ["²", "٣", "0", "5", "two", ""])
def test_an_answer_that_is_no_number_of_levers_fails_the_item(told):
    entries, _ = outcomes(answers=["yes", told])
    (failed,) = [entry for entry in entries if entry.outcome == FAILED]
    assert (failed.item, failed.seen) == ("each brake", f'the answer was "{told}", allowed is 1 to 4')


def test_what_is_left_out_stands_in_the_record_and_is_not_passed():
    entries, _ = outcomes({"fault stays": []}, ["yes", "2", "yes"], ("fault stays",))
    assert next(entry.outcome for entry in entries if entry.item == "fault stays") == SKIPPED
    assert not passed(entries)


def test_a_bicycle_without_levers_has_no_fault_to_inject_there():
    fault = next(item for item in ITEMS if item.name == "fault stays")
    assert not fault.applies(load_bike("folding"))
    assert fault.applies(load_bike("step_through"))


def test_the_record_says_who_what_and_when(tmp_path):
    request = CommissionRequest("cargo_trike", " Ada ", [], 10.0, tmp_path / "done.json", False)
    given = list(ANSWERS)
    board = FakeBoard(HEALTHY)
    commission(
        request, board, lambda question: given.pop(0), lambda line: None, lambda: "2026-01-02T03:04:05+00:00"
    )
    record = json.loads((tmp_path / "done.json").read_text(encoding="utf-8"))
    assert (record["heading"], record["bike"], record["by"]) == ("treadle commission 1", "cargo_trike", "Ada")
    assert record["passed"] is True
    assert record["settings"] == board.settings()
    assert list(record["items"][0]) == ["item", "sentence", "outcome", "seen", "at"]
    assert [item["item"] for item in record["items"]] == list(ITEM_NAMES)


@pytest.mark.parametrize(
    ("by", "skip", "seconds", "out", "said"),
    [
        (" ", [], 10.0, "a.json", "--by is empty"),
        ("Ada", ["restrat"], 10.0, "a.json", "did you mean restart?"),
        ("Ada", [], 4.9, "a.json", "--seconds is 4.9, allowed is 5 to 3600"),
        ("Ada", [], 10.0, "a.txt", "allowed is a file that ends in .json"),
        ("Ada", [], 10.0, "no/a.json", "there is no"),
    ],
)
def test_a_wrong_request_is_refused(tmp_path, by, skip, seconds, out, said):
    with pytest.raises(RequestError) as refused:
        CommissionRequest("cargo_trike", by, skip, seconds, tmp_path / out, False)
    assert said in str(refused.value)


def test_not_applicable_items_do_not_keep_it_from_passing():
    entries, _ = outcomes()
    changed = [type(entries[0])(entry.item, "", NOT_APPLICABLE, "", "") for entry in entries]
    assert passed(changed)


def test_the_output_that_stays_on_in_reset_ends_the_list():
    entries, _ = outcomes(answers=["yes", "2", "", "no"])
    at = list(ITEM_NAMES).index("expiry")
    assert (entries[at].outcome, entries[at].seen) == (FAILED, 'the answer was "no"')
    assert {entry.outcome for entry in entries[at + 1 :]} == {NOT_REACHED}


def test_a_board_with_other_settings_than_the_bike_file_ends_the_list_and_they_are_named():
    board = FakeBoard(HEALTHY)
    board.settings = lambda: load_bike("cargo_trike").firmware_settings.as_dict() | {"engage_rpm": 59}
    checking = Checking(board, load_bike("cargo_trike"), lambda question: "yes", lambda line: None, 10.0)
    entries = run_checklist(checking, (), lambda: "2026-01-02T03:04:05+00:00")
    assert entries[1].outcome == FAILED
    assert entries[1].seen == "the board has other settings than the bike file: engage_rpm"


def test_what_does_not_apply_is_named_where_it_is_told():
    said: list[str] = []
    looks = {name: looks for name, looks in HEALTHY.items() if name != "fault stays"}
    board = FakeBoard({"fault stays": []} | looks)
    given = ["yes", "1", "yes"]
    board.looks = [frames for name, frames_of in looks.items() for frames in frames_of]
    bike = load_bike("folding")
    board.settings = bike.firmware_settings.as_dict
    checking = Checking(board, bike, lambda question: given.pop(0), said.append, 10.0)
    run_checklist(checking, (), lambda: "2026-01-02T03:04:05+00:00")
    assert "fault stays: not applicable" in said
