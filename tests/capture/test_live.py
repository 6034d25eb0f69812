"""The guided capture: forward, turns and magnet 1 are known, a planted fault is named, a loss reported."""

import json
from dataclasses import replace
from itertools import pairwise

import pytest

from host_sim.boardlink.recorded import Loss, RecordedEdge, RecordedStep
from host_sim.capture.live.findings import ring_so_far
from host_sim.capture.live.guide import BACK_NEXT, FORWARD, Edge, Guide, Lost, Moment
from host_sim.capture.live.ring_text import MISSING, SEEN, ring_text, so_far_text
from host_sim.capture.open_capture import open_capture
from host_sim.capture.stopping import Support
from host_sim.cli.inspect_rows import smallest_row
from host_sim.cli.live_ring import LiveRing
from host_sim.inspecting.live import LiveResult, inspect_live, items_of
from host_sim.watching.workshop import BoardTrouble
from tests.capture.guided_rider import GuidedTurns, items, true_arm_deg
from tests.capture.halls.ring import Magnets
from tests.micropython_unix import micropython_unix
from tests.quick_first import quick_first

SET = {"sensor_kind": 0, "pulses_per_rev": 12, "lead": 0}


def _ring(count: int, **more) -> Magnets:
    places = tuple(0.02 * ((7 * place) % 5 - 2) / 2.0 for place in range(count))
    return Magnets(count, places=places, **more)


RIDER = GuidedTurns(_ring(12))


@pytest.fixture
def undrawn(monkeypatch):
    """Leave the picture out: a second that most of these tests do not need."""
    monkeypatch.setattr("host_sim.inspecting.live._draw", lambda result, path: path.touch())


def _live(rider: GuidedTurns, folder, **settings) -> LiveResult:
    return inspect_live(items(rider), SET | settings, folder / "out", True, lambda guide, changed: None)


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("count", [8, 12, 24, 40])
@pytest.mark.parametrize("b_leads", [False, True])
def test_six_turns_forward_and_two_back_tell_all_of_a_healthy_ring(tmp_path, count, b_leads):
    rider = GuidedTurns(_ring(count), arm=0.1234, b_leads=b_leads)
    result = _live(rider, tmp_path, pulses_per_rev=count, lead=int(b_leads))
    found = result.inspection
    assert (found.pulses.value, found.pulses.sure, found.lead.value) == (count, True, "AB"[b_leads])
    assert result.why == []
    assert result.settings == {"sensor_kind": 0, "pulses_per_rev": count, "lead": int(b_leads)}
    assert result.guided.back_turns == pytest.approx(2.0, abs=0.1)
    assert result.guide.losses == 0


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("arm", [0.0, 0.021, 0.043, 0.064, 0.31, 0.77, 0.99])
def test_magnet_1_is_where_it_is_from_the_arm(tmp_path, arm):
    rider = replace(RIDER, arm=arm)
    place = _live(rider, tmp_path).guided.arm
    assert place.degrees == pytest.approx(true_arm_deg(rider), abs=place.within_deg + 1.5)
    assert place.within_deg < 360.0 / 12 / 4


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    ("change", "why", "advice"),
    [
        (
            {"ring": _ring(12, strengths=({5: 0.0}, {5: 0.0}))},
            "a magnet is missing",
            "missing or far too weak",
        ),
        ({"ring": _ring(12, strengths=({5: 0.0}, {}))}, "a channel does not see every magnet", "channel A"),
        ({"ring": _ring(12, strengths=({5: 0.6}, {5: 0.6}))}, "a magnet is weak", "stop the crank at it"),
        ({"ring": _ring(12, strengths=({}, {5: 0.6}))}, "a magnet is weak on one channel", "weak on B only"),
        ({"wires": "swapped"}, "the board sees forward as backward", "the wires of A and B are swapped"),
        ({"wires": "dead-a"}, "channel A is dead", "channel A never changes"),
        ({"wires": "dead-b"}, "channel B is dead", "channel B never changes"),
        (
            {"turns": (6.0, -3.0)},
            "the turns forward and back contradict each other",
            "repeat, and start and stop",
        ),
        (
            {"turns": (5.0, -2.0)},
            "the turns forward and back contradict each other",
            "repeat, and start and stop",
        ),
        ({"turns": (6.0,)}, "the turns back were not done", ""),
        ({"lost_at_s": 6.0}, "edges were lost between board and computer", "4 steps of the board did not"),
    ],
    ids=lambda value: str(value)[:40] if isinstance(value, dict) else "",
)
def test_a_planted_fault_is_named_at_the_end(tmp_path, change, why, advice):
    result = _live(replace(RIDER, **change), tmp_path)
    assert why in result.why
    assert advice in " ".join(result.advice)


@pytest.mark.usefixtures("undrawn")
def test_the_missing_magnet_has_its_number(tmp_path):
    rider = replace(RIDER, ring=_ring(12, strengths=({5: 0.0}, {5: 0.0})), arm=0.0)
    # The arm is down between magnets 12 and 1 of the ring, so magnet 1 is the capture's magnet 1.
    result = _live(rider, tmp_path)
    assert (result.inspection.missing.value, result.inspection.pulses.value) == ([5], 12)
    degrees = round((result.guided.arm.degrees + 4 * 30.0) % 360.0)
    assert f"magnet 5 at {degrees}°" in " ".join(result.advice)


@pytest.mark.usefixtures("undrawn")
def test_another_number_of_pulses_on_the_board_is_told(tmp_path):
    result = _live(RIDER, tmp_path, pulses_per_rev=10)
    assert result.why == ["the board is set to another number of pulses"]


def test_the_capture_is_a_file_that_inspect_reads_and_the_picture_is_drawn(tmp_path):
    result = _live(RIDER, tmp_path)
    capture = open_capture(tmp_path / "out" / "capture.csv")
    edges = sum(len(chunk.times_ns) for chunk in capture.chunks())
    assert edges == len(result.guide.edges) + 1
    found = json.loads((tmp_path / "out" / "inspection.json").read_text(encoding="utf-8"))
    assert (found["fit"], found["guided"]["losses"]) == (True, 0)
    assert (tmp_path / "out" / "inspection.png").stat().st_size > 50_000


def test_a_hand_that_finds_its_place_is_no_turn():
    guide = Guide()
    for item in (Moment(0.0), Moment(2.0), Edge(3.0, 1), Edge(3.1, 0), Moment(5.2), Moment(5.3)):
        guide.take(item)
    assert guide.sentence.startswith("now 6 turns forward")


def test_nobody_who_turns_ends_the_guide():
    guide = Guide()
    for second in range(200):
        guide.take(Moment(float(second)))
    assert (guide.gave_up, guide.over) == (True, True)


def test_a_crank_that_turns_already_is_waited_for():
    guide = Guide()
    for place in range(100):
        guide.take(Edge(0.05 * place, place & 3 ^ (place & 3) >> 1))
    assert guide.sentence.startswith("left crank arm straight down")
    guide.take(Moment(7.0))
    assert guide.sentence.startswith("now 6 turns forward")


@pytest.mark.usefixtures("undrawn")
def test_no_edges_at_all_are_not_fit(tmp_path):
    still = (Moment(0.1 * step) for step in range(1000))
    result = inspect_live(still, SET, tmp_path / "out", True, lambda guide, changed: None)
    assert result.why == ["no channel shows magnets"]


def test_the_ring_in_letters_has_every_magnet_and_the_missing_one():
    text = ring_text(12, [5], [], 10.0)
    assert (text.splitlines()[:-1] != [], text.count(MISSING)) == (True, 2)
    assert text.count(SEEN) == 12
    assert so_far_text([0.1 * n for n in range(20) if n != 9]).count(MISSING) == 1


def test_the_ring_shows_while_the_crank_turns_and_is_sure_once_the_turns_are_counted():
    guide = Guide()
    seen = []
    for item in items(replace(RIDER, ring=_ring(12, strengths=({5: 0.0}, {5: 0.0})))):
        guide.take(item)
        if guide.stage == FORWARD and len(guide.edges) % 60 == 0 and isinstance(item, Edge):
            seen.append(ring_so_far(guide, False))
        if guide.stage == BACK_NEXT:
            break
    known = [one for one in seen if one is not None]
    assert known
    assert known[-1].pulses == 12
    last = ring_so_far(guide, False)
    assert (last.pulses, last.sure, len(last.missing)) == (12, True, 1)


@pytest.mark.parametrize("terminal", [False, True])
def test_what_to_do_and_the_ring_are_shown(terminal, capsys):
    guide = Guide()
    with LiveRing(False, terminal) as ring:
        ring.show(guide, True)
        for item in items(RIDER):
            ring.show(guide, guide.take(item))
    shown = capsys.readouterr().err
    assert "now 6 turns forward" in shown
    assert "12 pulses a turn" in shown


def test_a_board_that_falls_silent_or_is_unplugged_is_told(monkeypatch):
    class Nothing:
        def __init__(self, port, from_oldest):
            pass

        def read(self):
            return []

    class Gone(Nothing):
        def read(self):
            raise OSError("no such device")

    times_s = iter(range(100))
    monkeypatch.setattr("host_sim.boardlink.live_steps.LiveSteps", Nothing)
    with pytest.raises(BoardTrouble, match="the board has sent nothing for 10 s"):
        next(items_of(None, clock_s=lambda: float(next(times_s))))
    monkeypatch.setattr("host_sim.boardlink.live_steps.LiveSteps", Gone)
    with pytest.raises(BoardTrouble, match="the board is disconnected, plug it in and begin again"):
        next(items_of(None, clock_s=lambda: 0.0))


def test_steps_that_are_missing_and_edges_that_the_board_lost_are_told(monkeypatch):
    step = RecordedStep(
        number=0, now_us=5_000, sampled_us=5_000, edges=(RecordedEdge(4_000, 1, False),), throttle_mv=0,
        selector_mv=0, battery_mv=0, current_ma=0, motor_decicelsius=0, brake_pulled=False,
        clear_requested=False, lost_edges=0, command_mv=0, drive_enabled=False, indicator=0, fault_cause=0,
        state=0,
    )  # fmt: skip

    class Some:
        def __init__(self, port, from_oldest):
            pass

        def read(self):
            return [step, Loss(7, 9), replace(step, number=9, now_us=50_000, edges=(), lost_edges=2)]

    monkeypatch.setattr("host_sim.boardlink.live_steps.LiveSteps", Some)
    stream = items_of(None, clock_s=lambda: 0.0)
    found = [next(stream) for _ in range(5)]
    assert found == [
        Edge(0.0, 1),
        Moment(pytest.approx(0.001)),
        Lost(7),
        Lost(0),
        Moment(pytest.approx(0.046)),
    ]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("crank.vcd", "--live"), "--live is given with a file"),
        (("--live", "--wheel"), "--live is given with a file"),
        (("--live", "--plant", "dead-a"), "are allowed only with --desk"),
        (("--live", "--desk", "--plant", "gremlins"), "allowed is missing-magnet, swapped-wires"),
        (("--live", "--desk", "--port", "x"), "--port and --desk are both given"),
        (("--desk",), "are allowed only with --live"),
        ((), "no capture is given, allowed is a file, or --live"),
    ],
)
def test_wrong_requests_are_refused(treadle, words, says):
    code, out, err = treadle("inspect", *words)
    assert (code, out) == (2, "")
    assert says in err


@pytest.mark.parametrize(
    ("words", "why"),
    quick_first(
        1,
        [
            ((), []),
            (("--plant", "missing-magnet"), ["a magnet is missing"]),
            (("--plant", "swapped-wires"), ["the board sees forward as backward"]),
        ],
    ),
)
def test_the_desk_performs_the_turns_and_the_end_names_what_was_planted(treadle, tmp_path, words, why):
    micropython_unix()  # Or skip.
    code, out, err = treadle(
        "inspect", "--live", "--desk", "--hurry", "--json", "--out", str(tmp_path / "out"), *words
    )
    found = json.loads(out)
    assert (code, found["why"], found["guided"]["losses"]) == (int(bool(why)), why, 0)
    assert "now 6 turns forward" in err


@pytest.mark.slow
def test_a_minute_of_forty_magnets_arrives_whole(tmp_path):
    from contextlib import closing

    from host_sim.bikes.load import BIKES
    from host_sim.boardlink.console_client import open_port
    from host_sim.boardlink.desk import desk_port

    micropython_unix()  # Or skip.
    text = (BIKES / "cargo_trike.toml").read_text(encoding="utf-8")
    bike = tmp_path / "forty.toml"
    lines = [
        "pulses_per_rev = 40" if line.startswith("pulses_per_rev") else line for line in text.split("\n")
    ]
    bike.write_text("\n".join(line for line in lines if "angle_errors" not in line), encoding="utf-8")
    edges: list[Edge] = []
    with desk_port(str(bike), None, hurry=True) as name, closing(open_port(name)) as port:
        for item in items_of(port, from_oldest=True):
            assert isinstance(item, Edge | Moment)
            if isinstance(item, Edge):
                edges.append(item)
            if item.at_s > 65.0:
                break
    assert len(edges) > 3_000
    assert all((one.levels ^ two.levels) in (1, 2) for one, two in pairwise(edges))


def test_a_ring_that_supports_no_cadence_has_none_as_its_smallest():
    assert smallest_row(Support(1.0, 0, 0, [])) == ("smallest engage, release", "none")
    assert smallest_row(Support(1.0, 12, 20, [])) == ("smallest engage, release", "20, 12 rpm")
