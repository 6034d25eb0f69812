"""`treadle inspect` as a user sees it: its output, its exit code, and the files that it leaves."""

import json
import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from host_sim.bench.faults import FaultSpec
from host_sim.bikes.load import BIKES, load_bike
from tests.capture.halls.legs import Legs
from tests.capture.halls.ring import Magnets
from tests.capture.identification.truth import record
from tests.capture.looking import missing, sensor, weak, write
from tests.capture.scope.layouts import plain
from tests.capture.scope.volts import Scope, first_magnet, sampled

KEYS = [
    "channels",
    "lead",
    "pulses_per_rev",
    "confidence",
    "duty",
    "phase_deg",
    "missing",
    "weak",
    "noise_per_s",
    "invalid_per_s",
    "reversals",
    "cadence_rpm",
    "advice",
    "fit",
    "why",
    "dead",
    "bounces",
    "seen_by_one_channel_only",
    "weak_on_one_channel",
    "overlap",
    "counts",
    "changes",
    "volts",
]
ROOT = Path(__file__).resolve().parents[2]
TRIKE = (BIKES / "cargo_trike.toml").read_text(encoding="utf-8")
TURNED = {"pulses": 12, "duty_percent": 45.0, "phase_deg": 80.0, "a_leads": False, "seconds": 20.0}


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in an empty folder with a capture of a healthy ring."""
    monkeypatch.chdir(tmp_path)
    write(record(sensor(**TURNED)), tmp_path / "crank.vcd")
    (tmp_path / "mine.toml").write_text(TRIKE, encoding="utf-8")
    return tmp_path


@pytest.fixture
def treadle(treadle):
    return partial(treadle, "inspect")


@pytest.fixture
def undrawn(monkeypatch):
    """Leave the picture out: a second that most of these tests do not need."""
    monkeypatch.setattr("host_sim.inspecting.crank._draw", lambda result, request, path: path.touch())


def _names(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


@pytest.mark.usefixtures("undrawn")
def test_json_has_the_keys_of_the_manual_and_nothing_else_is_printed(treadle):
    code, out, err = treadle("crank.vcd", "--forward", "2:15", "--json")
    found = json.loads(out)
    assert (code, err, list(found)) == (0, "", KEYS)
    assert (found["channels"], found["lead"], found["pulses_per_rev"]) == (2, "B", 12)
    assert found["duty"] == {"A": pytest.approx(0.45, abs=0.005), "B": pytest.approx(0.45, abs=0.005)}
    assert found["phase_deg"] == pytest.approx(80.0, abs=1.0)
    assert (found["missing"], found["weak"], found["reversals"]) == ([], [], 0)
    assert list(found["cadence_rpm"]) == ["min", "median", "max"]
    assert found["confidence"]["pulses_per_rev"] >= 0.97
    assert json.loads(Path("treadle-inspect/inspection.json").read_text(encoding="utf-8")) == found


def test_a_healthy_sensor_ends_with_0_and_a_picture(treadle, here):
    code, out, err = treadle("crank.vcd", "--forward", "2:15", "--out", "new")
    assert (code, err) == (0, "")
    assert "pulses per revolution     12 (99% sure)" in out
    assert "lead                      B leads (99% sure)" in out
    assert _names(here / "new") == ["inspection.json", "inspection.png"]
    assert (here / "new" / "inspection.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    "fault", [missing(3), weak(3, 0.5), FaultSpec("bounce")], ids=lambda fault: fault.name
)
def test_a_sensor_with_a_fault_ends_with_1(treadle, here, fault):
    write(record(sensor(faults=(fault,), seconds=15.0)), here / "bad.csv")
    code, out, _ = treadle("bad.csv")
    assert code == 1
    assert "* " in out


def test_volts_are_in_the_table_and_in_json_and_drawn(treadle, here):
    ring = Magnets(
        12, places=tuple(0.03 * ((7 * k) % 5 - 2) / 2 for k in range(12)), strengths=({5: 0.74}, {})
    )
    scope = Scope(ring, Legs((("turn", 12.0, 60.0),)))
    (here / "volts.csv").write_text(plain(*sampled(scope)), encoding="utf-8")
    code, out, err = treadle("volts.csv", "--forward", "1:6", "--out", "seen")
    number = (5 - first_magnet(scope)) % 12 + 1
    assert (code, err) == (1, "")
    assert f"least margins of A        magnet {number} 0." in out
    assert "a magnet is weak according to its volts" in out
    found = json.loads((here / "seen" / "inspection.json").read_text(encoding="utf-8"))
    assert (found["fit"], found["volts"]["linear"], found["volts"]["weak"]) == (False, True, [number])
    assert [len(one["magnets"]) for one in found["volts"]["channels"].values()] == [12, 12]
    assert (here / "seen" / "inspection.png").stat().st_size > 50_000


@pytest.mark.parametrize("given", ["2.0", "2:1", "a:b", "1:1e9"])
def test_thresholds_that_make_no_sense_are_refused(treadle, given):
    code, _, err = treadle("crank.vcd", "--thresholds", given)
    assert (code, "allowed is LOW:HIGH in volts" in err) == (2, True)
    code, _, err = treadle("crank.vcd", "--thresholds", "0.8:2.0")
    assert (code, "allowed is a CSV file of volts" in err) == (2, True)


@pytest.mark.usefixtures("undrawn")
def test_what_can_not_be_told_is_said_and_null_in_json(treadle, here):
    write(record(sensor(errors_deg=(), ripple=0.0, seconds=10.0)), here / "even.csv")
    _, out, _ = treadle("even.csv")
    assert "pulses per revolution can't tell" in " ".join(out.split())
    code, out, _ = treadle("even.csv", "--json", "--out", "other")
    found = json.loads(out)
    assert (code, found["pulses_per_rev"], found["lead"], found["cadence_rpm"]) == (1, None, None, None)
    assert (found["fit"], found["why"]) == (
        False,
        ["weak magnets can't be ruled out", "missing magnets can't be ruled out"],
    )


@pytest.mark.usefixtures("undrawn")
def test_counted_turns_tell_what_the_magnets_do_not(treadle, here):
    recorded = record(sensor(errors_deg=(), rpm=60.0, wander=0.0, ripple=0.0, seconds=20.0))
    write(recorded, here / "even.csv")
    code, out, _ = treadle("even.csv", "--turns", "20", "--json")
    assert (code, json.loads(out)["pulses_per_rev"]) == (0, 10)


@pytest.mark.usefixtures("undrawn")
def test_write_puts_what_is_sure_into_the_bike_file_and_keeps_its_comments(treadle, here):
    code, out, err = treadle("crank.vcd", "--forward", "2:15", "--bike", "mine.toml", "--write")
    assert (code, err) == (0, "")
    text = (here / "mine.toml").read_text(encoding="utf-8")
    kept = [line for line in TRIKE.splitlines() if "#" in line]
    assert [line for line in text.splitlines() if "#" in line] == kept
    part = load_bike(here / "mine.toml").pedal_sensor
    assert (part.kind, part.pulses_per_rev, part.leads_on_the_right) == ("two channels", 12, "B")
    assert part.duty_percent == pytest.approx(45.0, abs=0.5)
    assert part.phase_deg == pytest.approx(80.0, abs=1.0)
    assert (len(part.angle_errors_deg), part.uneven_deg) == (12, 0.0)
    assert "pulses_per_rev = 12" in out
    # Outside [pedal_sensor] not a byte is different.
    assert text.split("[pedal_sensor]")[0] == TRIKE.split("[pedal_sensor]")[0]
    assert text.split("[wheel_sensor]")[1] == TRIKE.split("[wheel_sensor]")[1]


@pytest.mark.usefixtures("undrawn")
def test_after_writing_nothing_is_left_to_do_about_the_lead_and_the_wires_stay(treadle, here):
    code, out, _ = treadle("crank.vcd", "--forward", "2:15", "--bike", "mine.toml", "--write")
    assert code == 0
    assert "leave the wires as they are" in out
    assert "swap the wires" not in out
    # In a second run file and capture agree.
    code, out, _ = treadle("crank.vcd", "--forward", "2:15", "--bike", "mine.toml", "--out", "again")
    assert (code, "the bike file" in out) == (0, False)


@pytest.mark.usefixtures("undrawn")
def test_a_comment_on_a_number_that_is_replaced_is_said_to_be_of_the_old_one(treadle, here):
    text = TRIKE.replace("pulses_per_rev = 10", "pulses_per_rev = 10  # counted by me", 1)
    (here / "mine.toml").write_text(text, encoding="utf-8")
    treadle("crank.vcd", "--forward", "2:15", "--bike", "mine.toml", "--write")
    line = next(
        line
        for line in (here / "mine.toml").read_text(encoding="utf-8").splitlines()
        if line.startswith("pulses_per_rev = 12")
    )
    assert line.split("#")[1] == " by treadle inspect; before: 10 (counted by me)"


@pytest.mark.usefixtures("undrawn")
def test_on_the_left_the_lead_that_is_written_is_the_other_one(treadle, here):
    (here / "mine.toml").write_text(TRIKE.replace('side = "right"', 'side = "left"'), encoding="utf-8")
    treadle("crank.vcd", "--forward", "2:15", "--bike", "mine.toml", "--write")
    bike = load_bike(here / "mine.toml")
    assert (bike.pedal_sensor.leads_on_the_right, bike.firmware_settings.lead) == ("A", 1)


@pytest.mark.usefixtures("undrawn")
def test_a_lead_that_was_not_shown_is_not_written(treadle, here):
    treadle("crank.vcd", "--bike", "mine.toml", "--write")
    assert load_bike(here / "mine.toml").pedal_sensor.leads_on_the_right == "A"


@pytest.mark.usefixtures("undrawn")
def test_without_write_a_bike_file_is_only_compared(treadle, here):
    code, out, _ = treadle("crank.vcd", "--forward", "2:15", "--bike", "mine.toml")
    assert code == 1
    assert (
        "not shown to be fit: the bike file and the capture differ in the number of pulses; the bike file"
        in out
    )
    assert (here / "mine.toml").read_text(encoding="utf-8") == TRIKE
    assert "the bike file says 10 pulses, the capture 12" in out
    assert "the bike file has A lead, in the capture B leads: the wires are swapped" in out
    assert "Do only one of these" in out


@pytest.mark.usefixtures("undrawn")
def test_a_setting_that_goes_over_what_was_found_is_refused_and_nothing_is_written(treadle, here):
    text = TRIKE + "pulses_per_rev = 10\n"
    (here / "mine.toml").write_text(text, encoding="utf-8")
    code, out, err = treadle("crank.vcd", "--bike", "mine.toml", "--write")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "settings.pulses_per_rev overrides the finding" in err
    assert (here / "mine.toml").read_text(encoding="utf-8") == text
    assert _names(here) == ["crank.vcd", "mine.toml"]


WRONG = {
    ("nowhere.vcd",): "nowhere.vcd",
    ("crank.vcd", "--forward", "8:2"): "--forward is '8:2', allowed is START:END",
    ("crank.vcd", "--forward", "2"): "--forward is '2', allowed is START:END",
    ("crank.vcd", "--forward", "nan:3"): "--forward is 'nan:3', allowed is START:END",
    ("crank.vcd", "--turns", "1"): "--turns is '1', allowed is a whole number from 2 to 10000",
    ("crank.vcd", "--turns", "2.5"): "--turns is '2.5', allowed is",
    ("crank.vcd", "--turns", "many"): "--turns is 'many', allowed is",
    ("crank.vcd", "--write"): "--write is given without --bike",
    ("crank.vcd", "--bike", "cargo_trike", "--write"): "--bike cargo_trike is an example",
    ("crank.vcd", "--bike", "nosuch"): "no bike is called 'nosuch'",
    ("crank.vcd", "--channels", "A,B,C"): "--channels",
    ("crank.vcd", "--channels", "no_such,other"): "no_such",
    ("crank.vcd", "--time-unit", "days"): '--time-unit is "days", allowed is s, ms, us, ns',
    ("mine.toml",): "mine.toml",
    ("crank.vcd", "--out", "/proc/nowhere"): "/proc/nowhere can't be written",
    ("crank.vcd", "--out", "mine.toml"): "mine.toml can't be written",
    ("crank.vcd", "--unknown"): "--unknown",
    (): "capture",
}


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("arguments", WRONG, ids=" ".join)
def test_a_wrong_request_ends_in_one_sentence_and_exit_code_2(treadle, here, arguments):
    code, out, err = treadle(*arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert WRONG[arguments].lower() in err.lower()
    assert _names(here) == ["crank.vcd", "mine.toml"]


@pytest.mark.usefixtures("undrawn")
def test_existing_results_are_kept_unless_forced(treadle, here):
    assert treadle("crank.vcd", "--out", "new")[0] == 0
    code, _, err = treadle("crank.vcd", "--out", "new")
    assert (code, "exists already" in err) == (2, True)
    assert treadle("crank.vcd", "--out", "new", "--force")[0] == 0


@pytest.mark.usefixtures("undrawn")
def test_a_damaged_file_is_read_up_to_the_damage_and_says_so(treadle, here):
    text = (here / "crank.vcd").read_text(encoding="utf-8")
    (here / "cut.vcd").write_text(text[: len(text) * 3 // 4] + "\n#what\n", encoding="utf-8")
    code, out, _ = treadle("cut.vcd")
    assert code == 0
    assert "the file is damaged" in out
    assert "12 (99% sure)" in out


@pytest.mark.usefixtures("undrawn")
def test_an_interrupt_before_delivery_leaves_nothing(treadle, here, monkeypatch):
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("host_sim.capture.bike_file.os.replace", interrupt)
    code, out, err = treadle("crank.vcd", "--bike", "mine.toml", "--write", "--out", "new")
    assert (code, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert _names(here) == ["crank.vcd", "mine.toml"]
    assert (here / "mine.toml").read_text(encoding="utf-8") == TRIKE


@pytest.mark.long
def test_a_signal_while_reading_leaves_nothing(here):
    # Long enough to be still working, at the latest drawing, when the signal comes.
    with (here / "long.csv").open("w", encoding="utf-8") as file:
        file.write("time_us,a\n")
        for index in range(800_000):
            file.write(f"{index * 200},{index & 1}\n")
    program = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from host_sim.cli import main; main()",
            "inspect",
            "long.csv",
            "--out",
            "new",
        ],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not (here / "new").exists() and program.poll() is None:
        pass  # It is loading.
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=60)
    assert (program.returncode, out, err) == (130, "", "treadle: interrupted, nothing was written\n")
    assert _names(here) == ["crank.vcd", "long.csv", "mine.toml"]


def test_help_has_an_example_and_a_caution(treadle):
    code, out, _ = treadle("--help")
    words = " ".join(out.split())
    assert code == 0
    assert "treadle inspect crank.vcd --forward 2:8" in words
    assert "Lift the driven wheel" in words


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(("until", "told"), [("24", False), ("900", True)])
def test_seconds_that_end_long_after_the_capture_are_told_with_its_length(treadle, here, until, told):
    code, out, _ = treadle("crank.vcd", "--forward", f"8:{until}", "--json")
    assert code == 0
    advice = [line for line in json.loads(out)["advice"] if "--forward ends at" in line]
    assert [line.split(" s: ")[0].rsplit(" ", 1)[0] for line in advice] == (
        ["--forward ends at 900 s, and the last edge of the capture is at"] if told else []
    )


@pytest.mark.usefixtures("undrawn")
def test_seconds_beyond_the_end_are_refused_with_how_long_the_capture_is(treadle, here):
    code, out, err = treadle("crank.vcd", "--forward", "30:40")
    assert (code, out) == (2, "")
    assert err.startswith(
        "treadle: --forward is 30:40, allowed is a stretch within the capture, whose last edge"
    )
    # It was recorded for 20 s, and the crank turned to the end.
    assert 19.0 < float(err.rsplit("is at ", 1)[1].split(" s")[0]) <= 20.0
    assert _names(here) == ["crank.vcd", "mine.toml"]
