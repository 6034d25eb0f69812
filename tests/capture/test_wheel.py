"""Captures of wheel sensors from an independent source: planted faults are found, and nothing else."""

import json
from dataclasses import replace
from functools import partial
from random import Random

import pytest

from host_sim.bikes.load import BIKES, load_bike
from host_sim.capture.wheel.inspection import WheelInspection, WheelTold, inspect_wheel
from host_sim.capture.wheel.words import wheel_advice
from host_sim.errors import RequestError
from host_sim.handover.reports import read_inspect
from tests.capture.wheels.spinning import PUSH, Spin, edges_of_wheel, source_of
from tests.quick_first import quick_first

UNKNOWN = ["the number of pulses per turn of the wheel is unknown"]
TRIKE = (BIKES / "cargo_trike.toml").read_text(encoding="utf-8")


def _found(spin: Spin, **told) -> WheelInspection:
    return inspect_wheel(lambda: source_of(spin), WheelTold(**{"circumference_m": 2.1, **told}))


def _advice(found: WheelInspection) -> str:
    return " ".join(wheel_advice(found))


@pytest.mark.parametrize("magnets", quick_first(3, [2, 3, 6, 16, 36]))
@pytest.mark.parametrize("low_active", [False, True])
def test_uneven_magnets_tell_how_many_they_are(magnets, low_active):
    # With two or three magnets, legs look much like uneven places, so theirs are farther off.
    spin = Spin(magnets, uneven=0.04 if magnets > 3 else 0.08, wide_m=0.02, low_active=low_active, seed=7)
    alone = _found(spin)
    assert (alone.turn.pulses.value, alone.turn.pulses.sure) == (magnets, False)
    found = _found(spin, pulses=magnets)
    assert (found.turn.pulses.value, found.turn.pulses.sure, found.why) == (magnets, True, [])
    assert (found.lost_count, len(found.pulses.double_s), len(found.pulses.noise_s)) == (0, 0, 0)


@pytest.mark.parametrize("magnets", [1, 2, 6, 36])
def test_even_magnets_are_not_guessed_and_a_push_tells_them(magnets):
    even = Spin(magnets, uneven=0.0, wide_m=0.02)
    found = _found(even)
    assert (found.turn.pulses.sure, found.why) == (False, UNKNOWN)
    assert "--pushed METRES:TURNS" in _advice(found)
    pushed = _found(replace(even, course=PUSH, turns=5.0), pushed_m=10.4, pushed_turns=5.0)
    assert (pushed.turn.pulses.value, pushed.turn.pulses.sure, pushed.why) == (magnets, True, [])
    assert pushed.circumference_m == pytest.approx(2.08)


@pytest.mark.parametrize("seed", quick_first(5, range(16)))
def test_no_number_of_pulses_is_stated_that_is_wrong(seed):
    random = Random(seed)
    spin = Spin(
        magnets=random.choice((1, 2, 4, 8, 12, 30)),
        uneven=random.choice((0.0, 0.01, 0.05)),
        wide_m=0.02,
        lost_above_km_per_h=random.choice((10.0, 20.0, 1000.0)),
        lost_share=random.choice((0.02, 0.3)),
        bounced_below_km_per_h=random.choice((-1.0, 15.0)),
        idle_noise_per_s=random.choice((0.0, 3.0)),
        seed=seed,
    )
    found = _found(spin)
    assert not found.turn.pulses.sure
    agreed = _found(spin, pulses=random.choice((1, 2, 3, 4, 6, 8, 12, 30)))
    assert not agreed.turn.pulses.sure or agreed.turn.pulses.value == spin.magnets
    assert found.turn.missing == 0


@pytest.mark.parametrize(("magnets", "uneven"), [(6, 0.03), (12, 0.0), (20, 0.02)])
def test_a_missing_magnet_is_that_and_no_lost_pulses(magnets, uneven):
    found = _found(Spin(magnets, uneven=uneven, gone=3, wide_m=0.02), pulses=magnets)
    assert (found.turn.pulses.value, found.turn.missing, found.lost_count) == (magnets, 1, 0)
    assert "a wheel magnet is missing" in found.why
    assert "help continues beyond the cut-off speed" in _advice(found)


@pytest.mark.parametrize("magnets", [1, 6])
def test_pulses_lost_at_speed_are_counted_there(magnets):
    spin = Spin(magnets, lost_above_km_per_h=22.0)
    whole = len(_found(replace(spin, lost_above_km_per_h=1000.0)).pulses.rise_s)
    found = _found(spin, pulses=magnets)
    gone = whole - len(found.pulses.rise_s)
    assert gone >= 20
    assert found.lost_count == pytest.approx(gone, rel=0.2)
    assert sum(band.lost for band in found.bands if band.most_km_per_h <= 16.0) == 0
    assert "wheel pulses are lost" in found.why
    assert "passes too fast for the pickup: make the gap smaller" in _advice(found)


def test_pulses_doubled_when_slow_are_counted_there():
    found = _found(Spin(bounced_below_km_per_h=15.0))
    assert len(found.pulses.double_s) >= 20
    assert sum(band.doubled for band in found.bands if band.least_km_per_h >= 24.0) == 0
    assert "wheel pulses are doubled" in found.why
    assert "km/h: a contact bounces" in _advice(found)


@pytest.mark.parametrize("magnets", [1, 6])
def test_noise_with_the_motor_is_told_apart_from_other_noise(magnets):
    found = _found(Spin(magnets, noise_per_s=20.0, drive_wire=True))
    assert found.noise.with_drive is True
    assert found.noise.driving_per_s == pytest.approx(20.0, rel=0.1)
    assert "the motor makes noise on the wheel channel" in found.why
    other = _found(Spin(magnets, idle_noise_per_s=5.0, drive_wire=True))
    assert (other.noise.with_drive, "there is noise on the wheel channel" in other.why) == (False, True)
    assert "no more while the motor drives" in _advice(other)
    unknown = _found(Spin(magnets, noise_per_s=20.0))
    assert "record a second channel that is high while the motor drives" in _advice(unknown)


def test_a_still_wheel_has_no_pulses():
    found = _found(Spin(course=((0.0, 0.0), (5.0, 0.0))))
    assert found.why == ["the wheel gives no pulses"]


@pytest.fixture
def treadle(treadle):
    return partial(treadle, "inspect")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in a folder with a push of 5 turns, a ride and a copied bike file."""
    monkeypatch.chdir(tmp_path)
    for name, spin in (
        ("push.csv", Spin(4, course=PUSH, turns=5.0)),
        ("ride.csv", Spin(6, lost_above_km_per_h=22.0, noise_per_s=20.0, drive_wire=True)),
    ):
        chunk = edges_of_wheel(spin)
        rows = [
            f"{time // 1000},{level & 1},{level >> 1}"
            for time, level in zip(chunk.times_ns.tolist(), chunk.levels.tolist(), strict=True)
        ]
        (tmp_path / name).write_text("\n".join(["time_us,wheel,drive", *rows, ""]), encoding="utf-8")
    (tmp_path / "mine.toml").write_text(TRIKE, encoding="utf-8")
    return tmp_path


def test_a_push_writes_the_wheel_into_the_bike_file(treadle, here):
    had = load_bike(here / "mine.toml")
    words = ("push.csv", "--channels", "wheel", "--wheel", "--pushed", "10.5:5", "--bike", "mine.toml")
    code, out, err = treadle(*words, "--out", "held")
    assert (code, err) == (1, "")
    assert "differ in the number of wheel pulses" in out
    code, out, err = treadle(*words, "--write", "--out", "written")
    assert (code, err) == (0, "")
    assert "wheel_sensor.pulses_per_rev = 4" in out
    bike = load_bike(here / "mine.toml")
    assert (bike.wheel_sensor.pulses_per_rev, bike.bicycle.wheel_circumference_m) == (4, 2.1)
    assert bike.pedal_sensor == had.pedal_sensor
    text = (here / "mine.toml").read_text(encoding="utf-8")
    assert text.count("\n") == TRIKE.count("\n")


def test_a_setting_over_the_wheel_is_refused_and_the_file_stays(treadle, here):
    text = TRIKE.replace("\n[settings]\n", "\n[settings]\nwheel_pulses_per_rev = 3\n", 1)
    (here / "mine.toml").write_text(text, encoding="utf-8")
    words = ("push.csv", "--channels", "wheel", "--wheel", "--pushed", "10.5:5", "--bike", "mine.toml")
    code, _, err = treadle(*words, "--write")
    assert (code, "settings.wheel_pulses_per_rev overrides the finding" in err) == (2, True)
    assert (here / "mine.toml").read_text(encoding="utf-8") == text


def test_a_ride_is_drawn_and_told_in_json(treadle, here):
    code, out, err = treadle("ride.csv", "--wheel", "--bike", "cargo_trike", "--json", "--out", "ride")
    found = json.loads(out)
    assert (code, err, found["fit"]) == (1, "", False)
    assert found["wheel"]["noise_with_drive"] is True
    assert (here / "ride" / "inspection.png").stat().st_size > 20_000
    assert json.loads((here / "ride" / "inspection.json").read_text(encoding="utf-8")) == found


def test_a_handover_sheet_does_not_take_a_wheel_for_the_pedal_sensor(treadle, here):
    treadle("push.csv", "--channels", "wheel", "--wheel", "--pushed", "10.5:5", "--out", "push")
    assert json.loads((here / "push" / "inspection.json").read_text(encoding="utf-8"))["fit"] is True
    with pytest.raises(RequestError, match="a report of `treadle inspect`"):
        read_inspect(here / "push" / "inspection.json", load_bike(BIKES / "cargo_trike.toml"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("push.csv", "--pushed", "10:5"), "--pushed is allowed only with --wheel"),
        (("push.csv", "--wheel", "--turns", "5"), "--turns and --wheel are both given"),
        (("push.csv", "--wheel", "--pushed", "10"), "allowed is metres:turns"),
        (("push.csv", "--wheel", "--write"), "--write is given without --bike"),
        (("push.csv", "--wheel", "--bike", "cargo_trike", "--write"), "is an example"),
    ],
)
@pytest.mark.usefixtures("here")
def test_wrong_requests_are_refused(treadle, words, says):
    code, out, err = treadle(*words)
    assert (code, out) == (2, "")
    assert says in err
