"""Traces: the same for the same seed, twenty rows a second, flat in memory, one exact second of edges."""

import io
import itertools
import tracemalloc

import pytest

from firmware.decide.engagement import ASSISTING
from host_sim.bench.assemble import bench_for
from host_sim.bench.script import CourseScript
from host_sim.bench.trace import COLUMNS, EdgeWindow, Trace
from tests.ride.riding import Ridden, bike_with, course, example, recorded

NOISY = 'fault = [{ name = "noise", per_s = 20 }]'


def _rows(trace: str) -> list[dict[str, str]]:
    lines = trace.splitlines()
    assert lines[0].split(",") == list(COLUMNS)
    return [dict(zip(COLUMNS, line.split(","), strict=True)) for line in lines[1:]]


@pytest.mark.parametrize("name", ["cargo_trike", "folding"])
def test_the_same_seed_gives_the_same_trace_byte_for_byte_and_another_does_not(tmp_path, name):
    traces = []
    for seed in (5, 5, 6):
        script = course(tmp_path, 12, "at_s = 0; cadence_rpm = 0", f"at_s = 3; cadence_rpm = 60; {NOISY}")
        ridden = Ridden(bike_with(name), script, seed=seed)
        traces.append((ridden.trace.encode(), ridden.log.edges))
    assert traces[0] == traces[1]
    assert traces[0] != traces[2]


def test_a_script_can_be_ridden_twice_with_the_same_result():
    for script in (example("errand"), recorded("road_ride_a")):
        first = Ridden(bike_with(), script, 30)
        second = Ridden(bike_with(), script, 30)
        assert first.trace == second.trace
        assert first.meter.engagements >= 1


def test_a_trace_has_twenty_rows_a_second_in_order_and_one_for_each_change_of_state():
    rows = _rows(Ridden(bike_with(), example("errand"), 60).trace)
    times_s = [float(row["time_s"]) for row in rows]
    assert times_s[0] == 0.0
    assert 59.95 <= times_s[-1] <= 60.0
    assert all(0.0 < after - before <= 0.0501 for before, after in itertools.pairwise(times_s))
    assert 1200 <= len(rows) <= 1200 + 10
    assert {row["state"] for row in rows} == {"waiting", "ready", "assisting", "braked"}


@pytest.mark.parametrize(
    ("seconds", "end_us"), [(4.0, 4_000_000), (4.047, 4_047_000), (2.3, 2_300_000), (1.1, 1_100_000)]
)
def test_the_last_row_is_a_step_of_the_ride_not_the_end_of_the_bench(tmp_path, seconds, end_us):
    script = course(tmp_path, 10, "at_s = 0; cadence_rpm = 0", "at_s = 1.2; cadence_rpm = 60")
    ridden = Ridden(bike_with(), script, seconds)
    assert ridden.samples[-1].time_s == pytest.approx(seconds, abs=0.005)
    assert ridden.bench.world.now_us == end_us
    rows = _rows(ridden.trace)
    assert float(rows[-1]["time_s"]) > seconds - 0.0501
    if rows[-1]["state"] == "assisting":
        assert float(rows[-1]["command_v"]) > 0.0


def test_what_happens_at_exactly_the_end_still_happens(tmp_path):
    script = course(tmp_path, 5, "at_s = 0; cadence_rpm = 0", "at_s = 5; brake = true; grade_percent = 3")
    ridden = Ridden(bike_with(), script)
    assert ridden.samples[-1].time_s == 5.0
    assert ridden.samples[-1].state == "braked"
    assert _rows(ridden.trace)[-1]["grade"] == "0.0300"


def test_without_supply_the_trace_goes_on_with_the_state_off(tmp_path):
    script = course(
        tmp_path,
        10,
        "at_s = 0; cadence_rpm = 0",
        "at_s = 2; cadence_rpm = 60",
        "at_s = 5; power_switch = false",
        "at_s = 8; power_switch = true",
    )
    rows = _rows(Ridden(bike_with(), script).trace)
    off = [row for row in rows if row["state"] == "off"]
    assert len(off) == pytest.approx(60, abs=2)
    assert {row["command_v"] for row in off} == {"0.000"}
    assert {row["sensed_cadence_rpm"] for row in off} == {"0"}
    assert float(off[-1]["cadence_rpm"]) == pytest.approx(60, abs=1)


def test_a_ride_that_is_never_switched_on_has_a_trace_too(tmp_path):
    script = course(tmp_path, 3, "at_s = 0; cadence_rpm = 60; power_switch = false")
    ridden = Ridden(bike_with(), script)
    assert {row["state"] for row in _rows(ridden.trace)} == {"off"}
    assert ridden.meter.first_assist_s is None
    assert ridden.bench.world.bicycle.distance_m > 1.0


def test_a_gradual_change_ends_at_exactly_what_the_stretch_says(tmp_path):
    # 0.1 + 0.3 is not exact in binary: the end of a ramp must not leave the throttle slightly open.
    script = course(
        tmp_path,
        6,
        "at_s = 0; throttle_percent = 90; grade_percent = 4",
        "at_s = 1.1; over_s = 0.3; throttle_percent = 0; grade_percent = 0",
        "at_s = 2.7; over_s = 0.4; throttle_percent = 30; cadence_rpm = 77.7",
    )
    ridden = Ridden(bike_with(), script, 2)
    assert ridden.bench.world.throttle_share == 0.0
    assert ridden.bench.world.grade == 0.0
    ridden = Ridden(bike_with(), script)
    assert ridden.bench.world.throttle_share == 0.3
    assert ridden.bench.world.rider.target_rad_per_s == pytest.approx(8.1367, abs=1e-4)


def test_the_edge_window_is_the_one_second_around_the_first_engagement():
    bike = bike_with()
    bench = bench_for(bike, 1)
    window = EdgeWindow(ASSISTING, bench.world.pedal_sensor.levels)
    bench.watch(window)
    bench.watch_edges(window)
    bench.ride(example("errand"), 20)
    ridden = Ridden(bike, example("errand"), 20)
    first_s = next(sample.time_s for sample in ridden.samples if sample.state == "assisting")
    assert window.centre_us == round(first_s * 1e6)
    start_us, end_us = window.centre_us - 500_000, window.centre_us + 500_000
    expected = [edge for edge in ridden.log.edges if start_us <= edge[0] <= end_us]
    assert len(expected) > 10
    assert window.edges == expected


def test_the_levels_before_the_window_are_those_of_the_ring_even_if_nothing_moved_yet(tmp_path):
    window = EdgeWindow(ASSISTING, 2)
    path = tmp_path / "edges.csv"
    window.centre_us = 1_000_000
    window.edge(1_200_000, 3)
    window.write(path)
    assert path.read_text(encoding="utf-8").splitlines() == [
        "time_s,channel_a,channel_b",
        "0.500000,0,1",
        "1.200000,1,1",
    ]


def test_edges_at_the_very_borders_belong_to_the_window():
    window = EdgeWindow(ASSISTING, 0)
    for time_us, levels in ((400_000, 1), (499_999, 3), (500_000, 2), (900_000, 0)):
        window.edge(time_us, levels)
    window.begin(_At(1_000_000), _In(ASSISTING))
    window.look(None)
    for time_us, levels in ((1_500_000, 1), (1_500_001, 3)):
        window.edge(time_us, levels)
    assert window.before == 3
    assert window.edges == [(500_000, 2), (900_000, 0), (1_500_000, 1)]


class _At:
    def __init__(self, now_us: int) -> None:
        self.now_us = now_us


class _In:
    def __init__(self, state: int) -> None:
        self.engagement = self
        self.state = state


def test_without_an_engagement_the_window_is_a_heading_only(tmp_path):
    window = EdgeWindow(ASSISTING, 1)
    window.edge(100, 3)
    window.write(tmp_path / "edges.csv")
    assert (tmp_path / "edges.csv").read_text(encoding="utf-8") == "time_s,channel_a,channel_b\n"


class _Nowhere(io.TextIOBase):
    def write(self, text: str) -> int:
        return len(text)


def _peak_bytes(script: CourseScript, seconds: float) -> int:
    bench = bench_for(bike_with(), 1)
    window = EdgeWindow(ASSISTING, 0)
    bench.watch(Trace(_Nowhere()))
    bench.watch(window)
    bench.watch_edges(window)
    tracemalloc.start()
    bench.ride(script, seconds)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


@pytest.mark.long
def test_memory_is_flat_in_the_length_of_the_ride(tmp_path):
    script = course(tmp_path, 240, "at_s = 0; cadence_rpm = 0", "at_s = 3; cadence_rpm = 60")
    _peak_bytes(script, 5)  # What is loaded once is not counted.
    # Both are longer than the noise that rides share, so both have made their own.
    short, long = _peak_bytes(script, 120), _peak_bytes(script, 240)
    assert long < 1.2 * short + 20_000
