"""What is allowed: the least of limit, speed, battery and heat, each in a straight line; nothing in doubt."""

import pytest

from firmware.decide.ceilings import (
    BY_BATTERY,
    BY_DOUBT,
    BY_HEAT,
    BY_LIMIT,
    BY_SPEED,
    CEILING_NAMES,
    Ceilings,
)
from firmware.decide.engagement import ASSISTING, READY, THROTTLING
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

FULL_MV = 40_000
COOL = 200


def ceiling_w(state=ASSISTING, speed=0, battery_mv=FULL_MV, decicelsius=COOL, **settings) -> tuple[int, int]:
    ceilings = Ceilings(settings_with(**settings))
    ceilings.step(SmallInt(state), SmallInt(speed), SmallInt(battery_mv), SmallInt(decicelsius))
    return ceilings.ceiling_w, ceilings.lowest


def test_at_first_nothing_is_allowed():
    assert Ceilings(settings_with()).ceiling_w == 0


@pytest.mark.parametrize(
    ("speed_mm_per_s", "watts"),
    # 22 to 25 km/h is 6111 to 6944 mm/s. At 6528: 416 / 833 of 250 W is 124.8.
    [
        (0, 250),
        (6_111, 250),
        (6_112, 249),
        (6_528, 124),
        (6_937, 2),
        (6_943, 0),
        (6_944, 0),
        (8_681, 0),
        (30_000, 0),
    ],
)
def test_power_fades_to_nothing_at_the_cut_off_speed(speed_mm_per_s, watts):
    # EN 15194:2017 4.2.13.1 d, by the parallel text TBIS 15194:2019: progressively reduced, finally cut off.
    # 8681 mm/s is 1.25 times 25 km/h, the over-speed check of 4.2.11.2.2.
    assert ceiling_w(speed=speed_mm_per_s)[0] == watts


@pytest.mark.parametrize("state", [READY, ASSISTING, THROTTLING])
def test_the_fade_never_rises_with_speed(state):
    watts = [ceiling_w(state=state, speed=speed, power_limit_w=1_500)[0] for speed in range(0, 8_000, 7)]
    assert watts == sorted(watts, reverse=True)
    assert watts[-1] == 0


@pytest.mark.parametrize(
    ("speed_mm_per_s", "watts"), [(0, 250), (833, 250), (834, 249), (1_249, 125), (1_665, 0), (1_666, 0)]
)
def test_the_throttle_alone_fades_to_nothing_at_6_km_per_h(speed_mm_per_s, watts):
    # Start-up assistance to 6 km/h (1666 mm/s): EN 15194:2017 4.2.12, by the parallel text TBIS 15194:2019.
    assert ceiling_w(state=THROTTLING, speed=speed_mm_per_s) == (watts, BY_SPEED if watts < 250 else BY_LIMIT)


@pytest.mark.parametrize("unpedalled", [0, 1])
def test_the_start_up_speed_binds_the_throttle_alone_and_not_the_pedals(unpedalled):
    assert ceiling_w(state=THROTTLING, speed=2_000, throttle_unpedalled=unpedalled)[0] == 0
    assert ceiling_w(state=ASSISTING, speed=2_000, throttle_unpedalled=unpedalled)[0] == 250


def test_a_throttle_that_may_drive_freely_goes_to_the_cut_off_speed():
    assert ceiling_w(state=THROTTLING, speed=6_111, throttle_unpedalled=2)[0] == 250
    assert ceiling_w(state=THROTTLING, speed=6_944, throttle_unpedalled=2)[0] == 0


@pytest.mark.parametrize(
    ("battery_mv", "watts"), [(0, 0), (30_000, 0), (30_008, 1), (31_000, 125), (31_999, 249), (32_000, 250)]
)
def test_power_fades_with_the_battery(battery_mv, watts):
    assert ceiling_w(battery_mv=battery_mv) == (watts, BY_LIMIT if watts == 250 else BY_BATTERY)


@pytest.mark.parametrize(
    ("decicelsius", "watts"), [(-400, 250), (1_000, 250), (1_150, 125), (1_299, 0), (1_300, 0)]
)
def test_power_fades_with_heat_where_there_is_a_sensor(decicelsius, watts):
    assert ceiling_w(decicelsius=decicelsius, heat_sensor_fitted=1)[0] == watts
    assert ceiling_w(decicelsius=decicelsius, heat_sensor_fitted=0)[0] == 250


@pytest.mark.parametrize(
    ("speed", "battery_mv", "decicelsius", "watts", "lowest"),
    [
        (6_528, 31_500, 1_075, 124, BY_SPEED),
        (6_250, 31_000, 1_075, 125, BY_BATTERY),
        (6_250, 31_500, 1_225, 62, BY_HEAT),
        (0, 32_000, 1_000, 250, BY_LIMIT),
    ],
)
def test_the_lowest_ceiling_counts_and_is_named(speed, battery_mv, decicelsius, watts, lowest):
    got = ceiling_w(speed=speed, battery_mv=battery_mv, decicelsius=decicelsius, heat_sensor_fitted=1)
    assert got == (watts, lowest)


def test_every_ceiling_has_a_name():
    assert len(CEILING_NAMES) == 5
    assert CEILING_NAMES[BY_LIMIT] == "power limit"
    assert CEILING_NAMES[BY_SPEED] == "speed"
    assert CEILING_NAMES[BY_BATTERY] == "battery"
    assert CEILING_NAMES[BY_HEAT] == "heat"
    assert CEILING_NAMES[BY_DOUBT] == "doubt"


def test_a_name_is_not_remembered_from_the_step_before():
    ceilings = Ceilings(settings_with())
    ceilings.step(ASSISTING, 7_000, FULL_MV, COOL)
    assert ceilings.lowest == BY_SPEED
    assert ceilings.step(ASSISTING, 0, FULL_MV, COOL) == 250
    assert ceilings.lowest == BY_LIMIT


def test_a_doubt_allows_nothing_in_its_step_and_is_forgotten_in_the_next():
    ceilings = Ceilings(settings_with())
    ceilings.step(ASSISTING, 0, FULL_MV, COOL)
    ceilings.withhold()
    assert (ceilings.ceiling_w, ceilings.lowest) == (0, BY_DOUBT)
    assert ceilings.step(ASSISTING, 0, FULL_MV, COOL) == 250
    assert ceilings.lowest == BY_LIMIT
