"""The job of the tutorial on the emulated Pico: the real commands over a port, from `new` to `handover`."""

import json
import re

import pytest

from host_sim.bikes.load import load_bike
from tests.emulated.pico import why_missing
from tests.emulated.whole_job import AROUND_M, BIKE, settings_in, walk

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(bool(why_missing()), reason=why_missing()),
    pytest.mark.xdist_group("emulated"),
]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return walk(tmp_path_factory.mktemp("job"))


def read(job, name):
    return json.loads((job.folder / name).read_text(encoding="utf-8"))


def test_a_blank_chip_gets_the_bundle_and_one_that_rides_gets_only_what_changed(job):
    assert re.search(
        r"^\d\d copied, 0 there already, 0 removed; every file was hashed", job.seen["flash"], re.M
    )
    assert "MicroPython 1.27.0. The firmware does not run yet" in job.seen["flash"]
    # The board has the calibrated settings already, but for the place's limits and the manifest.
    assert "there already" in job.seen["flash again"]
    assert (
        settings_in(job.seen["settings at the end"])
        == load_bike(job.folder / BIKE).firmware_settings.as_dict()
    )


def test_the_ring_that_the_chip_saw_is_the_one_of_the_bike_file(job):
    for line in ("two channels (9", "12 (9", "A leads (9", "lost 0 times", "fit for use"):
        assert line in job.seen["inspect"]
    assert "edges forward, 0 backward" in job.seen["turned"]


def test_what_was_calibrated_stands_in_the_bike_file_the_record_and_on_the_board(job):
    bike = load_bike(job.folder / BIKE)
    record = read(job, "calibration.json")
    assert {row["outcome"] for row in record["items"]} == {"ticked", "not applicable"}
    assert (record["board"], record["by"]) == ("rpi_pico", "Ada")
    # What was put there, within what twelve bits and a divider of 1.34 mV a step can tell.
    assert bike.throttle.rest_v == pytest.approx(0.83, abs=0.02)
    assert bike.throttle.full_v == pytest.approx(3.52, abs=0.02)
    assert bike.selector.low_v == pytest.approx(0.52, abs=0.02)
    assert bike.selector.high_v == pytest.approx(4.43, abs=0.02)
    assert bike.bicycle.wheel_circumference_m == AROUND_M
    assert record["settings"]["wheel_circumference_mm"] == AROUND_M * 1000
    assert "measured by Ada, " in (job.folder / BIKE).read_text(encoding="utf-8")


def test_every_item_of_the_checklist_was_ticked_or_confirmed(job):
    record = read(job, "commission.json")
    assert record["passed"] is True
    assert {row["outcome"] for row in record["items"]} == {"ticked", "confirmed"}
    assert len(record["items"]) == 11
    assert "2 levers, each alone" in job.seen["commission"]
    assert record["settings"] == load_bike(job.folder / BIKE).firmware_settings.as_dict()


def test_what_is_asked_of_a_moving_bicycle_waits_until_it_stands(job):
    assert "stored; the board restarts with: rise_mv_per_s = 450" in job.seen["set"]
    assert settings_in(job.seen["settings"])["rise_mv_per_s"] == 450
    assert "throttle wire open" in job.seen["fault"]
    assert "the fault is cleared" in job.seen["cleared"]


def test_every_recorded_step_is_replayed_to_the_bit_and_the_record_tells_the_packs_resistance(job):
    assert "0 lost on the link, 0 pieces damaged, magnets missed 0 times" in job.seen["record"]
    assert "from the board's start" in job.seen["replay"]
    assert "bit for bit" in job.seen["replay"]
    assert "faults           none" in job.seen["replay"]
    # The plant's pack, read through the emulated converters.
    ohm = float(job.seen["measure"].split("pack_resistance_ohm")[1].split()[0])
    assert ohm == pytest.approx(load_bike(job.folder / BIKE).battery.resistance_ohm, rel=0.15)


def test_the_handover_sheet_has_both_records(job):
    page = (job.folder / "longtail.html").read_text(encoding="utf-8")
    assert page.count("Ada") >= 2
    assert "fit" in job.seen["handover"]
