"""What power comes, and what throttle, selector and loop gain make of it, ridden on the example bikes."""

from statistics import mean, pstdev

import pytest

from firmware.settings import MOTOR_UNKNOWN
from tests.ride.riding import Ridden, bike_with, course

STANDING = "at_s = 0; cadence_rpm = 0"


def test_in_europe_the_throttle_works_unpedalled_below_six_km_per_h_only(tmp_path):
    # Start-up assistance up to 6 km/h, held for a minute and let go: EN 15194 4.2.12.1 and 4.2.12.2.2, by the
    # parallel text TBIS 15194:2019.
    held = course(
        tmp_path, 75, STANDING, "at_s = 3; throttle_percent = 100", "at_s = 63; throttle_percent = 0"
    )
    ridden = Ridden(bike_with(), held)
    assert ridden.drove(3, 5)
    assert 4.0 < max(sample.speed_km_per_h for sample in ridden.samples) <= 6.0
    assert ridden.meter.engagements == 0
    assert not ridden.drove(63.3, 75)
    assert ridden.samples[-1].speed_km_per_h < ridden.during(63, 63.1)[0].speed_km_per_h


def test_on_private_ground_the_throttle_works_freely(tmp_path):
    held = course(
        tmp_path, 33, STANDING, "at_s = 3; throttle_percent = 100", "at_s = 30; throttle_percent = 0"
    )
    ridden = Ridden(bike_with(place="private_ground"), held)
    assert max(sample.speed_km_per_h for sample in ridden.samples) > 15.0
    assert ridden.drove(29, 30)
    assert not ridden.drove(30.6, 33)


def test_a_throttle_that_is_open_at_power_up_drives_nothing_until_it_has_rested(tmp_path):
    # Two independent actions to start: EN 15194 4.2.13.1 f, by the parallel text TBIS 15194:2019.
    script = course(
        tmp_path,
        12,
        "at_s = 0; cadence_rpm = 0; throttle_percent = 80",
        "at_s = 5; throttle_percent = 0",
        "at_s = 7; throttle_percent = 80",
    )
    ridden = Ridden(bike_with(), script)
    assert not ridden.commanded(0, 6.99)
    assert ridden.drove(7.05, 8)


def test_with_the_selector_at_nothing_only_the_throttle_drives(tmp_path):
    # Common practice, no source.
    script = course(
        tmp_path,
        24,
        "at_s = 0; cadence_rpm = 0; selector_position = 1",
        "at_s = 3; cadence_rpm = 60; grade_percent = 2",
        "at_s = 12; throttle_percent = 60",
        "at_s = 18; throttle_percent = 0",
    )
    ridden = Ridden(bike_with(), script)
    assert not ridden.commanded(0, 11.99)
    assert ridden.drove(13, 18)
    assert not ridden.drove(19, 24)


def test_selector_positions_give_their_shares_of_assist_power(tmp_path):
    # The trike's own file: 0, 35, 70 and 100 % of 250 W.
    script = course(
        tmp_path,
        50,
        "at_s = 0; cadence_rpm = 0; selector_position = 1",
        "at_s = 3; cadence_rpm = 60; grade_percent = 2",
        "at_s = 20; selector_position = 2",
        "at_s = 30; selector_position = 3",
        "at_s = 40; selector_position = 4",
    )
    ridden = Ridden(bike_with(), script)
    wanted_w = [ridden.during(start_s, start_s + 0.1)[0].wanted_w for start_s in (15, 25, 35, 45)]
    assert wanted_w == [0, 87, 175, 250]


def test_delivered_power_settles_at_what_is_allowed(tmp_path):
    hill = course(tmp_path, 40, STANDING, "at_s = 3; cadence_rpm = 60; grade_percent = 3")
    ridden = Ridden(bike_with(), hill)
    settled_w = mean(sample.power_w for sample in ridden.during(30, 40))
    assert settled_w == pytest.approx(250.0, rel=0.03)


def test_a_gain_too_high_surges_a_third_of_it_calms_and_too_low_is_sluggish(tmp_path):
    # Common practice, no source. The tandem's command sets a voltage, so its loop is the lively one; a quick
    # rise rate leaves the loop alone to decide how quick it is, and so does an unknown motor, whose back-EMF
    # nothing seeks.
    surge_w = {}
    rise_s = {}
    for gain_uv_per_w in (60, 540, 1620, 4860):
        alone = {"rise_mv_per_s": 5000, "integral_ms": 45, "motor_kind": MOTOR_UNKNOWN}
        bike = bike_with("tandem", settings={"gain_uv_per_w": gain_uv_per_w, **alone})
        hill = course(tmp_path, 20, STANDING, "at_s = 3; cadence_rpm = 60; grade_percent = 3")
        ridden = Ridden(bike, hill)
        surge_w[gain_uv_per_w] = pstdev(sample.power_w for sample in ridden.during(14, 20))
        strong_s = next(sample.time_s for sample in ridden.samples if sample.power_w > 400)
        rise_s[gain_uv_per_w] = strong_s - ridden.meter.first_assist_s
    assert surge_w[4860] > 50.0
    assert surge_w[1620] < 10.0
    assert surge_w[540] < 10.0
    assert rise_s[60] > 1.0
    assert rise_s[540] < 0.5 * rise_s[60]
    assert rise_s[4860] < rise_s[540] + 0.05


def test_a_higher_rise_rate_is_quicker_and_jerkier(tmp_path):
    # Usual rise rates run from 0.2 to 10 V/s: common practice, no source.
    quick_s = []
    jump_w = []
    for rise_mv_per_s in (200, 1000, 5000):
        start = course(tmp_path, 12, STANDING, "at_s = 3; cadence_rpm = 60")
        ridden = Ridden(bike_with(settings={"rise_mv_per_s": rise_mv_per_s}), start)
        quick_s.append(next(sample.time_s for sample in ridden.samples if sample.power_w > 225))
        power_w = [sample.power_w for sample in ridden.samples]
        jump_w.append(max(later - earlier for earlier, later in zip(power_w, power_w[10:], strict=False)))
    assert quick_s[2] < quick_s[1] < quick_s[0] - 2.0
    assert jump_w[2] > 1.3 * jump_w[1] > 1.3 * jump_w[0]
