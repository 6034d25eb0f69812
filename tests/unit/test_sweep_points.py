"""Which keys can vary, between what, and which points that makes."""

import pytest

from firmware.settings import TABLE
from host_sim.bikes.load import load_bike
from host_sim.errors import RequestError
from host_sim.sweeping.points import Points, find_key, known_keys, read_axis, with_values


def points(*texts, random=None, seed=1):
    return Points([read_axis(text, random is None) for text in texts], random, seed)


def test_a_key_is_found_by_its_last_name_where_only_one_section_has_it():
    assert find_key("rise_mv_per_s").name == "settings.rise_mv_per_s"
    assert find_key("strength_nm").name == "rider.strength_nm"
    assert find_key("hysteresis_deg").name == "pedal_sensor.hysteresis_deg"
    assert find_key("battery.resistance_ohm").name == "battery.resistance_ohm"


def test_a_name_of_several_keys_is_refused_with_all_of_them():
    with pytest.raises(RequestError, match=r"motor\.resistance_ohm or battery\.resistance_ohm"):
        find_key("resistance_ohm")


def test_an_unknown_name_is_refused_with_a_near_one():
    with pytest.raises(
        RequestError, match=r"'rise_mv_per_sec' is not a number of a bike file, did you mean rise_mv"
    ):
        find_key("rise_mv_per_sec")
    with pytest.raises(RequestError, match="'title' is not a number of a bike file"):
        find_key("title")


def test_every_setting_can_vary_in_its_own_range():
    keys = known_keys()
    for name, _, lowest, highest, _ in TABLE:
        key = keys[f"settings.{name}"]
        assert (key.lowest, key.highest, key.whole) == (lowest, highest, True)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("rise_mv_per_s", "--vary is 'rise_mv_per_s', allowed is KEY=LOW:HIGH:N"),
        ("rise_mv_per_s=200:300", "allowed is KEY=LOW:HIGH:N"),
        ("rise_mv_per_s=0:300:3", "settings.rise_mv_per_s has 0, allowed is a whole number, 1 to 10000"),
        (
            "rise_mv_per_s=1:10001:3",
            "settings.rise_mv_per_s has 10001, allowed is a whole number, 1 to 10000",
        ),
        ("rise_mv_per_s=1.5:300:3", "settings.rise_mv_per_s has 1.5, allowed is a whole number"),
        ("rise_mv_per_s=nan:300:3", "settings.rise_mv_per_s has nan, allowed"),
        ("strength_nm=inf:300:3", "rider.strength_nm has inf, allowed is 5 to 300"),
        ("rise_mv_per_s=300:200:3", "goes from 300 to 200, allowed is LOW up to HIGH"),
        ("rise_mv_per_s=200:300:0", "has N '0', allowed is a whole number from 1 to 100000"),
        ("rise_mv_per_s=200:300:x", "has N 'x', allowed is a whole number"),
        ("rise_mv_per_s=200:202:4", "has 4 steps, allowed is up to 3 between these ends"),
        ("strength_nm=50:50:2", "has 2 steps, allowed is up to 1 between these ends"),
    ],
)
def test_what_is_wrong_with_a_range_is_said_in_one_sentence(text, sentence):
    with pytest.raises(RequestError) as refusal:
        read_axis(text, on_grid=True)
    assert sentence in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_grid_has_every_combination_its_last_key_fastest():
    grid = points("rise_mv_per_s=200:400:3", "strength_nm=50:100:2")
    assert grid.count == 6
    assert [tuple(grid.values(number).values()) for number in range(6)] == [
        (200, 50),
        (200, 100),
        (300, 50),
        (300, 100),
        (400, 50),
        (400, 100),
    ]


def test_the_steps_of_a_whole_number_are_whole():
    grid = points("pedal_sensor.pulses_per_rev=4:8:4")
    assert [grid.values(number)["pedal_sensor.pulses_per_rev"] for number in range(4)] == [4, 5, 7, 8]


def test_random_points_lie_in_their_ranges_and_depend_on_seed_and_number_alone():
    drawn = points("rise_mv_per_s=200:400", "strength_nm=50:100", random=200)
    values = [drawn.values(number) for number in range(200)]
    assert all(200 <= one["settings.rise_mv_per_s"] <= 400 for one in values)
    assert all(50 <= one["rider.strength_nm"] <= 100 for one in values)
    assert len({one["rider.strength_nm"] for one in values}) == 200
    again = points("rise_mv_per_s=200:400", "strength_nm=50:100", random=200)
    assert again.values(7) == values[7]
    assert points("rise_mv_per_s=200:400", random=9, seed=2).values(3) != drawn.values(3)


def test_nothing_to_vary_a_key_twice_and_too_many_points_are_refused():
    with pytest.raises(RequestError, match="allowed is --vary"):
        points()
    with pytest.raises(RequestError, match=r"settings\.rise_mv_per_s is given twice"):
        points("rise_mv_per_s=1:9:2", "settings.rise_mv_per_s=1:9:2")
    with pytest.raises(RequestError, match="has 4000000 points, allowed is up to 1000000"):
        points("rise_mv_per_s=1:2000:2000", "fall_mv_per_s=500:2499:2000")


def test_a_bike_with_other_numbers_gets_the_settings_that_follow():
    bike = load_bike("cargo_trike")
    changed = with_values(bike, {"pedal_sensor.pulses_per_rev": 12.0, "settings.rise_mv_per_s": 900.0})
    assert changed.firmware_settings.pulses_per_rev == 12
    assert changed.firmware_settings.rise_mv_per_s == 900
    assert changed.firmware_settings.cutoff_distance_mm == 2000  # What its file says stays.
    assert bike.firmware_settings.pulses_per_rev == 10


def test_numbers_that_do_not_fit_together_are_refused_in_one_sentence():
    with pytest.raises(RequestError, match="release_rpm must be lower than engage_rpm, got 40 and 20"):
        with_values(load_bike("cargo_trike"), {"settings.release_rpm": 40.0, "settings.engage_rpm": 20.0})
    with pytest.raises(RequestError, match=r"development_high_m is 1, allowed"):
        with_values(load_bike("cargo_trike"), {"bicycle.development_high_m": 1.0})
