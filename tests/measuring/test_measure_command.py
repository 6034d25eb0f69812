"""`treadle measure`: its JSON, its files, what it writes, and what it refuses."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from host_sim.bikes.load import BIKES, load_bike
from host_sim.cli.program import app
from host_sim.errors import RequestError
from tests.measuring.coasting import Truth, coasted


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


def test_pushes_and_known_values_are_read_from_the_command_line(tmp_path, own_bike):
    known = [f"--known=divider={pair}" for pair in ("30:30.6", "35:35.7", "40:40.8")]
    pushes = [f"--pushed={push}" for push in ("18.9:10", "18.93:10", "18.87:10")]
    result = run(str(own_bike), *pushes, *known, "--json", "--out", str(tmp_path / "out"))
    found = json.loads(result.stdout)
    assert found["wheel_circumference_m"]["value"] == 1.89
    assert found["divider_scale"]["value"] == 1.02


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
