"""Crank edges that are written as a capture come back the same, from the bench and from anywhere."""

import io
import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import load_course
from host_sim.bench.ride import Bench
from host_sim.bench.script import CourseScript
from host_sim.bench.world import EdgeWatch
from host_sim.bikes.load import load_bike
from host_sim.capture.open_capture import open_capture
from host_sim.capture.writers import CaptureWriter
from tests.capture_files.making import Edge, edges_of, read
from tests.quick_first import quick_first


def _file(
    folder: Path, suffix: str, edges: list[Edge], end_us: int, levels: int = 0, channels: int = 2
) -> Path:
    path = folder / f"edges{suffix}"
    with path.open("w", encoding="utf-8") as file:
        writer = CaptureWriter(file, suffix, levels, channels)
        for time_us, after in edges:
            writer.edge(time_us, after)
        writer.end(end_us)
    return path


@pytest.mark.parametrize("suffix", [".vcd", ".csv", ".VCD"])
def test_edges_come_back_with_the_levels_before_them_and_the_end(tmp_path, suffix):
    path = _file(tmp_path, suffix, [(5, 3), (7, 3), (1_000_009, 1)], 2_500_000, levels=2)
    capture = open_capture(path)
    assert capture.channels == ("channel_a", "channel_b")
    assert edges_of(capture) == [(0, 2), (5_000, 3), (1_000_009_000, 1)]
    assert capture.duration_ns == 2_500_000_000


@pytest.mark.parametrize("suffix", [".vcd", ".csv"])
def test_of_several_edges_in_one_microsecond_the_last_counts(tmp_path, suffix):
    path = _file(tmp_path, suffix, [(0, 1), (4, 1), (4, 3), (4, 2), (6, 0), (6, 2), (9, 0)], 9, levels=0)
    assert read(path) == [(0, 1), (4_000, 2), (9_000, 0)]
    # Nothing of the others is in the file, so that every viewer shows what is read back.
    changes = path.read_text(encoding="utf-8").split("$end\n")[-1].splitlines()
    if suffix == ".csv":
        assert changes[2:] == ["0.000000,1,0", "0.000004,0,1", "0.000009,0,0", "0.000009,0,0"]
    else:
        assert changes == ["#4", "0!", '1"', "#9", '0"']


@pytest.mark.parametrize("suffix", [".vcd", ".csv"])
def test_one_wire_gives_one_channel(tmp_path, suffix):
    path = _file(tmp_path, suffix, [(4, 1), (6, 3), (9, 2)], 10, levels=2, channels=1)
    capture = open_capture(path)
    assert capture.channels == ("channel_a",)
    assert edges_of(capture) == [(0, 0), (4_000, 1), (9_000, 0)]


@given(
    gaps=st.lists(st.tuples(st.integers(1, 10**7), st.integers(0, 3)), max_size=30),
    levels=st.integers(0, 3),
    suffix=st.sampled_from([".vcd", ".csv"]),
)
def test_any_edges_come_back(gaps, levels, suffix):
    edges: list[Edge] = []
    wanted: list[Edge] = [(0, levels)]
    now_us = 0
    for gap_us, after in gaps:
        now_us += gap_us
        edges.append((now_us, after))
        if after != wanted[-1][1]:
            wanted.append((now_us * 1000, after))
    with tempfile.TemporaryDirectory() as folder:
        assert read(_file(Path(folder), suffix, edges, now_us, levels)) == wanted


def test_a_vcd_file_is_plain_ieee_1364_without_a_date():
    # IEEE 1364, value change dump: declaration keywords, #time, scalar values. From memory. The library's
    # tokenizer reads it; libsigrok 0.5.2 read such a file and wrote the same edges, see written_elsewhere.
    file = io.StringIO()
    writer = CaptureWriter(file, ".vcd", 0)
    writer.edge(12, 1)
    writer.end(20)
    assert file.getvalue() == (
        "$comment Levels of the crank's pedal sensor at the controller's pins, from treadle ride $end\n"
        "$timescale 1 us $end\n"
        "$scope module pedal_sensor $end\n"
        "$var wire 1 ! channel_a $end\n"
        '$var wire 1 " channel_b $end\n'
        "$upscope $end\n"
        "$enddefinitions $end\n"
        '#0\n$dumpvars\n0!\n0"\n$end\n'
        "#12\n1!\n#20\n"
    )
    kinds = {token.kind for token in tokenize(io.BytesIO(file.getvalue().encode()))}
    assert TokenKind.DATE not in kinds
    assert TokenKind.CHANGE_SCALAR in kinds


# A whole ride.


class _Seen(EdgeWatch):
    """Remembers every crank edge of a ride."""

    def __init__(self) -> None:
        self.edges: list[Edge] = []

    def edge(self, time_us: int, levels: int) -> None:
        self.edges.append((time_us, levels))


def _edges_of_ride(bike: str, course: str, seconds: float, seed: int) -> list[Edge]:
    """Return the edges of a ride, in ns, without those that change nothing or last no microsecond."""
    bench = bench_for(load_bike(bike), seed)
    seen = _Seen()
    before = bench.world.pedal_sensor.levels
    mask = (1 << bench.world.channels) - 1
    bench.watch_edges(seen)
    bench.ride(CourseScript(load_course(course)), seconds)
    last_of_moment = dict([(0, before & mask), *((time_us, levels & mask) for time_us, levels in seen.edges)])
    edges: list[Edge] = []
    for time_us, levels in last_of_moment.items():
        if not edges or levels != edges[-1][1]:
            edges.append((time_us * 1000, levels))
    return edges


@pytest.mark.parametrize("suffix", quick_first(1, [".vcd", ".csv"]))
@pytest.mark.parametrize(
    ("bike", "course", "seconds"), [("cargo_trike", "broken_sensor", 60), ("folding", "errand", 30)]
)
def test_the_crank_edges_of_a_ride_come_back_exactly(treadle, here, suffix, bike, course, seconds):
    (here / "captures").mkdir()
    code, out, err = treadle(
        "ride", bike, "--course", course, "--seconds", f"{seconds}", "--seed", "3",
        "--capture", f"captures/ride{suffix}", "--out", "mine", "--json",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert json.loads(out)["files"][-1] == f"captures/ride{suffix}"
    capture = open_capture(here / f"captures/ride{suffix}")
    edges = edges_of(capture)
    assert edges == _edges_of_ride(bike, course, seconds, 3)
    assert len(edges) > 100
    assert (capture.damage, capture.duration_ns) == ("", seconds * 10**9)
    assert capture.channels == (("channel_a",) if bike == "folding" else ("channel_a", "channel_b"))


def test_a_ride_gives_the_same_file_every_time(treadle, here):
    for folder in ("one", "two"):
        treadle("ride", "--seconds", "5", "--out", folder, "--capture", f"{folder}.vcd")
    assert (here / "one.vcd").read_bytes() == (here / "two.vcd").read_bytes()


@pytest.mark.parametrize(
    ("capture", "sentence"),
    [
        ("ride.txt", "--capture is ride.txt, allowed is a name that ends in .vcd or .csv"),
        ("old.vcd", "old.vcd exists already, allowed is another --capture, or --force"),
        ("mine/edges.csv", "--capture is mine/edges.csv, which the ride itself writes, allowed is another"),
        ("old.vcd/new.vcd", "old.vcd can't be written, allowed is another --capture: "),
    ],
)
def test_a_capture_that_can_not_be_written_is_refused_before_the_ride(treadle, here, capture, sentence):
    (here / "old.vcd").write_text("mine", encoding="utf-8")
    code, out, err = treadle("ride", "--seconds", "5", "--out", "mine", "--capture", capture)
    assert (code, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
    assert [path.name for path in here.iterdir()] == ["old.vcd"]
    assert (here / "old.vcd").read_text(encoding="utf-8") == "mine"


def test_force_replaces_a_capture(treadle, here):
    (here / "old.vcd").write_text("mine", encoding="utf-8")
    code, _, _ = treadle("ride", "--seconds", "5", "--out", "new", "--capture", "old.vcd", "--force")
    assert code == 0
    assert read(here / "old.vcd")[0] == (0, 0)


def test_an_interrupted_ride_leaves_no_capture(treadle, here, monkeypatch):
    (here / "old.vcd").write_text("mine", encoding="utf-8")

    def interrupted(self: Bench, script: CourseScript, seconds: float) -> None:
        ride(self, script, 4.0)
        raise KeyboardInterrupt

    ride = Bench.ride
    monkeypatch.setattr(Bench, "ride", interrupted)
    code, out, _ = treadle("ride", "--out", "new", "--capture", "new/a.vcd", "--seconds", "9")
    assert (code, out) == (130, "")
    code, _, _ = treadle("ride", "--out", "new", "--capture", "old.vcd", "--force", "--seconds", "9")
    assert code == 130
    assert [path.name for path in here.iterdir()] == ["old.vcd"]
    assert (here / "old.vcd").read_text(encoding="utf-8") == "mine"
