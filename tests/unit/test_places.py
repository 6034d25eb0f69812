"""Place profiles hold what their sources say, and every one carries its source and the warning.

The numbers are those of the texts named beside each check; they are starting points, local codes decide.
"""

import pytest

from host_sim.errors import RequestError
from host_sim.places import limits
from host_sim.places.limits import load_place, load_places, place_names


def test_the_european_limits_are_those_of_the_standard():
    # EN 15194:2017 by the parallel text TBIS 15194:2019: scope, 4.2.11.1, 4.2.12.1, 4.2.13.1 b and c.
    place = load_place("eu")
    assert (place.power_limit_w, place.cutoff_km_per_h, place.cutoff_tolerance_percent) == (250, 25, 10)
    assert (place.startup_km_per_h, place.throttle_unpedalled) == (6, "below start-up speed")
    assert (place.cutoff_distance_m, place.cutoff_distance_all_brakes_m) == (2, 5)
    # "before 25 km/h": Regulation (EU) 168/2013 Art. 2(2)(h), its number from memory.
    assert place.cutoff_strict


def test_the_british_cutoff_is_15_and_a_half_miles_and_below_25_kilometres():
    # SI 2015/24 reg. 2(4); one mile is 1.609344 km exactly.
    place = load_place("uk")
    assert place.cutoff_km_per_h == pytest.approx(15.5 * 1.609344)
    assert place.cutoff_km_per_h < 25
    assert place.power_limit_w == 250


def test_the_federal_american_limits_are_strict_and_the_californian_power_is_not():
    # 15 USC 2085(b): less than 750 W and 20 mph. California Vehicle Code 312.5(a): does not exceed 750 W.
    federal = load_place("us_federal")
    assert (federal.power_limit_w, federal.power_strict, federal.cutoff_strict) == (750, True, True)
    assert federal.cutoff_km_per_h == pytest.approx(20 * 1.609344)
    assert not load_place("us_class_1").power_strict


def test_the_three_american_classes_differ_in_throttle_and_speed():
    # California Vehicle Code 312.5(a) (1) to (4): 20, 20 and 28 mph; start and walk mode up to 3.7 mph.
    first, second, third = (load_place(f"us_class_{number}") for number in (1, 2, 3))
    assert [place.throttle_unpedalled for place in (first, second, third)] == [
        "below start-up speed",
        "freely",
        "below start-up speed",
    ]
    assert third.cutoff_km_per_h == pytest.approx(28 * 1.609344)
    assert first.startup_km_per_h == third.startup_km_per_h == pytest.approx(3.7 * 1.609344)


def test_british_columbia_engages_from_3_km_per_h_and_a_brake_ends_assistance():
    # B.C. Reg. 151/2002 sections 1 and 3.
    place = load_place("british_columbia")
    assert (place.power_limit_w, place.cutoff_km_per_h, place.engage_km_per_h) == (500, 32, 3)
    assert place.brake_must_release


def test_australian_limits():
    # ADR Definitions and Vehicle Categories 2005, amendment 11; Transport for NSW as a newspaper reported it.
    federal, state = load_place("australia"), load_place("new_south_wales")
    assert (federal.power_limit_w, federal.cutoff_km_per_h) == (250, 25)
    assert (state.power_limit_w, state.cutoff_km_per_h, state.taper_from_km_per_h) == (500, 25, 6)


@pytest.mark.parametrize("name", place_names())
def test_every_place_has_a_source_a_clause_a_date_and_the_warning(name):
    place = load_place(name)
    assert place.source
    assert place.clause
    assert place.date
    assert place.warning == "starting point only, check your local code"
    assert place.startup_km_per_h > 0 or place.throttle_unpedalled != "below start-up speed"


def test_a_place_with_an_assist_ratio_is_refused_with_the_reason():
    assert list(load_places().not_possible) == ["japan", "eu_type_approved"]
    with pytest.raises(RequestError, match=r'place "japan" has no profile: .*torque sensor'):
        load_place("japan")


def test_an_unknown_place_lists_the_known_ones():
    with pytest.raises(
        RequestError, match='place "austria" is not known, did you mean australia\\? Known are eu, uk,'
    ):
        load_place("austria")
    with pytest.raises(RequestError, match='place "" is not known, known are eu, uk, us_federal'):
        load_place("")


def test_a_damaged_file_of_places_is_refused_by_key(tmp_path, monkeypatch):
    text = limits.PLACES.read_text(encoding="utf-8").replace("power_limit_w = 250", "power_limit_w = -250", 1)
    (tmp_path / "places.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(limits, "PLACES", tmp_path / "places.toml")
    with pytest.raises(RequestError, match=r"place.eu.power_limit_w is -250, allowed is 0 to 5000 \(W\)"):
        load_place("eu")
