"""A recording of speed alone: power and brakes are estimated, said to be so, and ridden."""

import json

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from host_sim.bench.assemble import bench_for, bicycle_of
from host_sim.bench.recorded_effort import CADENCE_RPM, Road, estimated_effort
from host_sim.bench.recording import RECORDINGS, read_recording
from host_sim.bench.script import RecordingScript
from host_sim.bikes.load import load_bike
from host_sim.cli.ride import RideRequest
from host_sim.errors import RequestError
from host_sim.watching.record_file import COLUMNS as WATCHED
from tests.quick_first import quick_first


def road_of(name):
    bike = load_bike(name)
    return Road(bicycle_of(bike), bike.rider.riders)


def written(tmp_path, text):
    path = tmp_path / "ride.csv"
    path.write_text(text, encoding="utf-8")
    return path


def speeds_only(tmp_path, seconds=400):
    """A ride that starts, rolls at 5 m/s and comes to rest, with speed and nothing else."""
    stops_s = seconds - 50
    speeds = np.interp(np.arange(seconds), [0, 10, 20, stops_s, stops_s + 6, seconds], [0, 0, 5, 5, 0, 0])
    rows = "".join(f"{second},{speed:.3f}\n" for second, speed in enumerate(speeds))
    return written(tmp_path, "elapsed_s,speed_m_per_s\n" + rows)


def test_at_an_even_speed_the_power_is_what_the_road_load_takes(tmp_path):
    recording = read_recording(speeds_only(tmp_path), road_of("cargo_trike"))
    # 183 kg, rolling 0.008, drag area 0.85: 14.36 + 0.091 + 0.0435 + 0.51 * 25 = 27.24 N; by 5 m/s over 0.96.
    assert recording.rider_power_w[200] == pytest.approx(141.9, abs=0.3)
    assert recording.cadence_rpm[200] == CADENCE_RPM
    assert recording.estimated == ["rider power", "cadence", "brakes"]


def test_slowing_faster_than_the_road_explains_is_a_brake(tmp_path):
    recording = read_recording(speeds_only(tmp_path), road_of("cargo_trike"))
    # 5 m/s in 6 s are 0.833 m/s2; the road takes about 0.13 of it at 4 m/s.
    assert (recording.braking[200], recording.standing[200]) == (False, False)
    assert (recording.braking[352], recording.standing[352]) == (True, False)
    assert (recording.braking[370], recording.standing[370]) == (False, True)
    assert recording.rider_power_w[352] == 0.0


def test_where_the_recorded_rider_braked_the_bench_loses_the_same_share_of_its_speed(tmp_path):
    speeds = np.interp(np.arange(40), [0, 20, 26, 40], [6, 6, 3, 3])
    rows = "".join(f"{second},{speed:.3f},60,80\n" for second, speed in enumerate(speeds))
    header = "elapsed_s,speed_m_per_s,cadence_rpm,rider_power_w\n"
    still = rows.replace(",60,80", ",0,0")
    recording = read_recording(written(tmp_path, header + still), road_of("folding"))
    assert [recording.braking[second] for second in (10, 22, 35)] == [False, True, False]
    pushing = read_recording(written(tmp_path, header + rows), road_of("folding"))
    # A head wind slowed the recording: nobody pushes the pedals with 80 W and brakes.
    assert not any(pushing.braking)
    bench = bench_for(load_bike("folding"), 1)
    bench.world.bicycle.speed_m_per_s = 12.0
    script = RecordingScript(recording)
    bench.ride(script, 3.0 + 20.0)
    before = bench.world.bicycle.speed_m_per_s
    again = bench_for(load_bike("folding"), 1)
    again.world.bicycle.speed_m_per_s = 12.0
    again.ride(RecordingScript(recording), 3.0 + 27.0)
    # The smoothed speed falls too little to tell in its first and last second.
    assert again.world.bicycle.speed_m_per_s / before == pytest.approx(0.5, abs=0.06)


def test_a_second_without_a_speed_is_neither_rest_nor_braking(tmp_path):
    rows = [f"{second},{'' if 10 <= second < 20 else 6},60,100" for second in range(40)]
    path = written(tmp_path, "elapsed_s,speed_m_per_s,cadence_rpm,rider_power_w\n" + "\n".join(rows) + "\n")
    recording = read_recording(path, road_of("folding"))
    assert not any(recording.standing)
    assert not any(recording.braking)


def test_beyond_the_recorded_road_it_is_level(tmp_path):
    rows = [f"{second},6,{100 - second * 0.36:.2f},60,50" for second in range(100)]
    path = written(
        tmp_path, "elapsed_s,speed_m_per_s,altitude_m,cadence_rpm,rider_power_w\n" + "\n".join(rows) + "\n"
    )
    recording = read_recording(path, road_of("cargo_trike"))
    for way_m, grade in ((300.0, -0.06), (1000.0, 0.0)):
        bench = bench_for(load_bike("cargo_trike"), 1)
        bench.world.bicycle.distance_m = way_m
        bench.ride(RecordingScript(recording), 5.0)
        assert bench.world.grade == pytest.approx(grade, abs=0.002)


def test_each_of_two_riders_does_what_was_recorded():
    alone = read_recording(RECORDINGS / "road_ride_a.csv", road_of("folding"))
    both = read_recording(RECORDINGS / "road_ride_a.csv", road_of("tandem"))
    assert both.rider_power_w == [2.0 * power_w for power_w in alone.rider_power_w]
    assert both.cadence_rpm == alone.cadence_rpm


def test_what_the_motor_gave_is_not_taken_for_the_rider():
    road = Road(bicycle_of(load_bike("cargo_trike")))
    seconds = 20
    speeds, level = [5.0] * seconds, [0.0] * seconds
    alone = estimated_effort(speeds, level, [0.0] * seconds, None, road)
    helped = estimated_effort(speeds, level, [100.0] * seconds, None, road)
    # 0.75 of 100 W at the rim is 75 W over the chain's 0.96 at the pedals.
    assert alone.rider_power_w[9] - helped.rider_power_w[9] == pytest.approx(75.0 / 0.96, abs=0.1)


@pytest.mark.parametrize("name", quick_first(1, ["cargo_trike", "tandem", "folding"]))
def test_a_ride_without_power_meter_that_ends_at_rest_ends_at_rest_on_the_bench(tmp_path, name):
    bench = bench_for(load_bike(name), 1)
    script = RecordingScript(read_recording(speeds_only(tmp_path, seconds=180), road_of(name)))
    bench.ride(script, script.seconds)
    assert bench.world.bicycle.distance_m > 500.0
    assert bench.world.bicycle.speed_m_per_s == 0.0


def test_the_hill_stays_where_it_is_when_the_bench_is_faster(tmp_path):
    rows = [f"{second},6,{max(second * 6 - 1200, 0) * 0.03:.2f}" for second in range(400)]
    path = written(tmp_path, "elapsed_s,speed_m_per_s,altitude_m\n" + "\n".join(rows) + "\n")
    recording = read_recording(path, road_of("cargo_trike"))
    assert recording.place_m[100] == pytest.approx(600.0)
    bench = bench_for(load_bike("cargo_trike"), 1)
    bench.ride(RecordingScript(recording), 120.0)
    bench.world.bicycle.distance_m = 1500.0
    script = RecordingScript(recording)
    assert recording.grade[250] == pytest.approx(0.03, abs=0.001)
    bench.ride(script, 10.0)
    assert bench.world.grade == pytest.approx(0.03, abs=0.001)


def test_a_file_of_watch_is_ridden_and_says_what_is_estimated(tmp_path):
    lines = [",".join(WATCHED)]
    for frame in range(600):
        known = {
            "received_s": f"{frame * 0.1:.1f}",
            "cadence_rpm": "70",
            "speed_m_per_s": "5",
            "power_w": "100",
        }
        lines.append(",".join(known.get(column, "0") for column in WATCHED))
    path = written(tmp_path, "\n".join(lines) + "\n")
    request = RideRequest("cargo_trike", str(path))
    assert request.estimated == ["rider power", "brakes"]
    recording = read_recording(path, road_of("cargo_trike"))
    assert recording.cadence_rpm[30] == 70.0
    # The 141.9 W of the road less 78.1 W of the motor.
    assert recording.rider_power_w[30] == pytest.approx(63.7, abs=0.5)


def words_drawn(monkeypatch):
    """Return a list that gets all texts of each figure that is saved."""
    texts: list[str] = []
    save = Figure.savefig

    def saved(figure, *arguments, **options):
        texts.extend(text.get_text() for text in figure.findobj(Text))
        return save(figure, *arguments, **options)

    monkeypatch.setattr(Figure, "savefig", saved)
    return texts


def test_estimated_power_is_called_so_in_table_json_trace_and_picture(treadle, here, monkeypatch):
    path, drawn = speeds_only(here, 60), words_drawn(monkeypatch)
    words = ("ride", "cargo_trike", "--recording", path.name)
    code, out, _ = treadle(*words, "--out", "table")
    assert code == 0
    assert "rider (estimated) " in next(line for line in out.splitlines() if line.startswith("energy"))
    assert "estimated from the recorded speed, not recorded: rider power, cadence, brakes" in out
    heading = (here / "table" / "trace.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    assert [name for name in heading if "rider" in name] == ["estimated_rider_power_w"]
    assert any("rider power, cadence, brakes: estimated" in text for text in drawn)
    _, out, _ = treadle(*words, "--out", "json", "--json")
    assert json.loads(out)["estimated"] == ["rider power", "cadence", "brakes"]


def test_power_of_a_meter_is_not_called_estimated(treadle, here, monkeypatch):
    rows = "".join(f"{second},4,70,100\n" for second in range(40))
    path = written(here, "elapsed_s,speed_m_per_s,cadence_rpm,rider_power_w\n" + rows)
    drawn = words_drawn(monkeypatch)
    code, out, _ = treadle("ride", "cargo_trike", "--recording", path.name, "--out", "table")
    assert code == 0
    assert "rider (estimated)" not in out
    assert "not recorded: brakes" in out
    heading = (here / "table" / "trace.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    assert [name for name in heading if "rider" in name] == ["rider_power_w"]
    assert not any("rider power" in text and "estimated" in text for text in drawn)


def test_with_a_power_meter_only_the_brakes_are_estimated():
    recording = read_recording(RECORDINGS / "road_ride_a.csv", road_of("tandem"))
    assert recording.estimated == ["brakes"]
    assert len(recording.place_m) == recording.seconds


def test_without_a_bike_a_ride_without_power_is_refused(tmp_path):
    with pytest.raises(
        RequestError, match="ride: no record holds rider_power_w, a bike is needed to estimate it"
    ):
        read_recording(speeds_only(tmp_path))


def test_a_file_of_watch_with_a_bad_cell_is_refused_with_its_line(tmp_path):
    header = ",".join(WATCHED)
    row = ["0"] * len(WATCHED)
    row[WATCHED.index("speed_m_per_s")] = "fast"
    path = written(tmp_path, f"{header}\n{','.join(row)}\n")
    with pytest.raises(RequestError, match="line 2: speed_m_per_s is fast, allowed is 0 to 40"):
        read_recording(path, road_of("cargo_trike"))
