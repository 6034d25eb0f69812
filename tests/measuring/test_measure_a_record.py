"""`treadle measure` reads a record of `treadle watch --record`, with the times of the board's clock."""

import json

import numpy as np
import pytest

from firmware.ticks import TICKS_MAX_US
from host_sim.errors import RequestError
from host_sim.measuring.log import read_log
from host_sim.watching.record_file import COLUMNS
from tests.measuring.spinning import Spin, board, logged

RESISTANCE_OHM, NO_LOAD_V = 0.12, 40.2


def record_of(rows, columns=COLUMNS):
    """Return the text of a record with these rows, each a dictionary; missing values are 0."""
    lines = [",".join(str(row.get(column, 0)) for column in columns) for row in rows]
    return "\n".join([",".join(columns), *lines]) + "\n"


def stepped(start_us):
    """Return rows of a load of 8 A that is switched every 5 s, twenty rows a second."""
    rows = []
    for number in range(600):
        current_a = 8.0 * (number // 100 % 2)
        row = {
            "time_us": (start_us + number * 50_000) & TICKS_MAX_US,
            "battery_v": round(NO_LOAD_V - RESISTANCE_OHM * current_a + 0.005 * (number % 3 - 1), 3),
            "current_a": current_a,
            "received_s": number * 0.35,  # The host's clock does not count.
        }
        rows.append(row)
    return rows


@pytest.mark.parametrize("start_us", [0, TICKS_MAX_US - 9_000_000], ids=["from 0", "over the wrap"])
def test_load_steps_in_a_record_give_the_resistance_of_the_pack(treadle, tmp_path, start_us):
    (tmp_path / "ride.csv").write_text(record_of(stepped(start_us)), encoding="utf-8")
    log = read_log(tmp_path / "ride.csv")
    assert log.columns["time_s"][[0, -1]] == pytest.approx([0.0, 29.95])
    code, out, err = treadle(
        *("measure", "cargo_trike", "--load-steps", str(tmp_path / "ride.csv")),
        *("--out", str(tmp_path / "out"), "--json"),
    )
    assert (code, err) == (0, "")
    found = json.loads(out)["pack_resistance_ohm"]
    assert found["low"] <= RESISTANCE_OHM <= found["high"]
    assert found["high"] - found["low"] < 0.01


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            record_of([{"time_us": 5_000_000}, {"time_us": 4_000_000}]),
            "r.csv line 3: the board's clock goes back, so it was switched off here; allowed is a record "
            "without that",
        ),
        (record_of([{"time_us": 5}, {"time_us": 5}]), "r.csv line 3: the board's clock goes back"),
        (
            record_of([{"time_us": 1}, {"time_us": 2**30}]),
            'r.csv line 3: time_us is "1073741824", allowed is 0 to 1073741823',
        ),
        (record_of([{"time_us": 1}, {"time_us": "²"}]), 'r.csv line 3: time_us is "²", allowed is 0'),
        (record_of([{"time_us": 1}, {"time_us": ""}]), 'r.csv line 3: time_us is "", allowed is 0'),
        (record_of([{"time_us": 1}, {"time_us": -1}]), 'r.csv line 3: time_us is "-1", allowed is 0'),
        (record_of([{"time_us": 1}]), "r.csv: it has 1 rows, allowed is 2 or more"),
        (
            record_of([{"time_us": 1}, {"time_us": 2, "battery_v": "x"}]),
            "r.csv line 3: battery_v is x, allowed is 0 to 150",
        ),
        (record_of([{}], ("received_s", "battery_v")), "r.csv line 1: column time_us is missing"),
        ("received_s,time_us\n1,2\n3\n", "r.csv line 3: it has 1 cells, the header has 2"),
    ],
)
def test_a_record_that_can_not_be_read_is_refused_with_its_line(tmp_path, text, sentence):
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    with pytest.raises(RequestError) as refused:
        read_log(tmp_path / "r.csv")
    assert sentence in str(refused.value)


def test_a_stand_run_in_a_record_gives_kind_volts_and_idle_current(treadle, tmp_path):
    spin = Spin("speed")
    log = logged(spin, np.random.default_rng(12), board(spin))
    columns = {name: column for name, column in log.columns.items() if name != "time_s"}
    rows = [
        {"time_us": row * 50_000} | {name: f"{column[row]:.3f}" for name, column in columns.items()}
        for row in range(len(log.columns["time_s"]))
    ]
    (tmp_path / "stand.csv").write_text(record_of(rows), encoding="utf-8")
    code, out, err = treadle(
        *("measure", "cargo_trike", "--stand", str(tmp_path / "stand.csv")),
        *("--out", str(tmp_path / "out"), "--json"),
    )
    found = json.loads(out)
    assert code == 1
    assert found["motor_controller_kind"]["value"] == "speed"
    for name, truth in (("volts_per_m_per_s", spin.volts), ("command_start_v", spin.start_v)):
        assert found[name]["low"] <= truth <= found[name]["high"]
    assert found["no_load_current_a"]["value"] == pytest.approx(spin.truth["no_load_a"], rel=0.03)
    assert "not enough in this log for the motor's resistance, the lag: the speed is read too seldom" in err
