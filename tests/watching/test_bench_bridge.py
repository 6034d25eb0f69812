"""The bench bridge: a step of the desk board compared with the same step on the bench."""

import json
import re
from dataclasses import replace

import pytest

from boards.desk import rider
from firmware.settings import Settings
from host_sim.bikes.load import load_bike
from host_sim.boardlink.frames import Frame
from host_sim.cli.step import _told
from host_sim.lab.bench_bridge import Curve, bridge, course_lines
from host_sim.lab.bench_bridge_figure import bridge_page
from host_sim.lab.desk_motor import MA_PER_MV, DeskBattery, DeskMotor
from host_sim.watching.step_seen import AFTER_S, LONGEST_S, StepFinder

STILL = Frame(
    number=0, time_us=0, steps=0, period_us=5000, worst_us=400, overruns=0, form="bytecode", state="ready",
    fault="none", brake_pulled=False, drive_enabled=False, settings_valid=True, resting=True,
    throttle_rest_seen=True, direction="standing", cadence_rpm=0, pitch_s=0.0, edges=0, rejected=0,
    edges_lost=0, levels=0, level_samples=(0,) * 12, speed_m_per_s=0.0, share=1.0, wanted_w=0,
    ceiling_w=250, power_w=0, command_v=0.0, battery_v=41.0, current_a=0.0, throttle_v=0.8, selector_v=3.6,
    motor_celsius=25.0,
)  # fmt: skip
PERIOD_US = 50_000


def frames(*stretches, first_us=2**30 - 1_000_000):
    """Return frames 50 ms apart across the wrap of the clock, from (seconds, changes)."""
    made = []
    for seconds, changes in stretches:
        for _ in range(round(seconds * 20)):
            at = len(made)
            time_us = (first_us + at * PERIOD_US) % 2**30
            made.append(replace(STILL, number=at % 256, time_us=time_us, steps=10 * at % 65_536, **changes))
    return made


HELPS = {
    "state": "assisting",
    "command_v": 1.5,
    "wanted_w": 250,
    "power_w": 100,
    "edges": 9,
    "cadence_rpm": 60,
}
WITHHELD = {**HELPS, "command_v": 0.0, "power_w": 0}


def found(made):
    finder = StepFinder()
    for frame in made:
        seen = finder.take(frame)
        if seen is not None:
            return seen, finder
    return None, finder


def test_a_rest_then_help_for_five_seconds_is_a_step():
    seen, _ = found(frames((6.0, {}), (5.2, HELPS)))
    assert seen.step_s == 0.0
    assert seen.time_s[0] == pytest.approx(-2.0, abs=0.06)
    assert seen.time_s[-1] == pytest.approx(AFTER_S, abs=0.06)


def test_help_that_is_withdrawn_counts_from_when_it_comes_for_good():
    seen, _ = found(frames((3.0, {}), (0.8, HELPS), (0.9, WITHHELD), (5.2, HELPS)))
    assert seen.step_s == pytest.approx(1.7)
    assert seen.time_s[-1] == pytest.approx(1.7 + AFTER_S, abs=0.06)


@pytest.mark.parametrize(
    ("stretches", "why"),
    [
        (((3.0, {}), (4.9, HELPS), (3.0, {})), "help ended too soon: ready"),
        (
            ((3.0, {}), (1.0, HELPS), (9.0, {**HELPS, "state": "faulted", "fault": "noise"})),
            "too soon: noise",
        ),
        (((1.0, {}), (9.0, HELPS)), "it did not rest before"),
        (((3.0, {}), *(((1.0, HELPS), (1.0, WITHHELD)) * 20)), "withdrawn repeatedly"),
    ],
)
def test_less_than_a_step_is_none_and_the_finder_says_why(stretches, why):
    finder, told = StepFinder(), set()
    for frame in frames(*stretches):
        assert finder.take(frame) is None
        told.add(finder.why_not)
    assert any(why in one for one in told)
    assert LONGEST_S > AFTER_S


def test_a_lost_frame_spoils_a_step_and_the_next_rest_begins_anew():
    made = frames((3.0, {}), (6.0, HELPS))
    del made[80]
    seen, finder = found(made)
    assert seen is None
    assert finder.why_not in ("frames were lost on the link", "it did not rest before")
    again = frames((3.0, {}), (6.0, HELPS), first_us=0)
    finder = StepFinder()
    for frame in made[:90]:
        finder.take(frame)
    assert any(finder.take(frame) for frame in again)


def test_the_bench_has_the_desks_motor_and_battery():
    assert MA_PER_MV == rider.MA_PER_MV
    settings = load_bike("cargo_trike").firmware_settings
    desk = rider.Rider(settings, False, 0)
    desk._ride_a_millisecond(settings.command_start_mv + 500)
    motor, battery = DeskMotor(settings), DeskBattery(settings)
    motor.step(settings.command_start_mv / 1000 + 0.5, battery.voltage_v, 3.0, 0.005)
    battery.step(motor.battery_current_a, 0.005)
    assert motor.battery_current_a == pytest.approx(desk.current_ma / 1000)
    assert battery.voltage_v == pytest.approx(desk.battery_mv / 1000)


def test_the_bench_rides_the_cadence_and_the_speed_that_the_board_sent():
    seen, _ = found(frames((3.0, {}), (5.2, {**HELPS, "speed_m_per_s": 2.5})))
    lines = course_lines(seen)
    assert lines[0]["cadence_rpm"] == 0
    assert lines[-1] == {"at_s": pytest.approx(9.0, abs=0.1), "cadence_rpm": 60, "roller_km_per_h": 9.0}
    assert sum(1 for line in lines if line["cadence_rpm"] == 0) == pytest.approx(40, abs=1)


def test_a_curve_tells_rise_time_overshoot_and_its_end():
    # A ramp to 100 W in 2 s, 10 % above it until 3 s, then 100 W: nine tenths at 1.8 s.
    time_s = [at / 100 for at in range(-100, 501)]
    power = tuple(0.0 if t < 0 else 50 * t if t < 2 else 110.0 if t < 3 else 100.0 for t in time_s)
    setpoint = tuple(0.0 if t < 0 else 100.0 for t in time_s)
    curve = Curve(tuple(time_s), power, setpoint, tuple(w / 50 for w in power))
    assert curve.rise_s == pytest.approx(1.8)
    assert curve.overshoot_percent == pytest.approx(10.0)
    assert (curve.last_w, curve.last_v) == (pytest.approx(100.0), pytest.approx(2.0))
    assert _told(curve) == ("1.80 s", "10 %", "100 W", "2.00 V")
    flat = Curve((0.0, 5.0), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    assert (flat.rise_s, flat.overshoot_percent) == (None, 0.0)


def test_another_motor_shows_as_curves_that_part():
    # The desk's frames against the bike file's motor: what differs is the motor, and the page shows it.
    bike = load_bike("cargo_trike")
    settings = bike.firmware_settings.as_dict()
    seen, _ = found(frames((3.0, {}), (5.2, {**HELPS, "speed_m_per_s": 2.5})))
    bridged = bridge(bike, settings, seen, desk=False)
    assert bridged.simulated.last_w == pytest.approx(250, abs=8)
    assert bridged.measured.last_w == 100
    assert bridged.largest_w > 100
    page = bridge_page("A <step>", bridged, "words")
    assert "A &lt;step&gt;" in page
    assert "src=" not in page
    assert len(re.findall(r"<circle", page)) > 200
    assert Settings(settings).gain_uv_per_w == bridged.gain_uv_per_w


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--out", "s.pdf"), "--out is s.pdf, allowed is a file name that ends with .html"),
        (("--seconds", "5"), "--seconds is 5, allowed is a number from 10 to 3600"),
        (("nobike",), "no bike is called 'nobike'"),
        (("--hurry",), "allowed only with --desk"),
    ],
)
def test_a_wrong_request_is_one_sentence_before_any_port(treadle, tmp_path, monkeypatch, arguments, words):
    monkeypatch.chdir(tmp_path)
    code, out, err = treadle("step", *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert not list(tmp_path.rglob("*.html"))


@pytest.mark.long
@pytest.mark.parametrize("bike", ["cargo_trike", "folding"])
def test_a_step_of_the_desk_board_lies_on_that_of_the_bench(treadle, tmp_path, monkeypatch, bike):
    monkeypatch.chdir(tmp_path)
    code, out, err = treadle("step", bike, "--desk", "--hurry", "--out", "s.html", "--json")
    assert (code, err) == (0, "")
    numbers = json.loads(out)
    measured, simulated = numbers["measured"], numbers["simulated"]
    assert measured["last_w"] > 100
    # Frames are 50 ms apart: at the trike's rise rate that is 600 mV/s x 6 mA/mV x 41 V x 0.05 s = 7 W.
    assert numbers["largest_w"] < 15
    assert simulated["last_w"] == pytest.approx(measured["last_w"], abs=5)
    assert simulated["last_v"] == pytest.approx(measured["last_v"], abs=0.02)
    if measured["rise_s"] is not None:
        assert simulated["rise_s"] == pytest.approx(measured["rise_s"], abs=0.15)
    page = (tmp_path / "s.html").read_text()
    assert "the bench uses the same" in page
    assert treadle("step", bike, "--desk", "--out", "s.html")[0] == 2
