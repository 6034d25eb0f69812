"""`treadle verify --faults`: table, JSON, picture, exit codes and refusals."""

import json

import pytest

import host_sim.compiled.workers
from host_sim.bikes.load import BIKES
from host_sim.cli.verify_faults import FaultsRequest
from host_sim.errors import RequestError

ROW = "wheel: half the pulses"


class InThisProcess:
    """Replaces worker processes: the same rides, here, without a compiler."""

    notice = ""

    def __init__(self, count, say=None):
        assert count >= 1

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    def map(self, function, items):
        return map(function, items)


@pytest.fixture(autouse=True)
def no_processes(monkeypatch):
    monkeypatch.setattr(host_sim.compiled.workers, "Workers", InThisProcess)


@pytest.mark.long
def test_a_row_that_the_hazard_table_knows_ends_with_0_and_names_the_hazard(treadle, here):
    code, out, _ = treadle("verify", "folding", "--faults", "--rule", ROW, "--out", "o")
    assert code == 0
    assert max(len(line) for line in out.splitlines()) <= 80
    assert out.splitlines()[1].split()[-5:] == ["holds", "holds", "holds", "holds", "unseen"]
    assert '(see "wheel pulses lost without a shunt")' in " ".join(out.split())
    assert "15 cells: 12 hold, 0 fail, 3 can't be seen." in out
    assert "not approval" in out
    assert sorted(path.name for path in (here / "o").iterdir()) == ["faults.json", "faults.png"]
    assert (here / "o" / "faults.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.long
def test_json_has_every_cell_with_what_was_measured(treadle, here):
    code, out, err = treadle(
        "verify", "folding", "--faults", "--rule", "crank: A stuck low", "--json", "--out", "o"
    )
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert told == json.loads((here / "o" / "faults.json").read_text(encoding="utf-8"))
    assert (told["bike"], told["holds"], len(told["cells"])) == ("folding", True, 15)
    assert told["limits"]["battery_power_w"] == 275.0  # 250 W and a tenth.
    assert {cell["verdict"] for cell in told["cells"]} == {"holds"}
    keys = {"row", "km_per_h", "situation", "over_power_j", "found", "found_after_s"}
    assert told["cells"][0].keys() >= keys
    assert told["hazards"] == []


def test_a_cell_that_fails_ends_with_1_and_says_how_to_ride_it_again(treadle, here, monkeypatch):
    monkeypatch.setattr("host_sim.rules.fault_matrix.OVER_SPEED_J", -1.0)
    bike = "the_bicycle_of_a_long_name.toml"
    (here / bike).write_bytes((BIKES / "folding.toml").read_bytes())
    row = "crank: A stuck low"
    code, out, _ = treadle("verify", bike, "--faults", "--rule", row)
    assert code == 1
    assert "FAILS" in out
    # In one line, so that it can be copied.
    assert f'    repeat: treadle verify {bike} --faults --rule "{row}"' in out.splitlines()


def test_a_row_that_is_not_there_is_refused_with_the_nearest(tmp_path):
    with pytest.raises(RequestError, match=r'--rule "wheel: half" is not a row .* did you mean'):
        FaultsRequest("folding", "wheel: half", 1, tmp_path / "o", False)
    with pytest.raises(RequestError, match="is not a row of the fault matrix of this bike"):
        FaultsRequest("folding", "throttle: stuck as it is", 1, tmp_path / "o", False)
