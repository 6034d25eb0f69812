"""Wheel circumferences of the example bikes, and what an error in them does to the cut-off speed."""

from math import pi

import pytest

from host_sim.bikes import load_bike
from host_sim.places.limits import load_place

# Width and bead seat diameter (ISO 5775, mm) and the circumference in published tables (read at spudd64.com
# and david-cook.org).
PUBLISHED_MM = {
    (20, 622): 2086,
    (23, 622): 2096,
    (25, 622): 2105,
    (28, 622): 2136,
    (32, 622): 2155,
    (35, 622): 2168,
}


@pytest.mark.parametrize(("tyre", "published_mm"), PUBLISHED_MM.items())
def test_pi_times_the_outer_diameter_meets_the_published_tables_within_7_mm(tyre, published_mm):
    # The approximation: cyclingforums.com thread 283428, "Brown method".
    width_mm, seat_mm = tyre
    assert pi * (seat_mm + 2 * width_mm) == pytest.approx(published_mm, abs=7)


@pytest.mark.parametrize(
    ("name", "published_m"),
    [
        ("cargo_trike", 1.89),  # 24 x 1.75: 189 cm, table read at forum.centos-webpanel.com topic 1746.
        ("folding", 1.52),  # 20 x 1.75: 152 cm, the same table.
        ("tandem", 2.168),  # 35-622: the tables above.
    ],
)
def test_the_example_bikes_have_published_circumferences(name, published_m):
    bike = load_bike(name)
    assert bike.bicycle.wheel_circumference_m == published_m
    assert bike.firmware_settings.wheel_circumference_mm == round(published_m * 1000)


@pytest.mark.parametrize("name", ["cargo_trike", "folding"])
def test_a_circumference_two_percent_wrong_keeps_the_cutoff_inside_the_tolerance(name):
    # Published tables differ by up to 1.8 %; EN 15194 4.2.11.1 (parallel text TBIS 15194:2019) allows 25 km/h
    # and 10 %, so 27.5 km/h. A wheel that is larger than set runs faster than is shown.
    settings = load_bike(name).firmware_settings
    real_km_per_h = settings.cutoff_speed_mm_per_s * 1.02 * 3.6 / 1000
    assert real_km_per_h < 27.5
    assert real_km_per_h == pytest.approx(25.5, abs=0.01)
    assert load_place("eu").cutoff_tolerance_percent == 10
