"""`treadle measure`: its JSON, its files, what it writes, and what it refuses."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from host_sim.bikes.load import BIKES, load_bike
from host_sim.cli.calibrate import CalibrateRequest, calibrate
from host_sim.cli.program import app
from host_sim.errors import RequestError
from tests.measuring.coasting import Truth, coasted
from tests.measuring.roads import ridden
from tests.unit.test_calibrate import NOON, FakeBoard


def run(*arguments):
    result = CliRunner().invoke(app, ["measure", *arguments])
    if isinstance(result.exception, RequestError):
        raise result.exception
    return result


@pytest.fixture
def own_bike(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text((BIKES / "cargo_trike.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def test_coast_downs_give_json_a_plot_and_a_changed_bike_file(tmp_path, own_bike):
    random = np.random.default_rng(11)
    truth = Truth(random)
    arguments = []
    for place, log in enumerate(coasted(truth, random)):
        path = tmp_path / f"run{place}.csv"
        rows = zip(log.columns["time_s"], log.columns["speed_m_per_s"], strict=True)
        lines = [f"{time_s:.1f},{speed:.3f}" for time_s, speed in rows]
        path.write_text("time_s,speed_m_per_s\n" + "\n".join(lines) + "\n", encoding="utf-8")
        arguments.append(str(path))
    out = tmp_path / "out"
    mass = f"{truth.mass_kg:.1f}"
    result = run(
        str(own_bike),
        "--coast-down",
        *arguments,
        "--total-mass-kg",
        mass,
        "--json",
        "--write",
        "--out",
        str(out),
    )
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert set(found) == {"crr", "cda_m2"}
    assert set(found["crr"]) == {"value", "low", "high", "unit"}
    assert found["cda_m2"]["unit"] == "m2"
    assert found["crr"]["value"] == pytest.approx(truth.crr, rel=0.15)
    assert (out / "coast_down.png").read_bytes().startswith(b"\x89PNG")
    assert load_bike(own_bike).bicycle.drag_area_m2 == pytest.approx(found["cda_m2"]["value"], rel=1e-3)


def test_a_log_that_is_not_enough_ends_with_1_and_says_so(tmp_path, own_bike):
    log = tmp_path / "flat.csv"
    log.write_text("time_s,speed_m_per_s\n0,5\n1,5\n2,5\n", encoding="utf-8")
    result = run(str(own_bike), "--coast-down", str(log), "--out", str(tmp_path / "out"))
    assert result.exit_code == 1
    assert "not enough in this log: 0 coast-downs found" in result.stdout


def test_pushes_and_known_values_are_read_from_the_command_line_and_their_residuals_drawn(tmp_path, own_bike):
    known = [f"--known=divider={pair}" for pair in ("30:30.6", "35:35.7", "40:40.8")]
    known += [f"--known=throttle={pair}" for pair in ("0.8:0.81", "2.0:2.0", "3.6:3.59")]
    pushes = [f"--pushed={push}" for push in ("18.9:10", "18.93:10", "18.87:10")]
    out = tmp_path / "out"
    result = run(str(own_bike), *pushes, *known, "--json", "--out", str(out))
    found = json.loads(result.stdout)
    assert found["wheel_circumference_m"]["value"] == pytest.approx(1.89)
    assert found["divider_scale"]["value"] == pytest.approx(1.02)
    assert found["throttle_offset_v"]["unit"] == "V"
    assert sorted(path.name for path in out.iterdir()) == ["known.png", "pushed.png"]
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in out.iterdir())


def calibration(path, battery_v=None, current_a=None):
    """Let the calibration of a trike measure these parts, as (board, meter), and write its record."""
    asked = [("battery", "battery_v", battery_v), ("shunt", "current_a", current_a)]
    steps = [(step, {reading: pair[0]}, pair[1]) for step, reading, pair in asked if pair]
    answers = [answer for _, _, meter in steps for answer in ("", str(meter))]
    bike = path.with_suffix(".toml")
    bike.write_text((BIKES / "cargo_trike.toml").read_text(encoding="utf-8"), encoding="utf-8")
    request = CalibrateRequest(str(bike), "Ada", [step for step, _, _ in steps], path, False)
    board = FakeBoard(*(reading for _, reading, _ in steps))
    calibrate(request, board, lambda question: answers.pop(0), lambda line: None, lambda: NOON)
    return path


def test_three_records_of_calibrate_are_known_values_of_divider_and_shunt(tmp_path, own_bike):
    pairs = [((34.0, 34.4), (2.5, 2.6)), ((37.0, 37.4), (5.0, 5.2)), ((41.0, 41.4), None)]
    records = [calibration(tmp_path / f"{at}.json", *two) for at, two in enumerate(pairs)]
    known = [f"--known={path}" for path in records]
    result = run(str(own_bike), *known, "--json", "--out", str(tmp_path / "out"))
    found = json.loads(result.stdout)
    assert set(found) == {"divider_scale", "divider_offset_v"}
    assert found["divider_scale"]["value"] == pytest.approx(1.0)
    assert found["divider_offset_v"]["value"] == pytest.approx(0.4)
    assert result.exit_code == 1
    assert "known shunt: not enough: 2 known values, at least 3 are needed" in result.stderr
    by_hand = run(str(own_bike), *known, "--known=shunt=8:8.3", "--json", "--out", str(tmp_path / "again"))
    assert json.loads(by_hand.stdout)["shunt_scale"]["value"] == pytest.approx(1.037, abs=0.003)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "r.json: its content does not fit, allowed is a record of treadle calibrate in which battery"),
        ('{"heading": "treadle commission 1", "known_values": {}}', "r.json: heading does not fit"),
        ('{"heading": "treadle calibration 1"}', "r.json: known_values does not fit"),
        ('{"heading": "treadle calibration 1", "known_values": {}}', "r.json: it has no known values"),
        (
            '{"heading": "treadle calibration 1", "known_values": {"shunt": [[1, 1e9]]}}',
            "r.json: known_values.shunt.0.1 does not fit",
        ),
        (
            '{"heading": "treadle calibration 1", "known_values": {"shunt": [[NaN, 1]]}}',
            "r.json: known_values.shunt.0.0 does not fit",
        ),
    ],
)
def test_what_is_no_record_with_known_values_is_refused_in_one_sentence(tmp_path, text, sentence):
    path = tmp_path / "r.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RequestError, match=sentence):
        run("cargo_trike", f"--known={path}", "--out", str(tmp_path / "out"))


def test_a_ride_gives_both_numbers_and_a_picture_of_what_is_left(tmp_path, own_bike):
    random = np.random.default_rng(5)
    truth = Truth(random)
    columns = ridden(truth, random)
    lines = [",".join(f"{value:.3f}" for value in row) for row in zip(*columns.values(), strict=True)]
    path = tmp_path / "ride.csv"
    path.write_text("\n".join((",".join(columns), *lines)) + "\n", encoding="utf-8")
    mass = f"--total-mass-kg={truth.mass_kg:.2f}"
    out = tmp_path / "out"
    found = json.loads(
        run(str(own_bike), f"--ride={path}", mass, "--air-density=1.2", "--json", "--out", str(out)).stdout
    )
    assert found["crr"]["low"] <= truth.crr <= found["crr"]["high"]
    assert found["cda_m2"]["low"] <= truth.cda_m2 <= found["cda_m2"]["high"]
    assert (out / "ride.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["cargo_trike"], "no log is given"),
        (["cargo_trike", "b.csv", "--ride=a.csv", "--coast-down=c.csv"], "b.csv has no option"),
        (["cargo_trike", "--pushed=3:1", "--write"], "--write would change the example cargo_trike"),
        (["cargo_trike", "--pushed=3"], "--pushed is '3', allowed is metres:turns"),
        (["cargo_trike", "--pushed=nan:2"], "--pushed is 'nan:2'"),
        (["cargo_trike", "--known=dividr=1:2"], "did you mean divider"),
        (["cargo_trike", "--pushed=3:1", "--total-mass-kg=5"], "--total-mass-kg is 5, allowed is 10 to 1000"),
        (["cargo_trike", "--pushed=3:1", "--air-density=nan"], "--air-density is nan, allowed is 0.5 to 1.6"),
        (["cargo_trike", "--coast-down=missing.csv"], "missing.csv: there is no such file"),
    ],
)
def test_a_wrong_request_is_refused_in_one_sentence(arguments, sentence):
    with pytest.raises(RequestError, match=sentence):
        run(*arguments)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("time,speed_m_per_s\n0,1\n", "line 1: .* is not a known column"),
        ("time_s,speed_m_per_s\n0,1\n0,1\n", "line 3: time_s is 0, allowed is above 0"),
        ("time_s,speed_m_per_s\n0,x\n1,2\n", "line 2: speed_m_per_s is x, allowed is 0 to 40"),
        ("time_s,speed_m_per_s\n0,1,2\n", "line 2: it has 3 cells"),
        ("time_s,altitude_m\n0,1\n1,1\n", "column speed_m_per_s is missing"),
        ("", "line 1"),
    ],
)
def test_a_wrong_log_is_refused_with_its_line(tmp_path, text, sentence):
    log = tmp_path / "log.csv"
    log.write_text(text, encoding="utf-8")
    with pytest.raises(RequestError, match=sentence):
        run("cargo_trike", f"--coast-down={log}", "--out", str(tmp_path / "out"))
