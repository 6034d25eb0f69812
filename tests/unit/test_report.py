"""The picture of a ride: drawn for every kind of ride, and its labels do not run into each other."""

import struct
from itertools import combinations
from pathlib import Path

import matplotlib.pyplot as plt
import pytest

from firmware.decide.engagement import ASSISTING
from host_sim.bench.assemble import bench_for
from host_sim.bench.meter import RideEvent
from host_sim.bench.script import Script
from host_sim.bench.trace import EdgeWindow, Trace
from host_sim.bikes.model import Bike
from host_sim.report.event_labels import LABEL_ROWS, LabelRows, label_events
from host_sim.report.ride_facts import RideFacts
from host_sim.report.ride_figure import draw_ride
from host_sim.report.trace_file import read_trace
from tests.ride.riding import bike_with, course, example, recorded


def _draw(tmp_path: Path, bike: Bike, script: Script, seconds: float, title: str = "A test") -> Path:
    bench = bench_for(bike, 1)
    window = EdgeWindow(ASSISTING, bench.world.pedal_sensor.levels)
    with (tmp_path / "trace.csv").open("w", encoding="utf-8") as file:
        bench.watch(Trace(file))
        bench.watch(window)
        bench.watch_edges(window)
        bench.ride(script, seconds)
    facts = RideFacts(
        bike=title,
        ride=script.title,
        seconds=seconds,
        settings=bike.firmware_settings,
        events=bench.meter.events,
        edges=window.edges,
        edges_before=window.before,
        edges_centre_us=window.centre_us,
    )
    draw_ride(tmp_path / "trace.csv", facts, tmp_path / "ride.png")
    return tmp_path / "ride.png"


def _size(path: Path) -> tuple[int, int]:
    """Return width and height from the header chunk (PNG specification, W3C, 11.2.2 IHDR)."""
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", head[16:24])
    return width, height


@pytest.mark.long
@pytest.mark.parametrize(
    ("bike", "script", "seconds"),
    [
        ("cargo_trike", recorded("road_ride_a"), 1.0),  # Shorter than the lead-in: nothing moves.
        ("cargo_trike", example("errand"), 230.0),
        ("folding", example("thresholds"), 100.0),
        ("cargo_trike", example("broken_sensor"), 120.0),
    ],
)
def test_a_picture_comes_of_every_kind_of_ride(tmp_path, bike, script, seconds):
    path = _draw(tmp_path, bike_with(bike), script, seconds)
    assert _size(path) == (1650, 1375)
    pixels = plt.imread(path)
    assert pixels[..., :3].std() > 0.02  # Not blank.


def test_a_ride_that_was_never_switched_on_has_a_picture_and_so_has_a_strange_title(tmp_path):
    script = course(tmp_path, 2, "at_s = 0; cadence_rpm = 50; power_switch = false")
    path = _draw(tmp_path, bike_with(), script, 2, title="50 $ a piece, $x^{$ \\frac and 自転車" + "x" * 200)
    assert _size(path) == (1650, 1375)


def test_labels_in_a_crowd_do_not_meet_and_none_leaves_the_picture(tmp_path):
    figure = plt.figure(figsize=(15, 12.5))
    axes = figure.add_axes((0.07, 0.5, 0.88, 0.3))
    axes.set_xlim(0, 120)
    times_s = (0, 1, 3.5, 45, 47, 47, 70, 74, 74.5, 100, 103, 104, 106, 116)
    names = ("power on", "ready", "assisting", "ready", "faulted", "one channel of the pedal sensor is dead")
    events = [RideEvent(time_s, names[index % 6]) for index, time_s in enumerate(times_s)]
    label_events(axes, events, (0.0, 120.0))
    figure.canvas.draw()
    boxes = [
        text.get_window_extent() for text in axes.texts if text.get_text() and text.get_text() != "faulted"
    ]
    assert len(boxes) >= 10
    cores = [box.shrunk(0.98, 0.9) for box in boxes]
    assert not any(one.overlaps(two) for one, two in combinations(cores, 2))
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.x1 and box.y1 <= figure.bbox.y1 for box in boxes)
    plt.close(figure)


def test_in_a_crowd_the_earliest_label_stands_highest():
    label_rows = LabelRows((0.0, 100.0))
    rows = [label_rows.place(time_s, 20.0, crowd, False) for time_s, crowd in ((1.0, 2), (2.0, 1), (3.0, 0))]
    assert rows == [2, 1, 0]
    assert label_rows.place(4.0, 20.0, 0, False) is None  # No row is free below the three.
    assert label_rows.place(40.0, 20.0, LABEL_ROWS + 5, False) == LABEL_ROWS - 1


def test_a_label_that_stands_left_of_its_line_goes_above_the_lines_it_would_cross():
    label_rows = LabelRows((0.0, 100.0))
    assert label_rows.place(80.0, 5.0, 1, False) == 1
    assert label_rows.place(100.0, 25.0, 0, True) == 2


def test_a_long_trace_is_thinned_and_a_window_of_it_is_not(tmp_path, monkeypatch):
    monkeypatch.setattr("host_sim.report.trace_file.ROWS_KEPT", 100)
    lines = ["time_s,state,lowest_ceiling,fault"]
    lines += [f"{row * 0.05:.3f},{'ready' if row < 600 else 'assisting'},speed,none" for row in range(1000)]
    path = tmp_path / "trace.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    whole = read_trace(path)
    assert len(whole["time_s"]) == 100
    assert whole.spans("assisting") == [(30.0, 49.5)]
    assert whole.spans("braked") == []
    assert len(read_trace(path, (10.0, 20.0))["time_s"]) == 201
