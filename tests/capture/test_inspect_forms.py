"""The whole command accepts session files and board dumps, as it does VCD."""

import json
from pathlib import Path

import pytest

from firmware.ticks import TICKS_MAX_US
from host_sim.inspecting.crank import InspectRequest, inspect_capture
from host_sim.watching.workshop import Workshop
from tests.capture.identification.truth import record
from tests.capture.looking import sensor
from tests.unit.test_console import Line, Session

ELSEWHERE = Path(__file__).resolve().parents[1] / "capture_files" / "written_elsewhere"


@pytest.fixture(autouse=True)
def _undrawn(monkeypatch):
    monkeypatch.setattr("host_sim.inspecting.crank._draw", lambda result, request, path: path.touch())


def _inspected(path, folder, forward=None):
    result = inspect_capture(InspectRequest(path, forward=forward, out=folder))
    assert json.loads((folder / "inspection.json").read_text(encoding="utf-8")) == result.as_json
    return result


def test_a_session_file_of_another_program_gives_the_findings_of_the_same_ride_in_vcd(tmp_path):
    session = _inspected(ELSEWHERE / "ride.sr", tmp_path / "session", "4:6")
    vcd = _inspected(ELSEWHERE / "ride.vcd", tmp_path / "vcd", "4:6")
    assert (session.form, vcd.form) == ("session file", "VCD")
    # Six seconds of a ride: slightly more than two turns, so the pulses stay unknown.
    assert (session.as_json["channels"], session.as_json["lead"]) == (2, vcd.as_json["lead"])
    assert session.as_json["lead"] in ("A", "B")
    assert session.as_json["pulses_per_rev"] is None
    assert session.as_json["duty"]["A"] == pytest.approx(0.48, abs=0.01)
    assert session.inspection.board == vcd.inspection.board
    assert (session.inspection.board.forward, session.inspection.board.backward) == (86, 0)


def test_the_edges_that_a_board_remembers_tell_its_ring(tmp_path):
    session = Session()
    # The board's clock wraps during the capture.
    start_us = TICKS_MAX_US - 12_000_000
    for chunk in record(sensor(pulses=8)).chunks:
        for time_ns, levels in zip(chunk.times_ns.tolist(), chunk.levels.tolist(), strict=True):
            session.desk.edges.record(levels, start_us + time_ns // 1000 & TICKS_MAX_US)
            session.desk.edges.take()
    path = tmp_path / "edges.jsonl"
    assert Workshop(Line(session)).keep_edges(path, force=False) == 512
    result = _inspected(path, tmp_path / "new", "0:10")
    assert result.form == "board dump"
    # 512 edges are 16 turns of 8 magnets.
    assert (result.as_json["channels"], result.as_json["pulses_per_rev"]) == (2, 8)
    assert (result.as_json["lead"], result.as_json["missing"]) == ("A", [])
    assert result.as_json["cadence_rpm"]["median"] == pytest.approx(60.0, abs=6.0)
    assert result.inspection.board.backward == 0
    assert result.fit
