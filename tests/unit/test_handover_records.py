"""Records of calibration and first power on the handover sheet: shown as they are, or refused."""

import json
import shutil
from typing import get_args

import pytest
from pypdf import PdfReader

from host_sim.bikes.load import load_bike
from host_sim.cli.handover import HandoverRequest, handover
from host_sim.commissioning.calibration import STEP_NAMES
from host_sim.commissioning.checklist import ITEM_NAMES, passed
from host_sim.commissioning.record import (
    CALIBRATION,
    COMMISSION,
    CONFIRMED,
    FAILED,
    NOT_REACHED,
    SKIPPED,
    TICKED,
    Entry,
    record_of,
)
from host_sim.errors import RequestError
from host_sim.handover.browser import BROWSERS
from host_sim.handover.records import DESK, MEASURED, TRIED, Record
from tests.unit.test_handover import Page, _inspect_report, _manifest, _verify_report

NO_BROWSER = all(shutil.which(name) is None for name in BROWSERS)


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _entries(names, outcomes, day):
    at = f"2026-03-{day:02d}T10:0{{}}:00+00:00"
    return [
        Entry(name, "A sentence.", outcomes.get(name, TICKED), "seen so", at.format(number % 10))
        for number, name in enumerate(names)
    ]


def _write(path, heading, entries, bike="cargo_trike", by="Ada Brandt", day=5, **changes):
    settings = load_bike(bike).firmware_settings.as_dict()
    more = {
        "treadle": "0.1.0",
        "begun": f"2026-03-{day:02d}T10:00:00+00:00",
        "ended": f"2026-03-{day:02d}T10:59:00+00:00",
        "settings": settings,
    }
    if heading == COMMISSION:
        more |= {"place": "eu", "passed": passed(entries)}
    else:
        more |= {
            "found": {"throttle.rest_v": 0.8},
            "notes": [],
            "settings": {"throttle_rest_mv": settings["throttle_rest_mv"]},
        }
    record = record_of(heading, bike, "rpi_pico", by, entries, more)
    path.write_text(json.dumps({**record, **changes}))
    return path


def tried(path, outcomes=None, day=5, **changes):
    """Write a record of a first-power checklist."""
    outcomes = {"off the ground": CONFIRMED, "expiry": CONFIRMED, **(outcomes or {})}
    return _write(path, COMMISSION, _entries(ITEM_NAMES, outcomes, day), day=day, **changes)


def measured(path, outcomes=None, day=4, **changes):
    """Write a record of a calibration."""
    return _write(path, CALIBRATION, _entries(STEP_NAMES, outcomes or {}, day), day=day, **changes)


def _words(*records, bike="cargo_trike", **more):
    request = HandoverRequest(bike, records=records, force=True, **more)
    return " ".join(Page(handover(request).files[0].read_text()).words.split())


def test_every_item_of_both_commands_has_words_for_the_owner():
    assert set(TRIED) == set(ITEM_NAMES)
    assert set(MEASURED) == set(STEP_NAMES)
    assert get_args(Record.model_fields["heading"].annotation) == (CALIBRATION, COMMISSION)


def test_the_sheet_says_who_measured_and_tried_what_and_when_in_its_order(here):
    words = _words(tried(here / "c.json"), measured(here / "m.json", {"wheel": SKIPPED}))
    first = "Measured at the bicycle by Ada Brandt, 4 March 2026: throttle let go, throttle fully open,"
    assert first in words
    assert "battery current; left out: distance per wheel turn." in words
    assert "Tried on the stand by Ada Brandt, 5 March 2026: 11 of 11 points held." in words
    assert words.index("Measured at the bicycle") < words.index("Tried on the stand")
    assert "on the stand:" not in words
    assert "No record says who tried" not in words


def test_without_a_record_the_sheet_says_that_there_is_none(here):
    assert "No record says who tried this bicycle on the stand." in _words()
    assert "No record says who tried this bicycle on the stand." in _words(measured(here / "m.json"))


def test_what_failed_or_was_left_out_on_the_stand_stands_in_the_red_box(here):
    after = ITEM_NAMES[ITEM_NAMES.index("brake cuts") + 1 :]
    outcomes = {"loop time": SKIPPED, "brake cuts": FAILED, **dict.fromkeys(after, NOT_REACHED)}
    report = _verify_report(here / "v.json", "cargo_trike")
    words = _words(tried(here / "c.json", outcomes), verify=report)
    red = words[words.index("Failed, or not shown") : words.index("What you will feel")]
    assert "Failed on the stand: Pulling a brake ends the help at once. Don't ride with help before" in red
    assert (
        "Not tried on the stand: The control board runs fast enough. Pedalling backward gives no help." in red
    )
    assert "5 of 11 points held, 1 failed, 6 not tried" in words.replace("4 of 11", "5 of 11")


def test_a_later_list_that_passes_takes_an_earlier_failure_out_of_the_red_box(here):
    failed = tried(here / "a.json", {"forward": FAILED}, day=2)
    report = _verify_report(here / "v.json", "cargo_trike")
    words = _words(tried(here / "b.json", day=9), failed, verify=report)
    assert "Failed on the stand" not in words
    assert "2 March 2026: 10 of 11 points held, 1 failed." in words
    again = _words(tried(here / "c.json", {"forward": FAILED}, day=20), tried(here / "b.json", day=9))
    assert "Failed on the stand: Pedalling forward is seen as forward." in again


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"bike": "tandem"}, "is a record of tandem, allowed is one of cargo_trike"),
        ({"board": DESK}, "was made with the desk board, which has no bicycle"),
        ({"settings": {}}, "is missing there"),
        ({"passed": False}, "passed is False there, and its items say True"),
        ({"passed": None}, "passed is None there"),
        ({"items": []}, "items does not fit"),
        ({"by": ""}, "by does not fit"),
        ({"begun": "yesterday"}, "its times are not in order"),
        ({"begun": "2026-03-05T10:00:00"}, "its times are not in order"),
        ({"ended": "2026-03-05T10:01:00+00:00"}, "its times are not in order"),
        ({"heading": "treadle commission 2"}, "heading does not fit, allowed is a record of"),
        ({"treadle": 1}, "treadle does not fit"),
    ],
)
def test_a_record_that_is_not_this_bicycles_own_is_refused_in_one_sentence(here, changes, words):
    record = tried(here / "c.json")
    record.write_text(json.dumps({**json.loads(record.read_text()), **changes}))
    with pytest.raises(RequestError) as refused:
        HandoverRequest("cargo_trike", records=[record])
    assert words in str(refused.value)
    assert str(refused.value).startswith("c.json")
    assert "\n" not in str(refused.value)


def test_other_settings_a_missing_item_and_a_doubled_one_are_refused(here):
    settings = load_bike("cargo_trike").firmware_settings.as_dict() | {"rise_mv_per_s": 900}
    with pytest.raises(
        RequestError, match=r"rise_mv_per_s is 900 there and 600 for cargo_trike as it is now"
    ):
        HandoverRequest("cargo_trike", records=[tried(here / "c.json", settings=settings)])
    with pytest.raises(RequestError, match=r"throttle_rest_mv is 1 there .* run `treadle calibrate` again"):
        HandoverRequest("cargo_trike", records=[measured(here / "m.json", settings={"throttle_rest_mv": 1})])
    with pytest.raises(RequestError, match="nonsense is 1 there and unknown"):
        HandoverRequest("cargo_trike", records=[measured(here / "m.json", settings={"nonsense": 1})])
    whole = json.loads(tried(here / "c.json").read_text())
    for items in (whole["items"][:-1], [*whole["items"], whole["items"][0]]):
        (here / "c.json").write_text(json.dumps({**whole, "items": items}))
        with pytest.raises(RequestError, match="does not have the items of `treadle commission`"):
            HandoverRequest("cargo_trike", records=[here / "c.json"])
    odd = [{**item, "outcome": "fine"} for item in whole["items"]]
    (here / "c.json").write_text(json.dumps({**whole, "items": odd}))
    with pytest.raises(RequestError, match=r"items.0.outcome does not fit"):
        HandoverRequest("cargo_trike", records=[here / "c.json"])


def test_a_verify_report_is_no_record_and_a_name_with_markup_is_text(here):
    report = _verify_report(here / "v.json", "cargo_trike")
    with pytest.raises(RequestError, match="allowed is a record of `treadle calibrate`"):
        HandoverRequest("cargo_trike", records=[report])
    page = handover(HandoverRequest("cargo_trike", records=[tried(here / "c.json", by="<b>Ada</b>")])).files[
        0
    ]
    assert "&lt;b&gt;Ada&lt;/b&gt;" in page.read_text()


def test_on_the_command_line_each_record_is_named_and_json_has_them(treadle, here):
    tried(here / "c.json", {"help": FAILED})
    measured(here / "m.json")
    code, out, _ = treadle("handover", "--record", "c.json", "--record", "m.json", "--out", "a.html")
    assert code == 0
    assert "records     Measured at the bicycle by Ada Brandt, 4 March 2026" in out
    numbers = json.loads(treadle("handover", "--record", "c.json", "--out", "b.html", "--json")[1])
    assert numbers["stand_failed"] == ["The motor helps when you pedal."]
    assert numbers["stand_not_tried"] == []
    assert len(numbers["records"]) == 1
    assert json.loads(treadle("handover", "--out", "d.html", "--json")[1])["stand_failed"] is None


@pytest.mark.skipif(NO_BROWSER, reason="no browser that prints: install chromium")
@pytest.mark.parametrize("bike", ["cargo_trike", "folding"])
def test_with_every_report_and_record_it_still_prints_on_two_sides(here, bike):
    outcomes = {"forward": FAILED, **dict.fromkeys(ITEM_NAMES[4:], NOT_REACHED)}
    failing = ("cut-off distance", "brake cut", "forward pedalling only", "stop time")
    request = HandoverRequest(
        bike,
        verify=_verify_report(here / "v.json", bike, failing),
        capture=_inspect_report(here / "i.json", pulses_per_rev=None, channels=None),
        manifest=_manifest(here / "m.json", bike),
        records=[
            tried(here / "c.json", outcomes, bike=bike, by="A long name, " * 20),
            measured(here / "k.json", dict.fromkeys(STEP_NAMES[:3], SKIPPED), bike=bike),
        ],
        pdf=True,
    )
    assert len(PdfReader(handover(request).files[1]).pages) == 2
