"""The rider: three ways of pedalling, a freewheel, legs that take their time."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from host_sim.plant.rider import EFFORT, FOLLOW, HOLD, RIDDEN, Rider

GOOD = {
    "strength_nm": 60.0,
    "dead_centre_share": 0.257,
    "cadence_ripple": 0.0,
    "development_low_m": 2.0,
    "development_high_m": 7.0,
    "chain_efficiency": 0.95,
}
TURN_RAD = 6.283185307179586


def _rider(mode, target=0.0, power_w=0.0, development_m=0.0, **changes):
    rider = Rider(**{**GOOD, **changes})
    rider.mode, rider.target_rad_per_s = mode, target
    rider.power_w, rider.development_m = power_w, development_m
    return rider


def _ride(rider, speed_m_per_s, seconds, step_s=0.005):
    return [rider.step(speed_m_per_s, step_s) for _ in range(round(seconds / step_s))]


@pytest.mark.parametrize("mode", [FOLLOW, HOLD, RIDDEN])
def test_a_rider_who_stops_has_a_still_crank_after_0_15_s_while_the_wheel_runs_on(mode):
    rider = _rider(mode, target=8.4, power_w=100.0)
    _ride(rider, 6.0, 1.0)
    rider.target_rad_per_s = 0.0
    forces_n = _ride(rider, 6.0, 0.15)
    assert rider.crank_rad_per_s == 0.0
    assert forces_n[-1] == 0.0
    stopped_at_rad = rider.crank_rad
    assert _ride(rider, 6.0, 1.0) == [0.0] * 200
    assert rider.crank_rad == stopped_at_rad


def test_legs_that_stop_from_80_rpm_turn_on_by_about_34_degrees():
    # v^2 / 2a = 8.4^2 / 120 = 0.588 rad.
    rider = _rider(FOLLOW, target=8.4)
    _ride(rider, 6.0, 1.0)
    start_rad = rider.crank_rad
    rider.target_rad_per_s = 0.0
    _ride(rider, 6.0, 0.5)
    assert rider.crank_rad - start_rad == pytest.approx(0.588, abs=0.025)


@pytest.mark.parametrize("mode", [FOLLOW, HOLD, EFFORT, RIDDEN])
def test_backward_pedalling_turns_the_crank_back_and_pushes_nothing(mode):
    rider = _rider(mode, target=-5.0, power_w=100.0)
    assert set(_ride(rider, 4.0, 1.0)) == {0.0}
    assert rider.crank_rad_per_s == pytest.approx(-5.0)
    assert rider.crank_rad == pytest.approx(-4.8, abs=0.05)


@pytest.mark.parametrize("mode", [FOLLOW, RIDDEN])
@pytest.mark.parametrize("ripple", [0.0, 0.1, 0.4])
def test_a_recording_is_followed_turn_by_turn_with_or_without_ripple(ripple, mode):
    rider = _rider(mode, target=TURN_RAD, power_w=100.0, cadence_ripple=ripple)
    _ride(rider, 5.0, 1.0)
    start_rad = rider.crank_rad
    _ride(rider, 5.0, 10.0)
    # The swing within a turn may end the tenth one a little early or late.
    assert (rider.crank_rad - start_rad) / TURN_RAD == pytest.approx(10.0, abs=0.005)


def test_ripple_swings_the_crank_speed_by_its_share():
    rider = _rider(FOLLOW, target=TURN_RAD, cadence_ripple=0.1)
    _ride(rider, 5.0, 1.0)
    speeds = []
    for _ in range(400):
        rider.step(5.0, 0.005)
        speeds.append(rider.crank_rad_per_s)
    assert max(speeds) / min(speeds) == pytest.approx(1.1 / 0.9, abs=0.001)


def test_the_crank_is_fastest_an_eighth_of_a_turn_after_the_torque_peak():
    # Speed is the integral of torque: torque peaks at 90 degrees, speed where it has fallen to the mean, 135.
    rider = _rider(FOLLOW, target=1.0, power_w=50.0, cadence_ripple=0.1)
    _ride(rider, 5.0, 1.0)
    turned = []
    for _ in range(7000):  # more than a turn
        force_n = rider.step(5.0, 0.001)
        turned.append((rider.crank_rad, force_n, rider.crank_rad_per_s))
    strongest_rad = max(turned, key=lambda moment: moment[1])[0]
    fastest_rad = max(turned, key=lambda moment: moment[2])[0]
    assert (fastest_rad - strongest_rad) % (0.5 * TURN_RAD) == pytest.approx(TURN_RAD / 8.0, abs=0.02)


@pytest.mark.parametrize("mode", [FOLLOW, RIDDEN])
def test_a_recorded_power_reaches_the_rim_less_the_chain_loss(mode):
    rider = _rider(mode, target=TURN_RAD, power_w=100.0)
    _ride(rider, 5.0, 1.0)
    forces_n = _ride(rider, 5.0, 4.0)
    assert sum(forces_n) / len(forces_n) == pytest.approx(19.0, abs=0.05)  # 100 W * 0.95 / 5 m/s


def test_a_recorded_power_at_standstill_pushes_no_more_than_its_torque_in_the_lowest_gear():
    # 100 W at 1 turn/s is 15.915 N m; times 1.743 at the peak, 0.95 and 2 pi / 2 m: 82.79 N.
    rider = _rider(FOLLOW, target=TURN_RAD, power_w=100.0)
    assert max(_ride(rider, 0.0, 4.0)[200:]) == pytest.approx(82.8, abs=0.1)


def test_a_recorded_crank_that_the_road_holds_back_stalls_and_pushes():
    rider = _rider(RIDDEN, target=TURN_RAD, power_w=100.0, cadence_ripple=0.1)
    forces_n = _ride(rider, 0.0, 1.0)
    assert (rider.crank_rad, rider.crank_rad_per_s) == (0.0, 0.0)
    # 45 degrees past the dead centre the torque is the mean: 60 N m * 0.95 * 2 pi / 2 m.
    assert min(forces_n) == max(forces_n) == pytest.approx(179.1, abs=0.1)
    _ride(rider, 0.03, 10.0)
    assert rider.crank_rad_per_s <= 0.03 * TURN_RAD / 2.0  # 0.9 rpm, not 60.


def test_in_the_highest_gear_a_recorded_push_turns_the_crank_as_fast_as_the_wheel():
    # 10 m/s in 7 m are 1.43 turns a second; without power the legs keep their cadence.
    rider = _rider(RIDDEN, target=TURN_RAD, power_w=100.0)
    forces_n = _ride(rider, 10.0, 2.0)
    assert rider.crank_rad_per_s == pytest.approx(TURN_RAD * 10.0 / 7.0)
    assert min(forces_n[100:]) > 0.0
    rider.power_w = 0.0
    assert set(_ride(rider, 10.0, 1.0)) == {0.0}
    assert rider.crank_rad_per_s == pytest.approx(TURN_RAD)


def test_a_recorded_rider_hangs_slack_where_the_wheel_is_faster_than_any_legs():
    rider = _rider(RIDDEN, target=TURN_RAD, power_w=100.0)
    assert set(_ride(rider, 18.0, 1.0)) == {0.0}  # 154 rpm in the highest gear.
    assert rider.crank_rad_per_s == pytest.approx(TURN_RAD)


def test_a_standing_crank_may_rock_to_and_fro_without_pushing():
    rider = _rider(FOLLOW)
    for _ in range(10):
        rider.target_rad_per_s = 2.0
        _ride(rider, 0.0, 0.1)
        rider.target_rad_per_s = -2.0
        assert set(_ride(rider, 0.0, 0.1)) == {0.0}
    assert abs(rider.crank_rad) < 0.2


def test_a_rider_who_holds_a_cadence_pushes_with_all_strength_while_the_wheel_is_too_slow():
    # 1 m/s in 4 m is 1.57 rad/s, far below 6: 60 N m * 1.743 * 0.95 * 2 pi / 4 m = 156.1 N at the peak.
    rider = _rider(HOLD, target=6.0, development_m=4.0)
    forces_n = _ride(rider, 1.0, 8.0)
    assert max(forces_n) == pytest.approx(156.1, abs=0.2)
    assert min(forces_n[100:]) == pytest.approx(156.1 * 0.257 / 1.743, abs=0.2)
    assert rider.crank_rad_per_s == pytest.approx(1.5708, abs=1e-4)


def test_a_wheel_that_outruns_the_legs_leaves_them_turning_slack_at_their_cadence():
    rider = _rider(HOLD, target=6.0, development_m=4.0)
    assert set(_ride(rider, 5.0, 2.0)) == {0.0}  # 5 m/s in a gear of 4 m would be 7.85 rad/s.
    assert rider.crank_rad_per_s == pytest.approx(6.0)
    assert rider.delivered_power_w == 0.0


@pytest.mark.parametrize("mode", [HOLD, EFFORT])
def test_at_standstill_the_wheel_holds_the_crank_that_pushes(mode):
    rider = _rider(mode, target=6.0, power_w=100.0, development_m=4.0)
    forces_n = _ride(rider, 0.0, 1.0)
    assert rider.crank_rad == 0.0
    assert min(forces_n) > 50.0


def test_a_braked_wheel_takes_the_crank_down_with_it():
    rider = _rider(EFFORT, power_w=100.0, development_m=4.0)
    _ride(rider, 5.0, 1.0)
    rider.step(1.0, 0.005)
    assert rider.crank_rad_per_s == pytest.approx(1.5708, abs=1e-4)


def test_an_effort_gives_its_power_and_takes_the_cadence_the_wheel_makes():
    rider = _rider(EFFORT, power_w=120.0, development_m=5.0)
    _ride(rider, 5.0, 1.0)
    forces_n = _ride(rider, 5.0, 4.0)
    assert rider.crank_rad_per_s == pytest.approx(TURN_RAD, abs=1e-9)
    assert sum(forces_n) / len(forces_n) == pytest.approx(22.8, abs=0.05)  # 120 W * 0.95 / 5 m/s


def test_an_effort_without_power_rests_the_legs():
    rider = _rider(EFFORT, power_w=120.0, development_m=5.0)
    _ride(rider, 5.0, 1.0)
    rider.power_w = 0.0
    _ride(rider, 5.0, 0.2)
    assert (rider.crank_rad_per_s, rider.step(5.0, 0.005)) == (0.0, 0.0)


def test_no_legs_follow_a_wheel_beyond_150_rpm():
    rider = _rider(EFFORT, power_w=120.0, development_m=2.0)
    assert set(_ride(rider, 10.0, 2.0)) == {0.0}  # 300 rpm
    assert rider.crank_rad_per_s == pytest.approx(15.708, abs=0.001)


@pytest.mark.parametrize(
    ("speed_m_per_s", "crank_rad_per_s"), [(1.0, 3.1416), (4.0, 6.0), (6.0, 6.0), (6.68, 6.0)]
)
def test_the_automatic_gear_brings_the_wheel_to_the_target_within_low_and_high(
    speed_m_per_s, crank_rad_per_s
):
    rider = _rider(EFFORT, target=6.0, power_w=100.0)
    assert _ride(rider, speed_m_per_s, 2.0)[-1] > 0.0
    assert rider.crank_rad_per_s == pytest.approx(crank_rad_per_s, abs=1e-4)


def test_holding_a_cadence_in_the_automatic_gear_pushes_with_the_given_power():
    rider = _rider(HOLD, target=TURN_RAD, power_w=100.0)
    _ride(rider, 5.0, 1.0)
    forces_n = _ride(rider, 5.0, 4.0)
    assert sum(forces_n) / len(forces_n) == pytest.approx(19.0, abs=0.05)


def test_after_a_stop_on_a_dead_centre_the_next_push_starts_where_a_pedal_can_be_pushed():
    rider = _rider(HOLD, target=6.0, development_m=4.0)
    _ride(rider, 4.0, 0.613)
    rider.target_rad_per_s = 0.0
    _ride(rider, 0.0, 1.0)
    rider.target_rad_per_s = 6.0
    # 45 degrees past the dead centre the torque is its mean: 60 N m * 0.95 * 2 pi / 4 m = 89.5 N.
    assert rider.step(0.0, 0.005) == pytest.approx(89.5, abs=0.1)


# The gear that would hold this cadence is a last digit too low for it.
@example(mode=HOLD, course=[(7.091232210488824e-111, 0.0, 3.5724850395592916e-110, 0.0)])
@given(
    mode=st.sampled_from([FOLLOW, HOLD, EFFORT, RIDDEN]),
    course=st.lists(
        st.tuples(
            # Numbers below 1e-308 keep too few digits to divide by, and mean no speed of anything.
            st.floats(-15.0, 15.0, allow_subnormal=False),
            st.floats(0.0, 800.0),
            st.floats(0.0, 15.0, allow_subnormal=False),
            st.sampled_from([0.0, 4.0]),
        ),
        min_size=1,
        max_size=10,
    ),
)
# The wheel is ahead of the legs by less than counts as ahead.
@example(mode=HOLD, course=[(7.6e-187, 0.0, 7.6e-187, 4.0)])
def test_whatever_the_ride_asks_the_force_is_never_negative_nor_above_the_strength(mode, course):
    rider = _rider(mode)
    # 60 N m * 1.743 * 0.95 * 2 pi / 2 m = 312.1 N in the lowest gear.
    for target, power_w, speed_m_per_s, development_m in course:
        rider.target_rad_per_s, rider.power_w, rider.development_m = target, power_w, development_m
        assert all(0.0 <= force_n <= 312.2 for force_n in _ride(rider, speed_m_per_s, 0.1))
        assert rider.delivered_power_w <= 105.0 * 25.0  # peak torque at more than any leg speed


@pytest.mark.parametrize(
    ("name", "value", "allowed"),
    [
        ("strength_nm", 4.9, "5 to 500 N m"),
        ("dead_centre_share", 1.1, "0 to 1"),
        ("cadence_ripple", 0.51, "0 to 0.5"),
        ("development_low_m", 0.2, "0.3 to 20 m"),
        ("development_high_m", 20.1, "0.3 to 20 m"),
        ("chain_efficiency", 0.4, "0.5 to 1"),
        ("development_high_m", 1.9, r"2 \(the low one\) to 20 m"),
    ],
)
def test_a_value_out_of_range_is_refused_by_name(name, value, allowed):
    with pytest.raises(ValueError, match=rf"^{name} must be {allowed}, got {value}$"):
        Rider(**{**GOOD, name: value})
