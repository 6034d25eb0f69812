"""What the lessons compute: on the real firmware, with results that their notes promise."""

import os
import re
import subprocess
import sys
import tomllib
from itertools import pairwise
from math import atan2, degrees, pi, sin

import control
import numpy as np
import pytest

from host_sim.errors import RequestError
from host_sim.lab.catalogue import lesson
from host_sim.lab.direction import check_direction, turn_crank
from host_sim.lab.direction_figure import draw_direction
from host_sim.lab.faults import (
    ALL_ACTIVE,
    AT_ONCE,
    FAULTS_TO_TRY,
    GOES_ON,
    GUARD_ALONE,
    LAPSES,
    LATCH_DISABLED,
    LATER,
    STAFFS,
    STALLS,
    _Staff,
    check_guess,
    try_fault,
)
from host_sim.lab.levers import check_levers, places_to_choose, try_levers
from host_sim.lab.loop import check_loop, swing_of, try_loop
from host_sim.lab.loop_figure import draw_loop
from host_sim.lab.loop_margins import margins_of, watts_per_volt
from host_sim.lab.riding import lesson_bike, ride
from host_sim.lab.slew import check_slew, try_slew
from host_sim.lab.slew_figure import draw_slew
from host_sim.lab.teaching import teaching
from host_sim.lab.thresholds import try_thresholds
from tests.lab.serving import ROOT
from tests.quick_first import quick_first


@pytest.mark.parametrize(
    ("angle_deg", "edges"), [(0, 0), (45, 4), (90, 8), (360, 32), (-45, -4), (-360, -32), (720, 64)]
)
def test_eight_magnets_on_two_channels_give_four_edges_a_pitch(angle_deg, edges):
    # Four counts a cycle of two channels in quadrature: any text on incremental encoders.
    turned = turn_crank(angle_deg)
    assert (turned.count, turned.invalid) == (edges, 0)


def test_the_states_follow_the_gray_sequence_with_a_first():
    # 00, 01, 11, 10 with B as the higher digit: the Gray code of any text on incremental encoders.
    levels = [value for _, value in turn_crank(45).true_levels]
    assert levels in ([0, 1, 3, 2, 0], [2, 0, 1, 3, 2])


def test_exchanged_wires_turn_the_sign_of_the_count():
    assert turn_crank(90, swapped=True).count == -8


@pytest.mark.parametrize(
    ("look_every_deg", "count", "invalid"),
    [(11.25, 16, 0), (22.5, 0, 8), (33.75, -5, 0), (45, 0, 0)],
)
def test_who_looks_too_seldom_is_fooled(look_every_deg, count, invalid):
    # Half a turn, sixteen states: one, two, three or four of them at each look.
    turned = turn_crank(180, look_every_deg)
    assert (turned.count, turned.invalid) == (count, invalid)


def test_the_exercise_of_lesson_1_wants_the_board_fooled_and_the_wires_right():
    assert check_direction(turn_crank(180, 34)).solved
    assert not check_direction(turn_crank(180, 0)).solved
    assert not check_direction(turn_crank(180, 0, swapped=True)).solved
    assert not check_direction(turn_crank(-180, 0)).solved


def _textbook_count(angle_deg, look_every_deg, first_deg):
    """Count as a textbook's table of four states does: a step of two states is invalid."""
    looks = [
        first_deg + look_every_deg * at
        for at in range(int((angle_deg - first_deg) / look_every_deg + 1e-9) + 1)
    ]
    # A state of a quarter of a pitch, 11.25 degrees; the first edge lies half a state behind angle 0.
    states = [int((look + 5.625) // 11.25) for look in looks]
    steps = [(late - early) % 4 for early, late in pairwise(states)]
    return steps.count(1) - steps.count(3), steps.count(2)


def _textbook_accepts(angle_deg, look_every_deg, swapped):
    """Tell whether a table of states is fooled without an error, whenever it begins to look."""
    if swapped or angle_deg < 180 or look_every_deg == 0:
        return False
    tries = [_textbook_count(angle_deg, look_every_deg, look_every_deg * part / 8) for part in range(8)]
    return all(count < 0 and invalid == 0 for count, invalid in tries)


@pytest.mark.parametrize("angle_deg", [-360, -180, 0, 179, 180, 203, 270, 359, 360])
def test_lesson_1_accepts_exactly_what_a_table_of_states_calls_backward_and_valid(angle_deg):
    for swapped in (False, True):
        for look_every_deg in range(46):
            check = check_direction(turn_crank(angle_deg, look_every_deg, swapped))
            assert check.solved == _textbook_accepts(angle_deg, look_every_deg, swapped), (
                look_every_deg,
                check.words,
            )


@pytest.mark.slow
def test_lesson_1_accepts_exactly_the_right_settings_of_all_that_can_be_chosen():
    for angle_deg in range(-360, 361):
        test_lesson_1_accepts_exactly_what_a_table_of_states_calls_backward_and_valid(angle_deg)


def test_lesson_1_accepts_34_degrees_and_neither_24_nor_what_hangs_on_luck():
    assert check_direction(turn_crank(360, 34)).solved
    assert "6 invalid jumps" in check_direction(turn_crank(180, 24)).words
    lucky = check_direction(turn_crank(180, 42))
    assert not lucky.solved
    assert "of 8 starting moments give another result" in lucky.words


@pytest.mark.parametrize("swapped", [False, True])
def test_the_pickups_of_lesson_1_are_drawn_where_the_magnets_switch_them(swapped):
    for angle_deg in range(0, 90, 3):
        turned = turn_crank(angle_deg, swapped=swapped)
        circles = re.findall(r'<circle cx="([0-9.]+)" cy="([0-9.]+)" r="([0-9.]+)"', draw_direction(turned))
        degrees_at = {
            radius: [degrees(atan2(float(x) - 125.0, 152.0 - float(y))) for x, y, r in circles if r == radius]
            for radius in ("16.0", "11.0")
        }
        magnets, pickups = degrees_at["16.0"], degrees_at["11.0"]
        assert abs(pickups[0] - pickups[1]) == pytest.approx(11.25, abs=0.1)  # A quarter of 360 / 8 degrees.
        for bit, pickup in enumerate(pickups):
            nearest = min(abs((magnet - pickup + 180.0) % 360.0 - 180.0) for magnet in magnets)
            # A magnet switches its pickup for half a pitch, a quarter to each side.
            assert (turned.now >> bit & 1) == (nearest < 11.25), (angle_deg, bit)


def test_a_lesson_ride_is_the_same_each_time():
    one, two = try_thresholds(10, 4, 140), try_thresholds(10, 4, 140)
    assert one.samples.power_w == two.samples.power_w
    assert one.run_ons_s == two.run_ons_s


def test_twice_the_rise_rate_is_twice_the_jerk_and_half_the_lag():
    slow, quick = try_slew(600, 0), try_slew(1200, 0)
    assert quick.worst_m_per_s3 / slow.worst_m_per_s3 == pytest.approx(2.0, abs=0.1)
    assert quick.lag_s < 0.7 * slow.lag_s


def test_a_load_takes_the_jerk_down_as_mass_goes_up():
    # Force over mass: 273 kg against 123 kg, Newton's second law.
    empty, full = try_slew(1500, 0), try_slew(1500, 150)
    assert empty.bike.bicycle.mass_kg == 123
    assert empty.worst_m_per_s3 / full.worst_m_per_s3 == pytest.approx(273 / 123, rel=0.03)


def test_the_exercise_of_lesson_3_lies_between_too_slow_and_too_hard():
    assert check_slew(try_slew(1000, 0)).solved
    assert not check_slew(try_slew(600, 0)).solved
    assert not check_slew(try_slew(3000, 0)).solved
    assert not check_slew(try_slew(1000, 60)).solved
    assert try_slew(50, 0).lag_s is None


def _full_power_after_s(tried):
    """Return when a ramp of the command gives nine tenths of 250 W, by speed and Ohm's law alone."""
    motor, samples = tried.bike.motor, tried.samples
    radius_m = tried.bike.bicycle.wheel_circumference_m / (2 * pi)
    begun_s = samples.first(samples.command_v, 0.0)
    for time_s, km_per_h in zip(samples.time_s, samples.speed_km_per_h, strict=True):
        # The command begins at the end of the dead band, 1.1 V; 2.5 V more are 28 A. The stage lags by 0.1 s.
        lag_s = tried.bike.motor_controller.lag_s
        current_a = tried.rise_mv_per_s / 1000 * max(time_s - begun_s - lag_s, 0.0) / 2.5 * 28.0
        back_v = motor.torque_constant_nm_per_a * km_per_h / 3.6 / radius_m
        if (back_v + motor.resistance_ohm * current_a) * current_a >= 225.0:
            return time_s - begun_s
    return None


RATES, LOADS = (one.steps for one in lesson(3).inputs)


def _newton_accepts(tried):
    """Volts a second x 28 A over 2.5 V x 1.5 Nm/A / radius / mass; the lag is the ramp to nine tenths."""
    jerk = tried.rise_mv_per_s / 1000 * 28 / 2.5 * 1.5 / (1.89 / (2 * pi)) / (123 + tried.load_kg)
    lag_s = _full_power_after_s(tried)
    return tried.load_kg == 0 and jerk <= 0.6 and lag_s is not None and lag_s <= 1.5


@pytest.mark.long
def test_lesson_3_accepts_exactly_the_rates_that_newtons_law_and_the_ramp_allow():
    accepted = set()
    for rate in RATES:
        tried = try_slew(rate, 0)
        assert check_slew(tried).solved == _newton_accepts(tried), rate
        if check_slew(tried).solved:
            accepted.add(rate)
            assert tried.lag_s == pytest.approx(_full_power_after_s(tried), abs=0.1)
    assert accepted == {1000, 1200}


@pytest.mark.slow
@pytest.mark.parametrize("load_kg", LOADS)
def test_lesson_3_accepts_exactly_the_right_settings_of_all_that_can_be_chosen(load_kg):
    for rate in RATES:
        tried = try_slew(rate, load_kg)
        assert check_slew(tried).solved == _newton_accepts(tried), rate


def test_lesson_3_measures_other_starts_and_stops_too():
    tried = try_slew(400, 60)
    assert len(tried.lags_s) == 2
    assert len(tried.cuts_m_per_s3) == len(tried.cuts_after_s) == 4
    # Between a stop just before an edge and one just after lies an edge: a quarter of a pitch of 0.109 s.
    assert 0.02 < max(tried.cuts_after_s) - min(tried.cuts_after_s) < 0.109
    assert max(tried.cuts_m_per_s3) < -2.4


@pytest.mark.parametrize(("rise_mv_per_s", "load_kg"), [(1000, 0), (1000, 150), (300, 60)])
def test_the_jerk_of_the_cut_is_what_the_bicycles_own_speed_shows(rise_mv_per_s, load_kg):
    tried = try_slew(rise_mv_per_s, load_kg)
    samples = tried.samples
    time_s, speed = np.array(samples.time_s), np.array(samples.speed_km_per_h) / 3.6
    cut = int(np.argmin(np.abs(time_s - tried.cut_s)))
    before = np.polyfit(time_s[cut - 15 : cut], speed[cut - 15 : cut], 1)[0]
    after = np.polyfit(time_s[cut + 20 : cut + 35], speed[cut + 20 : cut + 35], 1)[0]
    through = sum(tried.jerk_m_per_s3[cut - 12 : cut + 25]) * 0.01
    # The wheels' inertia makes the bicycle a few per cent lazier than its mass alone.
    assert through == pytest.approx(after - before, rel=0.12)
    assert tried.cut_m_per_s3 < -1.0
    # The worst moment lies at the cut, not before it, and the drawing marks it there.
    assert samples.time_s[tried.jerk_m_per_s3.index(tried.cut_m_per_s3)] == pytest.approx(
        tried.cut_s, abs=0.06
    )
    drawn = draw_slew(tried)
    assert f"{tried.cut_m_per_s3:.1f} m/s³" in drawn
    assert drawn.count(">cut<") == 2
    assert len(tried.jerk_m_per_s3) == len(samples.time_s)


def test_the_curve_of_lesson_4_predicts_where_the_bench_begins_to_surge():
    calm, edge, surging = (try_loop(gain, 20, True) for gain in (8000, 12000, 16000))
    assert edge.margins.gain_times == pytest.approx(1.01, abs=0.02)
    assert edge.margins.surge_hz == pytest.approx(7.1, abs=0.1)
    assert calm.swing_percent < 1.0
    assert edge.swing_percent < 5.0
    assert surging.margins.gain_times < 1.0
    assert surging.swing_percent > 15.0


def test_margins_scale_with_gain_and_meet_the_textbook_where_phase_is_known():
    bike = lesson_bike({"motor_controller": {"lag_s": 0.1}})
    one, two = margins_of(bike, 2000, 120), margins_of(bike, 4000, 120)
    assert one.gain_times == pytest.approx(2 * two.gain_times)
    # Low gain, integral time near the lag: an integrator, hence nearly 90 degrees (any text on PI control).
    assert margins_of(bike, 600, 100).phase_deg == pytest.approx(90, abs=4)
    # E I + R I^2 = 250 W at 18 km/h: (E + 2 R I) 28 A over 2.5 V, by hand.
    assert watts_per_volt(bike) == pytest.approx(336.3, abs=0.5)


def test_without_anti_windup_the_same_step_overshoots_far_more():
    with_it, without = try_loop(5000, 50, True), try_loop(5000, 50, False)
    assert with_it.overshoot_percent == pytest.approx(12, abs=3)
    assert without.overshoot_percent == pytest.approx(52, abs=6)


def test_the_exercise_of_lesson_4_can_be_solved_and_is_not_solved_at_first():
    assert check_loop(try_loop(8000, 120, True)).solved
    assert not check_loop(try_loop(400, 120, True)).solved
    assert not check_loop(try_loop(8000, 120, False)).solved


@pytest.mark.parametrize(
    ("gain_uv_per_w", "integral_ms"), [(400, 20), (400, 300), (2000, 50), (5000, 120), (12000, 20)]
)
def test_the_margins_of_lesson_4_are_those_of_a_control_library_on_a_continuous_model(
    gain_uv_per_w, integral_ms
):
    bike = lesson_bike({"motor_controller": {"lag_s": 0.1}})
    margins = margins_of(bike, gain_uv_per_w, integral_ms)
    # PI, a lag of 0.1 s, a smoothing of a quarter a period; a period of computing and half a one of holding.
    s = 1j * np.geomspace(0.05, 500.0, 4000)
    period_s, smoothing_s = 0.005, 0.005 / np.log(4.0 / 3.0)
    # The I part sums the errors up to the step before: half a period later than an integral.
    pi_controller = gain_uv_per_w * 1e-6 * (1.0 + np.exp(-s * period_s / 2.0) / (integral_ms * 1e-3 * s))
    response = pi_controller * watts_per_volt(bike) / (1.0 + 0.1 * s) / (1.0 + smoothing_s * s)
    # A smoothing that takes the newest reading at once lags by half a period less than its time constant.
    delayed = response * np.exp(-s * (1.5 - 0.5) * period_s)
    gain_margin, phase_margin, surge, crossover = control.margin(control.frd(delayed, s.imag, smooth=True))
    assert margins.gain_times == pytest.approx(gain_margin, rel=0.03)
    assert margins.surge_hz == pytest.approx(surge / (2 * pi), rel=0.03)
    assert margins.phase_deg == pytest.approx(phase_margin, abs=2.0)
    assert margins.crossover_hz == pytest.approx(crossover / (2 * pi), rel=0.03)


def test_a_slow_creep_is_no_swing_and_a_sine_swings_by_twice_its_amplitude():
    assert (
        try_loop(400, 300, True).swing_percent == 0.0
    )  # It climbs by 11 % of full power in the last second.
    assert swing_of([250.0 * (1.0 - 2.7 ** (-at / 50)) for at in range(100)], 2.0) == 0.0
    assert swing_of([100.0 + 10.0 * sin(at / 5) for at in range(200)], 2.0) == pytest.approx(20.0, abs=0.1)
    assert swing_of([100.0 + 3.0 * at + 10.0 * sin(at / 5) for at in range(200)], 2.0) == 0.0
    assert swing_of([5.0, 6.0, 5.0, 6.0], 2.0) == 0.0


@pytest.mark.parametrize("anti_windup", [True, False])
def test_what_lesson_4_draws_of_the_controller_adds_up_and_names_the_slew_limit(anti_windup):
    looped = try_loop(5000, 50, anti_windup)
    parts, (start_v, most_v) = looped.parts, looped.limits_v
    assert (start_v, most_v) == (1.1, 3.6)
    free = held = 0
    for at in range(1, len(parts.time_s)):
        if parts.time_s[at] < 3.3:
            continue
        whole = start_v + min(max(parts.p_v[at] + parts.i_v[at], 0.0), most_v - start_v)
        assert parts.target_v[at] == pytest.approx(whole, abs=0.002)
        change = parts.command_v[at] - parts.command_v[at - 1]
        if parts.slewed[at]:
            held += 1
            assert abs(change) == pytest.approx(10.0 * 0.005, abs=0.0021)  # 10 V/s for a period of 5 ms.
        else:
            free += 1
            assert parts.command_v[at] == pytest.approx(parts.target_v[at], abs=0.0011)
    assert free > 400
    assert held > 10
    assert max(parts.command_v) < most_v - 0.5  # What limits is the slew limit, not the highest command.
    drawn = draw_loop(looped)
    for words in (
        "slew limit, 10 V/s, acts",
        "highest command 3.6 V",
        "P part",
        "I part",
        "setpoint",
        "error",
        "Bode plot",
        "Nyquist plot",
        "Gain margin",
        "Phase margin",
    ):
        assert words in drawn  # fmt: skip


def test_the_throttle_alone_obeys_the_place():
    assert try_levers("eu", 4, 100, False).ends_km_per_h == pytest.approx(6.5, abs=1.0)
    assert try_levers("australia", 4, 100, False).ends_km_per_h is None
    assert try_levers("us_class_2", 4, 100, False).ends_km_per_h == pytest.approx(32.2, abs=0.7)


def test_the_selector_scales_and_the_cut_off_speed_stays():
    low, high = try_levers("eu", 2, 0, True), try_levers("eu", 4, 0, True)
    assert low.most_w == pytest.approx(0.35 * 250, abs=12)
    assert high.most_w == pytest.approx(250, abs=15)
    assert low.ends_km_per_h == pytest.approx(25, abs=0.7)
    assert high.ends_km_per_h == pytest.approx(25, abs=0.7)
    assert try_levers("eu", 1, 0, True).most_w == pytest.approx(0, abs=1)


@pytest.mark.long
def test_no_place_gives_more_than_its_limit_and_help_ends_where_it_is_set_to():
    for name in places_to_choose().values():
        tried = try_levers(name, 4, 100, True)
        settings = tried.bike.firmware_settings
        means = np.convolve(tried.power_w, np.ones(100) / 100, mode="valid")
        assert tried.most_w == pytest.approx(means.max())
        assert tried.most_w <= 1.02 * settings.power_limit_w, name
        set_to_km_per_h = settings.cutoff_speed_mm_per_s * 0.0036
        if set_to_km_per_h < 36.0:
            assert tried.ends_km_per_h == pytest.approx(set_to_km_per_h, abs=0.25), name
            spread = max(tried.ends_found_km_per_h) - min(tried.ends_found_km_per_h)
            assert spread < 0.3, name  # A pulse late at 3.4 km/h a second.


@pytest.mark.long
def test_every_place_can_be_ridden_and_the_exercise_of_lesson_5_tells_them_apart():
    solved = {
        name for name in places_to_choose().values() if check_levers(try_levers(name, 4, 100, False)).solved
    }
    assert solved == {"us_federal", "us_class_2", "british_columbia", "private_ground"}
    assert not check_levers(try_levers("us_class_2", 4, 100, True)).solved


def _law_accepts(place, position, throttle_percent, pedalling):
    """Read the profile's own file: the throttle alone drives at 15 km/h only where it may do so freely."""
    profiles = tomllib.loads((ROOT / "host_sim" / "places" / "places.toml").read_text(encoding="utf-8"))
    freely = profiles["place"][place]["throttle_unpedalled"] == "freely"
    return freely and not pedalling and throttle_percent >= 10


@pytest.mark.long
@pytest.mark.parametrize("place", places_to_choose().values())
def test_lesson_5_accepts_exactly_what_the_profile_allows(place):
    for position, throttle_percent, pedalling in ((1, 10, False), (4, 0, False), (3, 60, True)):
        tried = try_levers(place, position, throttle_percent, pedalling)
        expected = _law_accepts(place, position, throttle_percent, pedalling)
        assert check_levers(tried).solved == expected, (position, throttle_percent, pedalling)
        assert len(tried.ends_found_km_per_h) in (0, 1, 3)


@pytest.mark.slow
@pytest.mark.parametrize("place", places_to_choose().values())
def test_lesson_5_accepts_exactly_the_right_settings_of_all_that_can_be_chosen(place):
    for position in (1, 2, 3, 4):
        for throttle_percent in range(0, 101, 10):
            for pedalling in (False, True):
                tried = try_levers(place, position, throttle_percent, pedalling)
                expected = _law_accepts(place, position, throttle_percent, pedalling)
                assert check_levers(tried).solved == expected, (position, throttle_percent, pedalling)


@pytest.mark.parametrize(
    ("fault", "outcome", "cause"),
    [
        ("a throttle wire breaks", AT_ONCE, "throttle wire open"),
        ("a throttle wire touches its supply", AT_ONCE, "throttle wire shorted to its supply"),
        ("the wire of pedal sensor channel B breaks", AT_ONCE, "one channel of the pedal sensor is dead"),
        ("both pedal sensor wires are exchanged", AT_ONCE, None),
        ("one magnet falls off", GOES_ON, None),
        ("electrical noise on the pedal sensor", AT_ONCE, "noise on the pedal sensor"),
        ("the wheel sensor is lost", LATER, "no wheel pulses while driving"),
        ("the battery wire breaks", AT_ONCE, "battery voltage reading out of range"),
        (STALLS, AT_ONCE, None),
    ],
)
def test_what_breaks_ends_as_the_notes_of_lesson_6_say(fault, outcome, cause):
    broken = try_fault(fault, 3.0, 60)
    assert (broken.outcome, broken.cause) == (outcome, cause)
    assert check_guess(broken, outcome).solved
    assert not check_guess(broken, None).solved
    wrong = GOES_ON if outcome != GOES_ON else AT_ONCE
    assert not check_guess(broken, wrong).solved
    assert broken.run_on_s < 0.3


def test_with_the_latch_asleep_the_motor_helps_on_after_a_throttle_fault():
    broken = try_fault("a throttle wire breaks", 3.0, 60, LATCH_DISABLED)
    assert (broken.outcome, broken.cause) == (GOES_ON, None)
    noisy = try_fault("electrical noise on the pedal sensor", 3.0, 60, LATCH_DISABLED)
    assert noisy.outcome == LAPSES


def test_the_guard_alone_stops_a_logic_gone_wrong_and_later_than_the_logic_would():
    alone = try_fault("one magnet falls off", 3.0, 60, GUARD_ALONE)
    whole = try_fault("one magnet falls off", 3.0, 60, ALL_ACTIVE)
    assert whole.guard_cuts_s == []
    assert any(cut_s > 6.5 for cut_s in alone.guard_cuts_s)
    # Ten magnets at the release cadence of 12 rpm: 60 / (10 x 12) = 0.5 s, and three periods more.
    assert 0.4 < alone.run_on_s < 0.6
    assert whole.run_on_s < 0.25
    dead = try_fault("the wire of pedal sensor channel B breaks", 3.0, 60, GUARD_ALONE)
    assert sorted(dead.outcomes) == sorted([LATER, LATER, LAPSES])
    assert dead.outcome == LAPSES  # The worst of three moments counts.
    assert "It depends on the moment" in check_guess(dead, LAPSES).words


GUARD_ALONE_DOES = {
    "a throttle wire breaks": GOES_ON,
    "a throttle wire touches its supply": GOES_ON,
    "one magnet falls off": GOES_ON,
    "electrical noise on the pedal sensor": LAPSES,
    "the current reading sticks": GOES_ON,
    "the wheel sensor is lost": LATER,
    "the wire of pedal sensor channel B breaks": LAPSES,
    "both pedal sensor wires are exchanged": AT_ONCE,
    "the battery wire breaks": AT_ONCE,
    STALLS: AT_ONCE,
}


@pytest.mark.long
def test_what_the_notes_of_lesson_6_say_of_the_guard_alone_holds_for_each_fault():
    assert set(GUARD_ALONE_DOES) == set(FAULTS_TO_TRY)
    notes = teaching(6).notes
    for fault, outcome in GUARD_ALONE_DOES.items():
        broken = try_fault(fault, 3.0, 60, GUARD_ALONE)
        assert broken.outcome == outcome, fault
        assert f"<td>{fault}</td><td>{outcome}</td>" in notes
        ends = fault != "electrical noise on the pedal sensor"
        assert (broken.run_on_s < 2 / 3) == ends, fault
        assert ("does not end when pedalling stops" in check_guess(broken, outcome).words) != ends, fault
    assert "stops the motor too" not in notes


def _outcome_of_a_plain_ride(fault, at_s, cadence_rpm, staff):
    """Ride the fault as a course, without any of the lesson's copies; return what help did."""
    lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": 1.2, "cadence_rpm": cadence_rpm},
        {"at_s": at_s, "fault": [FAULTS_TO_TRY[fault]]},
        {"at_s": 6.5, "cadence_rpm": 0},
    ]
    samples = ride(lesson_bike({"settings": {"wheel_lost_ms": 2000}}), lines, 7.5, [_Staff(staff)]).samples
    helped = [
        volt > 0.0
        for at, volt in zip(samples.time_s, samples.command_v, strict=True)
        if at_s + 1e-9 < at < 6.5
    ]
    if all(helped):
        return GOES_ON
    ended = helped.index(False)
    if any(helped[ended:]):
        return LAPSES
    return AT_ONCE if ended * 0.01 <= 0.3 else LATER


def _judged(fault, at_s, cadence_rpm, staff=ALL_ACTIVE):
    rides = [
        _outcome_of_a_plain_ride(fault, round(at_s + late, 3), cadence_rpm, staff)
        for late in (0.0, 0.117, 0.251)
    ]
    broken = try_fault(fault, at_s, cadence_rpm, staff)
    assert broken.outcomes == rides, (fault, at_s, cadence_rpm, staff)
    worst = next(one for one in (GOES_ON, LAPSES, LATER, AT_ONCE) if one in rides)
    solved = [one for one in (AT_ONCE, LATER, LAPSES, GOES_ON) if check_guess(broken, one).solved]
    assert solved == [worst]


@pytest.mark.parametrize("fault", quick_first(3, FAULTS_TO_TRY))
def test_lesson_6_accepts_exactly_the_outcome_of_plain_rides(fault):
    _judged(fault, 4.3, 45)


@pytest.mark.slow
@pytest.mark.parametrize("staff", STAFFS)
@pytest.mark.parametrize("fault", FAULTS_TO_TRY)
def test_lesson_6_accepts_exactly_the_right_prediction_all_over_its_sliders(fault, staff):
    for at_s in (2.5, 2.9, 3.4, 4.0, 4.7, 5.0):
        for cadence_rpm in (30, 40, 55, 70, 90):
            _judged(fault, at_s, cadence_rpm, staff)


@pytest.mark.long
def test_every_fault_can_be_tried_at_each_end_of_the_sliders():
    for fault in FAULTS_TO_TRY:
        for at_s, cadence_rpm in ((2.5, 30), (5.0, 90)):
            assert try_fault(fault, at_s, cadence_rpm).outcome in (AT_ONCE, LATER, LAPSES, GOES_ON)


def test_no_lesson_needs_a_library_of_numbers_to_compute_or_to_draw():
    # In a browser there is pydantic, but no numpy of the same make; and a lab starts sooner without.
    program = """
import sys
from host_sim.lab import (direction, direction_figure, faults, faults_figure, levers, levers_figure, loop,
    loop_figure, slew, slew_figure, thresholds, thresholds_figure)
tried = [
    direction_figure.draw_direction(direction.turn_crank(100, 20)),
    thresholds_figure.draw_thresholds(thresholds.try_thresholds(8, 6, 120)),
    slew_figure.draw_slew(slew.try_slew(400, 60)),
    loop_figure.draw_loop(loop.try_loop(400, 120, True)),
    levers_figure.draw_levers(levers.try_levers("eu", 3, 0, True)),
    faults_figure.draw_fault(faults.try_fault("a throttle wire breaks", 3.0, 60)),
]
assert all("<svg" in html for html in tried)
print(sorted({"numpy", "scipy", "matplotlib", "control"} & set(sys.modules)))
"""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert ended.stdout == "[]\n"


def test_a_lesson_bike_is_checked_as_a_file_is():
    with pytest.raises(RequestError, match=r"settings.rise_mv_per_s is 0"):
        lesson_bike({"settings": {"rise_mv_per_s": 0}})
    assert lesson_bike({"bicycle": {"load_kg": 7}}).bicycle.load_kg == 7
    assert lesson_bike({}).bicycle.load_kg == 60
