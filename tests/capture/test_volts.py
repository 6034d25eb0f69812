"""Captures in volts: any layout gives the same edges, and each magnet's height agrees with its field."""

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from host_sim.capture.analog.magnets import VoltsFound, volts_of
from host_sim.capture.analog.volts_capture import VoltsCapture
from host_sim.capture.analog.words import settled, volts_advice, why_of
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.findings import Inspection
from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture.halls.legs import Legs
from tests.capture.halls.ring import Magnets
from tests.capture.scope.layouts import LAYOUTS, nameless, plain, range_left, units_below
from tests.capture.scope.volts import Scope, first_magnet, sampled, true_heights
from tests.quick_first import quick_first

LEGS = Legs((("turn", 15.0, 60.0),))


def _ring(count: int = 12, seed: int = 3, uneven: float = 0.03) -> Magnets:
    random = Random(seed)
    places = tuple(random.uniform(-uneven, uneven) for _ in range(count))
    return Magnets(count, duty=0.5, phase=0.25, places=places)


SCOPE = Scope(_ring(), LEGS)


def _found(scope: Scope, folder, layout=plain, **options) -> tuple[Inspection, VoltsFound]:
    path = folder / "scope.csv"
    path.write_text(layout(*sampled(scope)), encoding="utf-8")
    capture = open_capture(path, **options)
    assert isinstance(capture, VoltsCapture)
    inspection = inspect_edges(capture.chunks, 2, Told((1.0, 6.0)))
    return inspection, volts_of(capture, inspection)


def _numbered(scope: Scope, magnet: int) -> int:
    """Return the capture's number for a magnet of the ring."""
    return (magnet - first_magnet(scope)) % scope.ring.count + 1


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.__name__)
def test_every_layout_gives_the_same_sensor(tmp_path, layout):
    options = {"samplerate_hz": 2000} if layout is nameless else {}
    inspection, volts = _found(SCOPE, tmp_path, layout, **options)
    assert (inspection.pulses.value, inspection.lead.value, inspection.why) == (12, "A", [])
    assert inspection.phase_deg.value == pytest.approx(90.0, abs=2.0)
    assert (volts.linear, volts.judged, volts.weak, why_of(volts)) == (True, True, [], [])
    assert volts.channels[0].swing.usual_v == pytest.approx(1.92, abs=0.05)
    assert volts.unit_known == (layout is not nameless)


@pytest.mark.parametrize(
    ("strength", "channels"), quick_first(1, [(0.74, (0,)), (0.62, (0, 1)), (0.74, (1,)), (0.7, (0, 1))])
)
@pytest.mark.parametrize("count", quick_first(1, [8, 12, 20]))
def test_a_low_magnet_is_named_with_its_true_height(tmp_path, count, strength, channels):
    ring = _ring(count, seed=count)
    strengths = tuple({5: strength} if channel in channels else {} for channel in (0, 1))
    scope = replace(SCOPE, ring=replace(ring, strengths=strengths), noise_v=0.02, hum_v=0.02)
    _, volts = _found(scope, tmp_path)
    number = _numbered(scope, 5)
    assert volts.weak == [number]
    assert why_of(volts) == ["a magnet is weak according to its volts"]
    for channel, found in enumerate(volts.channels):
        truth = true_heights(scope.ring, channel)
        heights = {magnet.number: magnet.share for magnet in found.magnets}
        wanted = {_numbered(scope, place + 1): height for place, height in enumerate(truth)}
        assert heights == pytest.approx(wanted, abs=0.04)
    (said,) = (line for line in volts_advice(volts) if line.startswith(f"magnet {number} is weak"))
    assert ("smaller" if len(channels) == 2 else "sideways") in said


def test_volts_see_a_weak_magnet_while_its_pulse_still_looks_normal(tmp_path):
    scope = replace(SCOPE, ring=replace(_ring(), strengths=({5: 0.79}, {})))
    inspection, volts = _found(scope, tmp_path)
    assert (inspection.weak.value, inspection.why) == ([], [])
    assert volts.weak == [_numbered(scope, 5)]


@pytest.mark.parametrize(
    "spoiled",
    [
        {"hum_v": 0.05},
        {"noise_v": 0.06},
        {"drift_v": 1.2},
        {"ac_s": 0.5},
        {"inverted": True},
        {"range_v": (0.0, 2.0), "bits": 8},
        {"gain_v": (2.0, 0.9)},
        {"legs": Legs((("turn", 8.0, 60.0), ("stand", 4.0), ("turn", 8.0, 40.0)))},
        {"legs": Legs((("turn", 8.0, 60.0), ("stand", 4.0), ("turn", 8.0, 40.0))), "ac_s": 0.4},
        {"rate_hz": 500.0},
        {"switches": True},
    ],
    ids=str,
)
def test_what_spoils_a_picture_leaves_the_edges_and_blames_no_magnet(tmp_path, spoiled):
    inspection, volts = _found(replace(SCOPE, **spoiled), tmp_path)
    assert (inspection.pulses.value, inspection.lead.value, inspection.missing.value) == (12, "A", [])
    assert (inspection.board.backward, inspection.board.rejected) == (0, 0)
    assert (volts.weak, why_of(volts)) == ([], [])


@pytest.mark.parametrize(
    ("spoiled", "says"),
    [
        ({"drift_v": 1.2}, "the floor of channel A moves by 0.9"),
        ({"ac_s": 0.5}, "as behind a capacitor: set the input of the oscilloscope to DC"),
        ({"inverted": True}, "reversed probe"),
        ({"range_v": (0.0, 1.8)}, "choose a larger range of the oscilloscope; if the sensor"),
        ({"gain_v": (2.0, 0.9)}, "make the gap of pickup B smaller, or that of A larger"),
        ({"hum_v": 0.25}, "of noise or hum on a swing of"),
        ({"switches": True}, "only two levels, as from a Hall switch"),
    ],
)
def test_what_spoils_a_picture_is_named_with_its_remedy(tmp_path, spoiled, says):
    _, volts = _found(replace(SCOPE, **spoiled), tmp_path)
    assert says in " ".join(volts_advice(volts))
    _, healthy = _found(SCOPE, tmp_path)
    assert volts_advice(healthy) == []


def test_a_ring_off_centre_is_no_row_of_weak_magnets(tmp_path):
    near = {place + 1: 0.84 + 0.16 * np.cos(2.0 * np.pi * place / 12) for place in range(12)}
    scope = replace(SCOPE, ring=replace(_ring(), strengths=(near, near)))
    _, volts = _found(scope, tmp_path)
    (said,) = volts_advice(volts)
    assert f"Move it towards the pickup at magnet {_numbered(scope, 7)}" in said


def test_a_weak_magnet_upside_down_is_weak_all_the_same(tmp_path):
    scope = replace(SCOPE, ring=replace(_ring(), strengths=({5: 0.7}, {5: 0.7})), inverted=True)
    _, volts = _found(scope, tmp_path)
    # Of a low pulse the high before it begins first, so the number may be that of the magnet before.
    number = _numbered(scope, 5)
    assert len(volts.weak) == 1
    assert volts.weak[0] in (number, (number - 2) % 12 + 1)


def test_a_dead_channel_is_dead(tmp_path):
    inspection, volts = _found(replace(SCOPE, gain_v=(2.0, 0.0)), tmp_path)
    assert "channel B is dead" in inspection.why
    assert [one.dead for one in volts.channels] == [False, True]


def test_volts_settle_what_edges_leave_open():
    class Judged:
        judged = True

    why = ["weak magnets can't be ruled out", "edges bounce"]
    assert settled(why, None) == why
    assert settled(why, Judged()) == ["edges bounce"]


def test_switch_levels_that_an_input_does_not_take_are_told(tmp_path):
    path = tmp_path / "levels.csv"
    times_s, volts = sampled(replace(SCOPE, switches=True))
    path.write_text(plain(times_s, volts * np.array([[0.5], [1.0]])), encoding="utf-8")
    capture = open_capture(path)
    inspection = inspect_edges(capture.chunks, 2, Told())
    assert isinstance(capture, VoltsCapture)
    found = volts_of(capture, inspection)
    assert why_of(found) == ["the levels in volts are not those of a 3.3 V input"]


def test_told_thresholds_are_taken(tmp_path):
    _, volts = _found(SCOPE, tmp_path, thresholds_v=(1.0, 1.8))
    assert [one.thresholds_v for one in volts.channels] == [(1.0, 1.8), (1.0, 1.8)]
    assert volts.channels[0].magnets[0].margin_v == pytest.approx(0.3, abs=0.15)


def test_crossings_lie_between_samples():
    from host_sim.capture.analog.switching import Switch

    switch = Switch(lambda when_s: (np.full(len(when_s), 1.0), np.full(len(when_s), 2.0)))
    times_ns = np.array([0, 100, 200, 300, 400], np.int64)
    first, when_ns = switch.take(times_ns, np.array([0.0, 1.5, 2.5, 1.5, 0.5]))
    assert (first, when_ns.tolist()) == (0, [150, 350])
    first, when_ns = switch.take(times_ns[:1] + 500, np.array([2.5]))
    assert (first, when_ns.tolist()) == (0, [475])
    assert switch.runs().extreme_v.tolist() == [0.0, 2.5, 0.5]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("A (V),B (V)\n" + "0.1,0.2\n" * 9, "it has volts and no times, allowed is --samplerate"),
        ("1,0.5,0.2\n2,0.5,0.3\n3,0.4,0.1\n4,1.2,2.0\n", "names no unit, allowed is --time-unit with s, ms"),
        (
            "t (s),a (V),b (V),c (V)\n" + "".join(f"{n},1.5,2,3\n" for n in range(9)),
            "it has 3 columns of volts",
        ),
    ],
)
def test_what_is_missing_is_asked_for(tmp_path, text, says):
    path = tmp_path / "asks.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RequestError, match=says):
        open_capture(path)


def test_a_file_that_breaks_off_is_read_up_to_there(tmp_path):
    path = tmp_path / "broken.csv"
    path.write_text("t (s),a (V)\n" + "".join(f"{n},{n % 2 * 3.0}\n" for n in range(20)) + "20,oh no\n21,3\n")
    capture = open_capture(path)
    edges = sum(len(chunk.times_ns) for chunk in capture.chunks())
    assert edges == 20
    assert capture.damage == (
        "broken.csv line 22: '20,oh no' is not a row of 2 columns with numbers; what follows is not read"
    )


def test_times_that_go_back_are_told(tmp_path):
    path = tmp_path / "back.csv"
    path.write_text("t (s),a (V)\n0,0.0\n1,3.0\n2,0.0\n1.5,3.0\n3,0.0\n")
    capture = open_capture(path)
    assert sum(len(chunk.times_ns) for chunk in capture.chunks()) == 3
    assert "number 4 of the samples: the time is earlier" in capture.damage


def test_one_damaged_level_does_not_make_volts_of_levels(tmp_path):
    path = tmp_path / "levels.csv"
    path.write_text("time_us,a,b\n" + "".join(f"{n},{n & 1},0\n" for n in range(20)) + "20,2,1\n")
    capture = open_capture(path)
    assert capture.form == "CSV"
    assert sum(len(chunk.times_ns) for chunk in capture.chunks()) == 20
    assert "'2' is not a level" in capture.damage


@pytest.mark.parametrize("layout", [units_below, range_left])
def test_any_cut_of_a_file_is_refused_or_read(tmp_path, layout):
    """Cut anywhere, even within a character of several bytes, a file gives edges, damage or one sentence."""
    text = layout(*sampled(replace(SCOPE, legs=Legs((("turn", 1.0, 60.0),))))).encode()
    random = Random(7)
    refusals = []
    for _ in range(25):
        path = tmp_path / "cut.csv"
        begin = random.choice((0, 0, random.randrange(len(text))))
        path.write_bytes(text[begin : random.randrange(begin, len(text)) + 1])
        try:
            capture = open_capture(path, time_unit=random.choice((None, "ms")))
            for chunk in capture.chunks():
                assert (np.diff(chunk.times_ns) > 0).all()
        except RequestError as refused:
            refusals.append(str(refused))
    assert all("cut.csv" in one and "\n" not in one for one in refusals)
