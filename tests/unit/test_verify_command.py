"""`treadle verify` as its users meet it: verdicts, exit codes, what an interruption leaves, the width."""

import json
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from host_sim.bikes.load import BIKES, example_names, load_bike
from host_sim.cli.printing import WIDTH
from host_sim.cli.verify_table import print_verdicts
from host_sim.rules.catalogue import RULES
from host_sim.rules.judge import Finding, Verdict

KEYS = [
    "rule", "verdict", "holds", "measured", "limit", "unit", "margin", "seed", "source", "rides",
    "interrupted", "controller",
]  # fmt: skip


@pytest.fixture
def no_help(here: Path) -> str:
    """A bike file whose pedals ask for nothing: no ride comes to the end of help."""
    text = (BIKES / "folding.toml").read_text(encoding="utf-8")
    assert "[settings]" not in text
    (here / "no_help.toml").write_text(text + "\n[settings]\nassist_power_w = 0\n", encoding="utf-8")
    return "no_help.toml"


def report(folder: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(Path(folder, "verify.json").read_text(encoding="utf-8"))
    return rows


def test_a_rule_that_holds_ends_with_0_and_says_how_many_rides(treadle, here):
    code, out, err = treadle("verify", "--rule", "stop time", "--rides", "1", "--json", "--out", "a")
    (row,) = json.loads(out)
    assert (code, err) == (0, "")
    assert report("a") == [row]
    assert list(row) == KEYS
    assert (row["verdict"], row["holds"], row["interrupted"]) == ("holds", True, False)
    assert row["rides"] == {"sudden stop": 1, "fading legs": 1}


@pytest.mark.usefixtures("here")
def test_a_rule_that_fails_ends_with_1_and_has_a_picture(treadle):
    asked = ("verify", "folding", "--rule", "rocking ends help", "--rides", "1", "--seed", "1")
    code, out, err = treadle(*asked, "--out", "a")
    assert (code, err) == (1, "")
    assert out.splitlines()[1].startswith("FAILS rocking ends help")
    assert "0 rules hold, 1 fail. Not applicable to this bike: none." in out
    (row,) = report("a")
    assert (row["verdict"], row["holds"]) == ("fails", False)
    assert Path("a/rocking-ends-help.png").stat().st_size > 10_000


def test_a_rule_that_was_not_shown_is_no_failure_and_is_said_plainly(treadle, no_help):
    code, out, err = treadle("verify", no_help, "--rule", "stop time", "--rides", "1", "--out", "a")
    assert code == 0
    assert err == (
        "treadle: not yet tested: stop time; "
        "up to 3 more rides of these kinds follow: sudden stop, fading legs\n"
    )
    assert out.splitlines()[1].startswith("not shown stop time")
    words = " ".join(out.split())
    assert "stop time was not shown: none of 8 rides tested it (sudden stop, fading legs)." in words
    assert "0 rules hold, 0 fail, 1 was not shown: nothing is known about it." in words
    (row,) = report("a")
    assert (row["verdict"], row["holds"], row["measured"], row["margin"]) == ("not shown", None, None, None)
    assert row["rides"] == {"sudden stop": 4, "fading legs": 4}
    assert not list(Path("a").glob("*.png"))


def stopping_at(finished: int, stop: Callable[[], None]) -> Any:
    """Return a progress bar that calls `stop` when so many rides are finished."""

    @contextmanager
    def bar(_: str) -> Iterator[Callable[[int, int], None]]:
        def done(count: int, of_all: int) -> None:
            if count == finished:
                stop()

        yield done

    return bar


def ctrl_c() -> None:
    os.kill(os.getpid(), signal.SIGINT)


def terminate() -> None:
    os.kill(os.getpid(), signal.SIGTERM)


@pytest.mark.parametrize("stop", [ctrl_c, terminate])
@pytest.mark.parametrize(
    "rides",
    [
        pytest.param("2", id="in this process"),
        pytest.param("6", id="in worker processes", marks=pytest.mark.long),
    ],
)
def test_an_interruption_keeps_what_was_ridden(treadle, here, monkeypatch, stop, rides):
    at = 1 if rides == "2" else 5
    monkeypatch.setattr("host_sim.cli.verify.progress_bar", stopping_at(at, stop))
    kinds = {"1": {"rocking on": 1}, "5": {"rocking on": 5}}[str(at)]
    asked = ("verify", "folding", "--rule", "rocking ends help", "--rides", rides, "--out", "a")
    before = signal.getsignal(signal.SIGTERM)
    code, out, err = treadle(*asked)
    assert code == 130
    assert err == (
        f"treadle: interrupted; the report covers the finished rides: {at} of {rides} of each kind\n"
    )
    assert out.splitlines()[1].startswith("FAILS rocking ends help")
    (row,) = report("a")
    assert (row["verdict"], row["rides"], row["interrupted"]) == ("fails", kinds, True)
    assert [path.name for path in here.rglob("*") if path.is_file()] == ["verify.json"]
    assert signal.getsignal(signal.SIGTERM) == before


def test_an_interruption_before_the_first_ride_leaves_nothing(treadle, here, monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("host_sim.rules.judge.ride_once", interrupted)
    code, out, err = treadle("verify", "--rule", "stop time", "--rides", "1", "--out", "new")
    assert (code, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert list(here.iterdir()) == []


def test_a_second_interruption_while_the_report_is_written_leaves_nothing(treadle, here, monkeypatch):
    monkeypatch.setattr("host_sim.cli.verify.progress_bar", stopping_at(1, ctrl_c))
    monkeypatch.setattr("json.dump", lambda *_, **__: ctrl_c())
    code, out, err = treadle("verify", "--rule", "stop time", "--rides", "1", "--out", "new")
    assert (code, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert list(here.iterdir()) == []


@pytest.mark.parametrize("name", example_names())
@pytest.mark.parametrize("seed", [7, 4_294_967_295])
@pytest.mark.parametrize("beyond", [0.0, 0.001, -12_345.678])
def test_everything_but_commands_and_paths_fits_80_columns(capsys, name, seed, beyond):
    bike = load_bike(name)
    verdicts = []
    for rule in RULES:
        limit = rule.limit(bike)
        findings = [] if limit is None else [Finding(rule.name, "hilly ride", seed, limit + beyond)]
        verdicts.append(Verdict(rule, bike, findings if beyond else findings[1:]))
    result: Any = SimpleNamespace(
        verdicts=verdicts,
        request=SimpleNamespace(bike=bike),
        asked_about=name,
        files=[Path("verify.json")],
        repeat=lambda verdict: "treadle",
    )
    print_verdicts(result)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 30
    assert [line for line in lines if len(line) > WIDTH and "treadle verify" not in line] == []
    assert WIDTH == 80
