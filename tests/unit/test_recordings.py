"""Recorded rides: what was recorded, what the stated rules change, and what is refused."""

import math
import sys
from contextlib import suppress
from itertools import pairwise
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.bench.recorded_csv import read_csv
from host_sim.bench.recorded_grade import grades
from host_sim.bench.recording import RECORDINGS, read_recording
from host_sim.errors import RequestError
from tests.fit_bytes import crc16, fit_file

HEADER = "elapsed_s,cadence_rpm,rider_power_w,speed_m_per_s,altitude_m\n"


def starts_and_stops(cadence_rpm):
    pairs = list(pairwise(cadence_rpm))
    return sum(one == 0 < two for one, two in pairs), sum(one > 0 == two for one, two in pairs)


def ride_of(tmp_path, rows, name="ride.csv"):
    path = tmp_path / name
    path.write_text(HEADER + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return read_recording(path)


def cadence_of(tmp_path, cadences, powers=None):
    powers = powers or [100] * len(cadences)
    rows = [
        f"{second},{rpm},{watts},5,100"
        for second, (rpm, watts) in enumerate(zip(cadences, powers, strict=True))
    ]
    return ride_of(tmp_path, rows)


def refusal(tmp_path, content, name="ride.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(RequestError) as refused:
        read_recording(path)
    assert "\n" not in str(refused.value)
    return str(refused.value)


# The notice that came with the two files: records, starts and stops, percentiles of non-zero cadence.
@pytest.mark.parametrize(
    ("name", "records", "starts", "stops", "middle_rpm"),
    [("road_ride_a", 2243, 47, 48, 89), ("road_ride_b", 4977, 60, 60, 82)],
)
def test_the_files_hold_what_their_notice_says(name, records, starts, stops, middle_rpm):
    raw = read_csv(RECORDINGS / f"{name}.csv")
    assert len(raw.elapsed_s) == records
    assert starts_and_stops(raw.cadence_rpm) == (starts, stops)
    assert median(rpm for rpm in raw.cadence_rpm if rpm) == middle_rpm


def test_both_rides_are_found_by_name():
    assert sorted(path.stem for path in RECORDINGS.glob("*.csv")) == ["road_ride_a", "road_ride_b"]


def test_road_ride_a_is_changed_as_its_page_says():
    ride = read_recording("road_ride_a")
    assert ride.seconds == 2257  # 2256 s after the first record is the last one.
    assert ride.corrections.as_dict() == {
        "averaged_records": 0,
        "blank_seconds": 0,
        "filled_seconds": 0,
        "lagging_seconds": 56,
        "left_out_seconds": 0,
        "pauses": 1,
        "spikes": 17,
        "unbelieved_power_seconds": 4,
    }
    assert starts_and_stops(ride.cadence_rpm) == (34, 35)
    assert median(rpm for rpm in ride.cadence_rpm if rpm) == 88
    assert ride.cadence_rpm[1658] == 120.5  # Recorded 119, 178, 122.
    assert ride.cadence_rpm[569] == 57.0  # Recorded 56, 0, 58, with 83 W: the recorder missed a second.
    assert ride.cadence_rpm[2072] == 0.0  # Recorded 0, 141, 0.
    assert ride.cadence_rpm[697] == 69.0  # Recorded 0, 69, 0: one short push, kept.


def test_road_ride_b_keeps_twenty_seconds_of_a_pause_of_24_minutes():
    ride = read_recording("road_ride_b")
    assert ride.seconds == 5080
    assert ride.corrections.pauses == 6
    # 176, 68, 22 and 1442 s between records: 175 - 20 + 67 - 20 + 21 - 20 + 1441 - 20 seconds are left out.
    assert ride.corrections.left_out_seconds == 1624
    assert sum(ride.paused) == 8 + 8 + 4 * 20
    assert all(rpm == watts == 0 for rpm, watts, paused in by_second(ride) if paused)
    assert starts_and_stops(ride.cadence_rpm) == (60, 60)


@pytest.mark.parametrize("name", ["road_ride_a", "road_ride_b"])
def test_nothing_implausible_and_no_power_on_a_standing_crank_is_left(name):
    ride = read_recording(name)
    assert len(ride.cadence_rpm) == len(ride.rider_power_w) == len(ride.grade) == len(ride.paused)
    assert all(0 <= rpm <= 180 and 0 <= watts <= 750 for rpm, watts, _ in by_second(ride))
    assert not [1 for rpm, watts, _ in by_second(ride) if rpm == 0 < watts]
    assert max(abs(grade) for grade in ride.grade) < 0.2


@pytest.mark.parametrize(("name", "climbed_m"), [("road_ride_a", -3.6), ("road_ride_b", 25.0)])
def test_the_grades_add_up_to_the_recorded_change_of_altitude(name, climbed_m):
    # Ride B rose 29.0 m from the first record to the last, 2.0 m in each of two pauses (at 54 and 3704 s).
    raw = read_csv(RECORDINGS / f"{name}.csv")
    ride = read_recording(name)
    assert recorded_climb_m(ride, raw) == pytest.approx(climbed_m, abs=1.0)


def by_second(ride):
    return list(zip(ride.cadence_rpm, ride.rider_power_w, ride.paused, strict=True))


def recorded_climb_m(ride, raw):
    """Sum grade x way over the seconds that were recorded one after the other."""
    climb_m, second = 0.0, 0
    for row in range(1, len(raw.elapsed_s)):
        gap_s = int(raw.elapsed_s[row] - raw.elapsed_s[row - 1])
        step = gap_s if gap_s <= 4 else min(gap_s - 1, 20) + 1
        second += step
        if gap_s <= 4:
            mean_speed = (raw.speed_m_per_s[row] + raw.speed_m_per_s[row - 1]) / 2
            climb_m += gap_s * mean_speed * (ride.grade[second] + ride.grade[second - gap_s]) / 2
    return climb_m


@pytest.mark.parametrize(
    ("recorded", "powers", "expected"),
    [
        ([93, 160, 95], None, [93, 94, 95]),
        ([93, 120, 95], None, [93, 120, 95]),  # 25 above the higher neighbour is still legs.
        ([93, 121, 95], None, [93, 94, 95]),
        ([80, 40, 84], [100, 100, 100], [80, 82, 84]),
        ([80, 40, 84], [100, 0, 100], [80, 40, 84]),
        ([93, 160, 45], None, [93, 160, 45]),  # The neighbours do not agree: nobody knows.
        ([0, 100, 0], [0, 100, 0], [0, 100, 0]),
        ([0, 101, 0], [0, 0, 0], [0, 0, 0]),
        ([106, 76, 109, 81, 109], None, [106, 107.5, 109, 109, 109]),
    ],
)
def test_a_spike_becomes_the_mean_of_its_neighbours(tmp_path, recorded, powers, expected):
    assert cadence_of(tmp_path, recorded, powers).cadence_rpm == expected


@pytest.mark.parametrize(
    ("recorded", "powers", "expected", "expected_powers"),
    [
        ([60, 0, 64], [90, 80, 90], [60, 62, 64], [90, 80, 90]),
        ([60, 0, 0, 90], [90, 80, 70, 90], [60, 70, 80, 90], [90, 80, 70, 90]),
        ([60, 0, 64], [90, 0, 90], [60, 0, 64], [90, 0, 90]),
        ([0, 0, 60], [0, 50, 90], [0, 30, 60], [0, 50, 90]),
        ([60, 0, 0, 0, 90], [90, 80, 70, 80, 90], [60, 0, 0, 0, 90], [90, 0, 0, 0, 90]),
        ([0, 0, 0], [0, 50, 0], [0, 0, 0], [0, 0, 0]),
    ],
)
def test_power_without_cadence_is_lag_for_two_seconds_and_not_believed_for_three(
    tmp_path, recorded, powers, expected, expected_powers
):
    ride = cadence_of(tmp_path, recorded, powers)
    assert ride.cadence_rpm == expected
    assert ride.rider_power_w == expected_powers


def test_empty_cells_are_interpolated_for_three_seconds_and_zero_for_four(tmp_path):
    short = ride_of(tmp_path, ["0,60,100,5,1", "1,,100,5,1", "2,,100,5,1", "3,,100,5,1", "4,80,100,5,1"])
    assert short.cadence_rpm == [60, 65, 70, 75, 80]
    assert short.corrections.filled_seconds == 3
    long = ride_of(tmp_path, ["0,60,0,5,1", "1,,0,5,1", "2,,0,5,1", "3,,0,5,1", "4,,0,5,1", "5,80,0,5,1"])
    assert long.cadence_rpm == [60, 0, 0, 0, 0, 80]
    assert long.corrections.blank_seconds == 4


def test_a_gap_of_four_seconds_is_filled_and_one_of_five_is_a_pause(tmp_path):
    filled = ride_of(tmp_path, ["0,60,100,5,1", "4,80,100,5,1"])
    assert filled.cadence_rpm == [60, 65, 70, 75, 80]
    paused = ride_of(tmp_path, ["0,60,100,5,1", "5,80,100,5,1"])
    assert paused.cadence_rpm == [60, 0, 0, 0, 0, 80]
    assert paused.paused == [False, True, True, True, True, False]


def test_several_records_within_a_second_are_averaged(tmp_path):
    ride = ride_of(tmp_path, ["0,60,100,5,1", "0.25,70,200,5,1", "1,80,100,5,1"])
    assert ride.cadence_rpm == [65, 80]
    assert ride.rider_power_w == [150, 100]
    assert ride.corrections.averaged_records == 1


def test_an_even_hill_has_its_grade_and_standing_on_it_changes_nothing():
    # Twenty minutes at 5 m/s up 6 %, with a minute's stop in the middle: 5 x 0.06 = 0.3 m a second.
    speeds, heights, height = [], [], 100.0
    for second in range(1200):
        standing = 500 <= second < 560
        speeds.append(0.0 if standing else 5.0)
        heights.append(round(height * 5) / 5)  # Recorders write steps of 0.2 m.
        height += 0.0 if standing else 0.3
    slope = grades(speeds, heights, [False] * 1200)
    assert min(slope[20:-20]) == pytest.approx(0.06, abs=0.003)
    assert max(slope[20:-20]) == pytest.approx(0.06, abs=0.003)


def test_without_speed_or_altitude_the_road_is_level(tmp_path):
    path = tmp_path / "level.csv"
    path.write_text("elapsed_s,cadence_rpm,rider_power_w\n0,60,100\n1,60,100\n")
    assert read_recording(path).grade == [0.0, 0.0]


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "windows.csv"
    path.write_bytes(
        b"\xef\xbb\xbf" + (HEADER + "0,60,100,5,1\n1,61,100,5,1\n").replace("\n", "\r\n").encode()
    )
    assert read_recording(path).cadence_rpm == [60, 61]


def test_columns_may_stand_in_any_order(tmp_path):
    path = tmp_path / "order.csv"
    path.write_text("rider_power_w,elapsed_s,cadence_rpm\n100,0,60\n110,1,61\n")
    ride = read_recording(path)
    assert (ride.cadence_rpm, ride.rider_power_w) == ([60, 61], [100, 110])


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("", "ride.csv line 1: it is empty"),
        (HEADER, "ride.csv: it has 0 records, allowed is 2 or more"),
        (HEADER + "0,60,100,5,1\n", "ride.csv: it has 1 records, allowed is 2 or more"),
        ("seconds,cadence_rpm,rider_power_w\n", 'ride.csv line 1: "seconds" is not a known column'),
        (
            "elapsed_s,cadence,rider_power_w\n",
            'line 1: "cadence" is not a known column, did you mean cadence_rpm?',
        ),
        ("elapsed_s,cadence_rpm\n0,1\n", "ride.csv line 1: column rider_power_w is missing"),
        ("elapsed_s,elapsed_s,cadence_rpm\n", "ride.csv line 1: column elapsed_s appears twice"),
        (HEADER + "0,60,100,5,1\n1,fast,100,5,1\n", "line 3: cadence_rpm is fast, allowed is 0 to 200 (rpm)"),
        (HEADER + "0,60,100,5,1\n1,201,100,5,1\n", "line 3: cadence_rpm is 201, allowed is 0 to 200 (rpm)"),
        (HEADER + "0,60,-1,5,1\n", "ride.csv line 2: rider_power_w is -1, allowed is 0 to 2500 (W)"),
        (HEADER + "0,60,nan,5,1\n", "ride.csv line 2: rider_power_w is nan, allowed is 0 to 2500 (W)"),
        (HEADER + "0,60,1_0,5,1\n", "ride.csv line 2: rider_power_w is 1_0, allowed is 0 to 2500 (W)"),
        (HEADER + "0,60,1e999,5,1\n", "ride.csv line 2: rider_power_w is 1e999, allowed is 0 to 2500 (W)"),
        (HEADER + "0,60,100,5,1\n1,60,1", "ride.csv line 3: it has 3 cells, the header has 5"),
        (
            HEADER + "5,60,100,5,1\n4,60,100,5,1\n",
            "line 3: elapsed_s is 4, allowed is above 5, the one before",
        ),
        (
            HEADER + "5,60,100,5,1\n5,60,100,5,1\n",
            "line 3: elapsed_s is 5, allowed is above 5, the one before",
        ),
        (HEADER + ",60,100,5,1\n", "ride.csv line 2: elapsed_s is empty"),
        (HEADER + "0,,100,5,1\n1,,100,5,1\n", "ride.csv: no record holds cadence_rpm"),
        (HEADER.encode() + b"0,60,\xff,5,1\n", "ride.csv line 2: byte 0xff is not UTF-8"),
        (HEADER + '0,60,"100,5,1\n', "ride.csv: this is not CSV"),
        (HEADER + "0,60," + "9" * 200_000 + ",5,1\n", "ride.csv: this is not CSV"),
    ],
)
def test_a_bad_recording_is_refused_in_one_sentence(tmp_path, content, sentence):
    assert sentence in refusal(tmp_path, content)


def test_what_is_no_file_is_refused(tmp_path):
    for wrong, sentence in [
        (tmp_path, "ends in .csv or .fit"),
        (tmp_path / "none.csv", "there is no such file"),
        ("road_ride_c", "no recording is called 'road_ride_c'; there are road_ride_a, road_ride_b"),
        ("a\0.csv", "there is no such file"),
    ]:
        with pytest.raises(RequestError, match=sentence):
            read_recording(wrong)
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(RequestError, match="this is a directory"):
        read_recording(tmp_path / "folder.csv")


def test_a_recording_of_two_days_is_read(tmp_path):
    path = tmp_path / "long.csv"
    path.write_text(
        "elapsed_s,cadence_rpm,rider_power_w\n" + "".join(f"{n},60,100\n" for n in range(200_000))
    )
    assert read_recording(path).seconds == 200_000


def test_a_gap_of_months_costs_no_memory(tmp_path):
    ride = ride_of(tmp_path, ["0,60,100,5,1", "10000000,60,100,5,1"])
    assert ride.seconds == 22


def test_the_checksum_of_the_writer_is_the_catalogued_one():
    # CRC-16/ARC of "123456789" is 0xBB3D (catalogue of CRC algorithms, from memory).
    assert crc16(b"123456789") == 0xBB3D


def test_a_fit_file_gives_the_same_ride_as_a_csv_file(tmp_path):
    rows = [(n, 60 + n % 7, 100 + n, 5.0, 100.0 + 0.2 * n) for n in range(120)]
    rows[50] = (50, None, None, None, None)
    rows += [(n + 60, 70, 150, 4.0, 124.0) for n in range(120, 130)]
    (tmp_path / "ride.fit").write_bytes(fit_file(rows))
    (tmp_path / "same.csv").write_text(
        HEADER
        + "".join(",".join("" if value is None else str(value) for value in row) + "\n" for row in rows)
    )
    fit, text = read_recording(tmp_path / "ride.fit"), read_recording(tmp_path / "same.csv")
    assert fit.cadence_rpm[:3] == [60, 61, 62]
    assert fit.cadence_rpm == text.cadence_rpm
    assert fit.rider_power_w == text.rider_power_w
    assert fit.paused == text.paused
    assert fit.grade == pytest.approx(text.grade)
    assert fit.corrections.as_dict() == text.corrections.as_dict()


def test_two_fit_records_in_one_second_are_averaged_and_a_step_back_is_refused(tmp_path):
    path = tmp_path / "ride.fit"
    path.write_bytes(fit_file([(0, 60, 100, 5, 1), (0, 70, 100, 5, 1), (1, 80, 100, 5, 1)]))
    assert read_recording(path).cadence_rpm == [65, 80]
    back = fit_file([(5, 60, 100, 5, 1), (7, 60, 100, 5, 1), (6, 60, 100, 5, 1)])
    assert "ride.fit record 3: its time is 1 s, allowed is 2 s" in refusal(tmp_path, back, "ride.fit")


def test_bad_fit_files_are_refused_in_one_sentence(tmp_path):
    good = fit_file([(n, 60, 100, 5.0, 100.0) for n in range(20)])
    assert "cadence_rpm is 201, allowed is 0 to 200" in refusal(
        tmp_path, fit_file([(0, 201, 1, 1, 1)]), "a.fit"
    )
    assert "no record holds rider_power_w" in refusal(
        tmp_path, fit_file([(n, 60, None, 1, 1) for n in range(3)]), "a.fit"
    )
    assert "this is not a complete FIT file" in refusal(tmp_path, good[:100], "a.fit")
    assert "this is not a complete FIT file" in refusal(tmp_path, good[:60] + b"\x01" + good[61:], "a.fit")
    assert "this is not a complete FIT file" in refusal(tmp_path, HEADER, "a.fit")
    assert "it has 0 records" in refusal(tmp_path, fit_file([]), "a.fit")


def test_without_the_library_the_sentence_says_how_to_get_it(tmp_path, monkeypatch):
    (tmp_path / "ride.fit").write_bytes(fit_file([(0, 60, 100, 5, 1)]))
    monkeypatch.setitem(sys.modules, "fitdecode", None)
    with pytest.raises(RequestError, match="need the extra `fit`, get it with: uv sync --extra fit"):
        read_recording(tmp_path / "ride.fit")


@given(at=st.integers(0, 200), put=st.binary(max_size=4))
def test_any_damage_to_a_recording_is_read_or_refused(tmp_path_factory, at, put):
    folder = tmp_path_factory.mktemp("damage")
    text = (HEADER + "".join(f"{n},60,100,5,100\n" for n in range(10))).encode()
    for name, good in [
        ("ride.csv", text),
        ("ride.fit", fit_file([(n, 60, 100, 5.0, 100.0) for n in range(10)])),
    ]:
        (folder / name).write_bytes(good[:at] + put + good[at + len(put) :])
        with suppress(RequestError):
            ride = read_recording(folder / name)
            assert all(math.isfinite(grade) for grade in ride.grade)
