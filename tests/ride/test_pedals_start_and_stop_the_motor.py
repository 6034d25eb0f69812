"""When the pedals start the motor and when they stop it, ridden on the example bikes.

"By the parallel text" below is TBIS 15194:2019, whose clause numbers follow those of EN 15194.
"""

import pytest

from tests.quick_first import quick_first
from tests.ride.riding import Ridden, bike_with, course, example, recorded

STANDING = "at_s = 0; cadence_rpm = 0"
ON_A_STAND = "at_s = 0; cadence_rpm = 0; crank_free = true"
EVEN_RING = {"uneven_deg": 0.0, "duty_percent": 50, "phase_deg": 90}


def test_a_crank_that_turns_at_power_up_gets_no_help_until_it_has_rested(tmp_path):
    # Two independent actions to start: EN 15194 4.2.13.1 f, by the parallel text.
    late = course(
        tmp_path,
        30,
        "at_s = 0; cadence_rpm = 60; power_switch = false",
        "at_s = 5; power_switch = true",
        "at_s = 15; cadence_rpm = 0",
        "at_s = 18; cadence_rpm = 60",
    )
    ridden = Ridden(bike_with(), late)
    assert not ridden.commanded(5, 18)
    assert ridden.drove(19, 30)
    assert 18.0 < ridden.meter.first_assist_s < 19.0


@pytest.mark.parametrize("name", ["cargo_trike", "tandem"])
def test_pedalling_forward_is_helped_and_pedalling_backward_is_not(tmp_path, name):
    # Assistance only while pedalling forward: EN 15194 4.2.13.1 a, by the parallel text.
    ridden = Ridden(bike_with(name, place="private_ground"), _both_ways(tmp_path))
    assert ridden.drove(3, 10)
    assert not ridden.commanded(15, 30)


@pytest.mark.parametrize(("name", "wrong_lead"), [("cargo_trike", 1), ("tandem", 0)])
def test_with_the_lead_set_wrong_only_pedalling_backward_is_helped(tmp_path, name, wrong_lead):
    # Common practice, no source.
    bike = bike_with(name, settings={"lead": wrong_lead}, place="private_ground")
    ridden = Ridden(bike, _both_ways(tmp_path))
    assert not ridden.commanded(0, 14.9)
    assert ridden.drove(15, 22)


def test_a_one_channel_sensor_cannot_tell_forward_from_backward(tmp_path):
    ridden = Ridden(bike_with("folding"), _both_ways(tmp_path))
    assert ridden.drove(3, 10)
    assert ridden.drove(15, 22)


def _both_ways(tmp_path):
    return course(
        tmp_path,
        30,
        ON_A_STAND,
        "at_s = 3; cadence_rpm = 60",
        "at_s = 10; cadence_rpm = 0",
        "at_s = 15; cadence_rpm = -60",
        "at_s = 22; cadence_rpm = 0",
    )


def test_more_magnets_answer_sooner_and_cut_sooner(tmp_path):
    # Common practice, no source.
    firsts = []
    run_ons = []
    for pulses in (6, 12, 24):
        ring = {**EVEN_RING, "pulses_per_rev": pulses}
        # Five edges whatever the ring: the same logic, more or fewer magnets.
        bike = bike_with(pedal_sensor=ring, settings={"engage_edges": 5})
        slow_then_still = course(
            tmp_path, 20, STANDING, "at_s = 3; cadence_rpm = 60", "at_s = 15; cadence_rpm = 0"
        )
        ridden = Ridden(bike, slow_then_still)
        firsts.append(ridden.meter.first_assist_s)
        run_ons.append(ridden.meter.longest_run_on_s)
    assert 3.0 < firsts[2] < firsts[1] < firsts[0] < 4.0
    assert 0.0 < run_ons[2] < run_ons[1] < run_ons[0] < 0.3


def test_a_lower_engage_cadence_starts_sooner_and_a_nudge_runs_on_for_longer(tmp_path):
    # Common practice, no source.
    firsts = []
    run_ons = []
    for engage_rpm in (8, 20, 40):
        bike = bike_with(settings={"engage_rpm": engage_rpm, "release_rpm": engage_rpm // 2})
        gently = course(tmp_path, 20, ON_A_STAND, "at_s = 3; over_s = 12; cadence_rpm = 60")
        firsts.append(Ridden(bike, gently).meter.first_assist_s)
        nudge = course(tmp_path, 8, ON_A_STAND, "at_s = 3; cadence_rpm = 30", "at_s = 4; cadence_rpm = 0")
        run_ons.append(Ridden(bike, nudge).meter.longest_run_on_s)
    assert firsts[0] + 1.0 < firsts[1] < firsts[2] - 1.0
    assert run_ons[0] > run_ons[1] + 0.05
    assert run_ons[1] > 0.1
    assert run_ons[2] == 0.0  # 30 rpm is no pedalling where 40 rpm is asked for.


def test_rocking_on_the_pedal_engages_nothing(tmp_path):
    to_and_fro = [
        f"at_s = {3 + 0.4 * turn:.1f}; cadence_rpm = {20 if turn % 2 else -20}" for turn in range(20)
    ]
    rocking = course(tmp_path, 15, ON_A_STAND, *to_and_fro, "at_s = 11; cadence_rpm = 0")
    ridden = Ridden(bike_with(), rocking)
    assert len(ridden.log.edges) > 60
    assert ridden.meter.engagements == 0
    assert not ridden.commanded(0, 15)


@pytest.mark.parametrize(("name", "speed_km_per_h"), [("cargo_trike", 22), ("tandem", 29), ("folding", 22)])
def test_help_ends_within_two_metres_of_the_stop_at_speed(tmp_path, name, speed_km_per_h):
    # 2 m: EN 15194 4.2.13.1 b, by the parallel text.
    coasting = course(
        tmp_path, 60, STANDING, "at_s = 3; cadence_rpm = 70; effort_w = 60", "at_s = 45; cadence_rpm = 0"
    )
    ridden = Ridden(bike_with(name), coasting)
    assert ridden.during(44.9, 45)[0].speed_km_per_h > speed_km_per_h
    assert ridden.drove(44, 45)
    assert 0.0 < ridden.meter.longest_cutoff_distance_m <= 2.0
    assert not ridden.drove(45.6, 60)


@pytest.mark.parametrize(
    ("name", "highest_km_per_h"), [("cargo_trike", 27.5), ("tandem", 35.2), ("folding", 27.5)]
)
def test_on_the_flat_nothing_is_driven_past_the_cut_off_speed(tmp_path, name, highest_km_per_h):
    # The cut-off speed and 10 % more: EN 15194 4.2.11.1, by the parallel text TBIS 15194:2019; that it also
    # bounds the tandem's 32 km/h (B.C. Reg. 151/2002) is this project's choice.
    strong = course(tmp_path, 70, STANDING, "at_s = 3; cadence_rpm = 90; effort_w = 500")
    ridden = Ridden(bike_with(name), strong)
    driven = [sample.speed_km_per_h for sample in ridden.samples if sample.driving]
    assert 20.0 < max(driven) <= highest_km_per_h
    assert ridden.samples[-1].speed_km_per_h > highest_km_per_h / 1.1
    assert not ridden.drove(65, 70)


def test_the_brake_ends_help_while_the_legs_still_turn(tmp_path):
    # The motor must let go when the brake is applied: B.C. Reg. 151/2002 s. 3.
    braking = course(tmp_path, 20, STANDING, "at_s = 3; cadence_rpm = 60", "at_s = 15; brake = true")
    ridden = Ridden(bike_with(), braking)
    assert ridden.drove(14, 15)
    assert not ridden.commanded(15.01, 20)
    assert ridden.last_driven_s(14, 20) < 15.2


@pytest.mark.parametrize("name", quick_first(1, ["road_ride_a", "road_ride_b"]))
@pytest.mark.parametrize("bike", ["cargo_trike", "tandem", "folding"])
def test_the_start_of_a_recorded_ride_is_helped_without_a_fault(name, bike):
    ridden = Ridden(bike_with(bike), recorded(name), 60)
    assert ridden.meter.faults == []
    assert ridden.meter.engagements >= 1
    assert ridden.meter.first_assist_s > 3.0  # The bicycle stands for three seconds first.
    assert ridden.meter.longest_cutoff_distance_m <= 2.0


@pytest.mark.parametrize("name", quick_first(1, ["errand", "hill", "selector_tour"]))
def test_an_ordinary_course_brings_no_fault(name):
    ridden = Ridden(bike_with(), example(name), 100)
    assert ridden.meter.faults == []
    assert ridden.meter.engagements >= 1


def test_the_course_of_thresholds_helps_the_trike_only_when_it_should():
    ridden = Ridden(bike_with(), example("thresholds"))
    assert not ridden.commanded(10, 26)  # Rocking, then 10 rpm.
    assert ridden.drove(40, 66)
    assert not ridden.drove(131, 143.9)  # A stop, then backward.
    assert ridden.drove(146, 157)
    assert not ridden.drove(159, 170)


def test_the_first_step_after_power_up_drives_nothing(tmp_path):
    turning = course(
        tmp_path, 10, "at_s = 0; cadence_rpm = 60; power_switch = false", "at_s = 5; power_switch = true"
    )
    ridden = Ridden(bike_with(), turning)
    first = ridden.samples[0]
    assert (first.time_s, first.command_mv, first.state) == (5.0, 0, "waiting")
    assert first.crank_rpm == pytest.approx(60.0, abs=1.0)
