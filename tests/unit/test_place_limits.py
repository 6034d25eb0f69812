"""A board keeps the limits of the place it was flashed for, and the console refuses what lies beyond them."""

import pytest

from firmware.link.console import GO_ON, START_ANEW
from firmware.link.place import LIMITED, PLACE_FILE, UNLIMITED, Place
from firmware.link.store import Store, with_check_sum
from firmware.settings import TABLE, Settings
from host_sim.bikes.load import example_names, load_bike
from host_sim.boardlink.bundle import CheckSums, bundle_for, place_file
from host_sim.boardlink.targets import target_named
from host_sim.places.limits import load_place, place_names
from tests.unit.test_console import Desk, Paper

EU = "European Union (EN 15194 family)"


def placed(content: bytes) -> Desk:
    """Return a desk whose board found this place file at its start."""
    desk = Desk()
    desk.paper.files[PLACE_FILE] = content
    desk.store.load()
    return desk


def asked(desk: Desk, **settings: int) -> dict:
    (answer,) = desk.ask({"request": "set", "settings": settings})
    return answer


def summed(text: str) -> bytes:
    return with_check_sum(text.encode(), CheckSums())


def test_the_place_file_of_a_bike_is_a_text_that_a_person_can_read():
    # 25 km/h are 6944 mm/s and 6 km/h 1666, rounded down; the trike's levers all have switches: 5 m.
    lines = place_file(load_bike("cargo_trike")).decode().split("\n")
    assert lines[:-2] == [
        "treadle place 1",
        EU,
        "power_limit_w 0 250",
        "cutoff_speed_mm_per_s 1000 6944",
        "throttle_unpedalled 0 1",
        "startup_speed_mm_per_s 0 1666",
        "cutoff_distance_mm 500 5000",
        "engage_speed_mm_per_s 0 2000",
    ]
    assert lines[-2].startswith("crc32 ")


@pytest.mark.parametrize(
    ("name", "value", "allowed"),
    [
        ("power_limit_w", 251, "0 to 250"),
        ("cutoff_speed_mm_per_s", 6945, "1000 to 6944"),
        ("throttle_unpedalled", 2, "0 to 1"),
        ("startup_speed_mm_per_s", 1667, "0 to 1666"),
    ],
)
def test_a_setting_beyond_the_place_is_refused_by_the_places_name(name, value, allowed):
    desk = placed(place_file(load_bike("cargo_trike")))
    before = desk.state()
    sentence = f"{name} must be {allowed} in this board's place, {EU}, got {value}"
    assert asked(desk, **{name: value}) == {"refused": sentence}
    assert desk.state() == before
    assert desk.console.ending == GO_ON
    # At the limit itself it is stored.
    assert asked(desk, **{name: value - 1})["ok"] == "set"
    assert getattr(Store(desk.paper).load(), name) == value - 1
    assert desk.console.ending == START_ANEW


def test_a_least_speed_to_engage_is_a_limit_too():
    # British Columbia: 3 km/h are 833.3 mm/s, rounded up.
    desk = placed(place_file(load_bike("tandem")))
    place = "British Columbia, Canada"
    sentence = f"engage_speed_mm_per_s must be 834 to 2000 in this board's place, {place}, got 833"
    assert asked(desk, engage_speed_mm_per_s=833) == {"refused": sentence}
    assert asked(desk, engage_speed_mm_per_s=834)["ok"] == "set"


def test_a_place_without_a_limit_of_its_own_leaves_the_setting_to_the_table():
    # Nothing in British Columbia's text limits the cut-off distance.
    assert b"cutoff_distance_mm" not in place_file(load_bike("tandem"))
    desk = placed(place_file(load_bike("tandem")))
    assert asked(desk, cutoff_distance_mm=5000, engage_speed_mm_per_s=834)["ok"] == "set"


def test_what_no_place_limits_is_changed_as_ever():
    desk = placed(place_file(load_bike("cargo_trike")))
    assert asked(desk, engage_rpm=25, assist_power_w=1500)["ok"] == "set"


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "it is missing"),
        (b"crc32", "its check sum is wrong"),
        (place_file(load_bike("tandem"))[:-40], "its check sum is wrong"),
        (place_file(load_bike("tandem")).replace(b" 500\n", b" 750\n"), "its check sum is wrong"),
        (place_file(load_bike("tandem")) + b"\n", "its check sum is wrong"),
        (summed("treadle place 2\nX\npower_limit_w 0 9\n"), "its heading is unknown"),
        (summed("treadle place 1"), "its heading is unknown"),
        (summed("treadle place 1\nX"), "its heading is unknown"),
        (summed("treadle place 1\nX\npower_limit_w 9\n"), "it holds power_limit_w 9 where a limit belongs"),
        (summed("treadle place 1\nX\n\n"), "it holds  where a limit belongs"),
        (summed("treadle place 1\nX\npower_limit 0 9\n"), "it holds power_limit, which no place limits"),
    ],
)
def test_without_a_right_place_file_the_limited_settings_stay_and_all_others_can_be_changed(content, why):
    for name in LIMITED:
        desk = placed(content)
        before = desk.state()
        now = getattr(desk.rig.settings, name)
        for value in (now + 1, max(now - 1, 0)) if now else (1,):
            assert asked(desk, **{name: value}) == {
                "refused": f"{name} can't be changed, the limits of this board's place are not known "
                f"(place.txt: {why}): flash the board again"
            }
        assert desk.state() == before
        assert asked(desk, **{name: int(now)}, engage_rpm=25)["ok"] == "set"


def test_a_place_may_limit_only_what_has_limits_and_an_empty_one_limits_nothing():
    desk = placed(summed("treadle place 1\nNowhere\n"))
    assert (desk.store.place.title, desk.store.place.refusal) == ("Nowhere", "")
    assert asked(desk, power_limit_w=1500)["ok"] == "set"
    with pytest.raises(ValueError, match=r"^it holds engage_rpm, which no place limits$"):
        Place("Nowhere", "").limit("engage_rpm", 5, 60)


def test_nothing_that_the_table_allows_is_above_no_limit_at_all():
    assert max(row[3] for row in TABLE) < UNLIMITED


def test_a_store_that_has_not_looked_knows_no_place():
    store = Store(Paper())
    assert store.place.refusal == "place.txt has not been read"
    store.load()
    assert store.place.refusal == "place.txt: it is missing"


def test_a_storage_that_fails_to_read_knows_no_place():
    class Broken(Paper):
        def read(self, name: str) -> bytes:
            raise OSError(5)

    store = Store(Broken())
    store.load()
    assert store.place.refusal == "place.txt: error 5"


def test_every_place_of_the_table_is_read_as_it_was_written():
    for place_name in place_names():
        place = load_place(place_name)
        bike = load_bike("folding").model_copy(update={"place": place_name})
        bike._place = place
        paper = Paper()
        paper.files[PLACE_FILE] = place_file(bike)
        store = Store(paper)
        store.load()
        assert store.place.refusal == ""
        assert store.place.title == place.title
        assert place.title.isascii()


def test_a_bundle_brings_the_place_of_its_bike_and_its_own_settings_lie_within():
    for name in example_names():
        bike = load_bike(name)
        files = bundle_for(target_named("desk"), bike, "source").files
        assert files[PLACE_FILE] == place_file(bike)
        paper = Paper()
        paper.files |= {"settings_a.txt": files["settings_a.txt"], PLACE_FILE: files[PLACE_FILE]}
        store = Store(paper)
        settings = store.load()
        store.place.check(settings, Settings({}))
        assert (store.slot, store.place.title) == (0, bike.place_profile.title)
