"""A recording of speed alone: power and brakes are estimated, said to be so, and ridden."""

import numpy as np
import pytest

from host_sim.bench.assemble import bench_for, bicycle_of
from host_sim.bench.recorded_effort import CADENCE_RPM, estimated_effort
from host_sim.bench.recording import RECORDINGS, Road, read_recording
from host_sim.bench.script import RecordingScript
from host_sim.bikes.load import load_bike
from host_sim.cli.ride import RideRequest
from host_sim.errors import RequestError
from host_sim.watching.record_file import COLUMNS as WATCHED


def road_of(name):
    bike = load_bike(name)
    return Road(bicycle_of(bike), bike.bicycle.brake_deceleration_m_per_s2)


def written(tmp_path, text):
    path = tmp_path / "ride.csv"
    path.write_text(text, encoding="utf-8")
    return path


def speeds_only(tmp_path, seconds=400):
    """A ride that starts, rolls at 5 m/s and comes to rest, with speed and nothing else."""
    speeds = np.interp(np.arange(seconds), [0, 10, 20, 350, 356, seconds], [0, 0, 5, 5, 0, 0])
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
    assert recording.brake_share[200] == 0.0
    assert recording.rider_power_w[352] == 0.0
    # 5 m/s in 6 s are 0.833 m/s2; the road takes about 0.13 of it at 4 m/s, full brakes 4 m/s2.
    assert recording.brake_share[352] == pytest.approx((0.833 - 0.12) / 4.0, abs=0.03)
    assert recording.brake_share[370] == 1.0


def test_what_the_motor_gave_is_not_taken_for_the_rider():
    bicycle = bicycle_of(load_bike("cargo_trike"))
    seconds = 20
    common = ([0.0] * seconds, [False] * seconds, bicycle, 4.0)
    alone = estimated_effort([5.0] * seconds, common[0], [0.0] * seconds, *common[1:])
    helped = estimated_effort([5.0] * seconds, common[0], [100.0] * seconds, *common[1:])
    # 0.75 of 100 W at the rim is 75 W over the chain's 0.96 at the pedals.
    assert alone.rider_power_w[9] - helped.rider_power_w[9] == pytest.approx(75.0 / 0.96, abs=0.1)


@pytest.mark.parametrize("name", ["cargo_trike", "tandem", "folding"])
def test_a_ride_without_power_meter_that_ends_at_rest_ends_at_rest_on_the_bench(tmp_path, name):
    bench = bench_for(load_bike(name), 1)
    script = RecordingScript(read_recording(speeds_only(tmp_path), road_of(name)))
    bench.ride(script, script.seconds)
    assert bench.world.bicycle.distance_m > 1000.0
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


def test_a_ride_with_a_power_meter_is_not_estimated():
    recording = read_recording(RECORDINGS / "road_ride_a.csv", road_of("tandem"))
    assert recording.estimated == []
    assert recording.place_m == []


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
