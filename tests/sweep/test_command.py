"""`treadle sweep` as a user meets it: what it prints, writes and refuses, and how it goes on after a stop."""

import contextlib
import csv
import json
import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = [sys.executable, "-c", "from host_sim.cli import main; main()", "sweep"]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
RIDES_OF_MANY = 40 + 16 + 14  # Points, the bike as it is again and again, and the key alone.
SMALL = ["--seconds", "30", "--vary", "rise_mv_per_s=200:3000:3", "--vary", "release_rpm=10:30:2"]


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in the test's own folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def treadle(treadle):
    return partial(treadle, "sweep")


def until_rows(running, path):
    """Wait until some rows are there, or the program has ended."""
    while not (path.exists() and path.read_bytes().count(b"\n") > 5):
        with contextlib.suppress(subprocess.TimeoutExpired):
            running.wait(0.05)
            return


def table(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.long
def test_a_sweep_writes_a_table_two_figures_and_a_summary(treadle, tmp_path):
    code, out, _ = treadle(*SMALL, "--workers", "2", "--json")
    assert code == 0
    result = json.loads(out)
    assert result["files"] == [
        "treadle-sweep/sweep.csv",
        "treadle-sweep/sweep-heat.png",
        "treadle-sweep/sweep-slices.png",
    ]
    assert sorted(path.name for path in (tmp_path / "treadle-sweep").iterdir()) == [
        "sweep-heat.png",
        "sweep-slices.png",
        "sweep.csv",
    ]
    rows = table("treadle-sweep/sweep.csv")
    assert [row["number"] for row in rows] == ["0", "1", "2", "3", "4", "5"]
    assert [row["settings.rise_mv_per_s"] for row in rows] == ["200", "200", "1600", "1600", "3000", "3000"]
    # A release cadence of 30 rpm is not below the engage cadence of 20 rpm: a row with a reason, not a crash.
    assert [row["reason"] for row in rows[::2]] == ["", "", ""]
    assert {row["reason"] for row in rows[1::2]} == {
        "settings: release_rpm must be lower than engage_rpm, got 30 and 20"
    }
    assert {row["engage_s"] for row in rows[1::2]} == {""}
    assert result["ridden"] == 3
    assert result["not_ridden"] == {"settings: release_rpm must be lower than engage_rpm, got 30 and 20": 3}
    assert float(rows[0]["jerk_m_per_s3"]) < float(rows[4]["jerk_m_per_s3"])
    assert result["measures"]["jerk_m_per_s3"]["lowest_at"]["number"] == 0


@pytest.mark.long
def test_the_table_is_the_same_whatever_the_number_of_workers_and_the_kind_of_file(treadle):
    parquet = pytest.importorskip("pyarrow.parquet")
    assert treadle(*SMALL, "--workers", "1", "--out", "a.csv")[0] == 0
    assert treadle(*SMALL, "--workers", "2", "--out", "b.csv")[0] == 0
    assert treadle(*SMALL, "--workers", "2", "--out", "c.parquet")[0] == 0
    assert Path("a.csv").read_bytes() == Path("b.csv").read_bytes()
    for row, same in zip(table("a.csv"), parquet.read_table("c.parquet").to_pylist(), strict=True):
        for name, text in row.items():
            kept = same[name]
            assert (text or None) == kept if name == "reason" else (float(text) if text else None) == kept


@pytest.mark.long
def test_a_sweep_that_is_interrupted_goes_on_and_rides_nothing_twice(treadle, tmp_path):
    many = ["--seconds", "400", "--vary", "strength_nm=40:120:40", "--workers", "2", "--out", "t.csv"]
    running = subprocess.Popen(
        [*PROGRAM, *many], cwd=tmp_path, env=ENVIRONMENT, stderr=subprocess.PIPE, text=True
    )
    unfinished = tmp_path / "t.csv.unfinished"
    until_rows(running, unfinished)
    running.send_signal(signal.SIGINT)
    _, told = running.communicate()
    assert running.returncode == 130
    assert (
        told == "treadle: interrupted; finished rides are kept, and the same command continues from there\n"
    )
    assert not (tmp_path / "t.csv").exists()
    kept = unfinished.read_bytes().count(b"\n") - 2
    assert 0 < kept < RIDES_OF_MANY
    code, out, told = treadle(*many, "--json")
    assert code == 0
    assert told == f"treadle: {kept} of {RIDES_OF_MANY} rides are done already, continuing from there\n"
    assert json.loads(out)["already_there"] == kept
    assert [int(row["number"]) for row in table("t.csv")] == list(range(40))
    assert not unfinished.exists()
    assert treadle(*many[:-1], "whole.csv")[0] == 0
    assert Path("whole.csv").read_bytes() == Path("t.csv").read_bytes()


@pytest.mark.long
def test_a_program_that_is_killed_loses_no_ride_that_was_kept(treadle, tmp_path):
    many = ["--seconds", "400", "--vary", "strength_nm=40:120:40", "--workers", "2", "--out", "t.csv"]
    running = subprocess.Popen([*PROGRAM, *many], cwd=tmp_path, env=ENVIRONMENT, stderr=subprocess.DEVNULL)
    unfinished = tmp_path / "t.csv.unfinished"
    until_rows(running, unfinished)
    running.kill()
    running.wait()
    assert treadle(*many)[0] == 0
    assert [int(row["number"]) for row in table("t.csv")] == list(range(40))


@pytest.mark.long
def test_another_request_for_the_same_file_is_refused(treadle):
    Path("t.csv.unfinished").write_text("{}\nnumber\n0\n", encoding="utf-8")
    code, out, told = treadle(*SMALL, "--out", "t.csv")
    assert (code, out) == (2, "")
    assert told.startswith("treadle: t.csv.unfinished holds the rows of another sweep, allowed is")
    assert Path("t.csv.unfinished").read_text(encoding="utf-8") == "{}\nnumber\n0\n"
    assert treadle(*SMALL, "--out", "t.csv", "--force")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "--vary is missing, allowed is --vary KEY=LOW:HIGH:N, once or more"),
        (["--vary", "resistance_ohm=0.1:1:3"], "could be motor.resistance_ohm or battery.resistance_ohm"),
        ([*SMALL[2:], "--seconds", "29"], "--seconds is 29, allowed is 30 to 3600 (s)"),
        ([*SMALL[2:], "--seconds", "nan"], "--seconds is nan, allowed is 30 to 3600 (s)"),
        ([*SMALL, "--workers", "0"], "--workers is '0', allowed is a whole number from 1 to 256"),
        ([*SMALL, "--workers", "two"], "--workers is 'two', allowed is a whole number from 1 to 256"),
        ([*SMALL, "--random", "0"], "--random is '0', allowed is a whole number from 1 to 1000000"),
        ([*SMALL, "--random", "1.5"], "--random is '1.5', allowed is a whole number from 1 to 1000000"),
        ([*SMALL, "--random", "inf"], "--random is 'inf', allowed is a whole number from 1 to 1000000"),
        ([*SMALL, "--workers", "nan"], "--workers is 'nan', allowed is a whole number from 1 to 256"),
        ([*SMALL, "--rides", "5000"], "--rides is '5000', allowed is a whole number from 1 to 1000"),
        ([*SMALL, "--out", "table.xlsx"], "--out is table.xlsx, allowed is a name that ends in .csv"),
        (["no_bike", *SMALL], "no bike is called 'no_bike'"),
        ([*SMALL, "--workers", "1", "--cluster", "tcp://x:1"], "--workers and --cluster are both given"),
        ([*SMALL, "--out", "no/such\0/t.csv"], ""),
    ],
)
def test_a_wrong_request_is_one_sentence_and_leaves_nothing(treadle, tmp_path, arguments, sentence):
    code, out, told = treadle(*arguments)
    assert (code, out) == (2, "")
    assert told.count("\n") == 1
    assert sentence in told
    assert list(tmp_path.iterdir()) == []


def test_a_table_that_exists_is_kept_unless_forced(treadle):
    Path("t.csv").write_text("mine", encoding="utf-8")
    code, _, told = treadle(*SMALL, "--out", "t.csv")
    assert code == 2
    assert told == "treadle: t.csv exists already, allowed is another --out, or --force\n"
    assert Path("t.csv").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_can_not_be_made_is_refused(treadle):
    Path("file").write_text("", encoding="utf-8")
    code, _, told = treadle(*SMALL, "--out", "file/t.csv")
    assert code == 2
    assert told.startswith("treadle: file/t.csv can't be written, allowed is another --out: ")


@pytest.mark.long
def test_a_sweep_of_which_nothing_can_be_ridden_ends_with_1_and_its_reasons(treadle):
    code, out, _ = treadle("--seconds", "30", "--vary", "release_rpm=30:40:2", "--workers", "1", "--json")
    assert code == 1
    assert json.loads(out)["ridden"] == 0
    assert [row["reason"] for row in table("treadle-sweep/sweep.csv")] == [
        "settings: release_rpm must be lower than engage_rpm, got 30 and 20",
        "settings: release_rpm must be lower than engage_rpm, got 40 and 20",
    ]


@pytest.mark.long
def test_random_points_are_drawn_and_told(treadle):
    arguments = ["--random", "5", "--vary", "strength_nm=40:120", "--seconds", "30", "--workers", "1"]
    code, out, _ = treadle(*arguments, "--out", "r.csv")
    assert code == 0
    assert "5 of 5 points ridden" in out
    assert "not approval" in out
    assert len({row["rider.strength_nm"] for row in table("r.csv")}) == 5
