"""No single wrong reading gives more than was allowed: true watts and true speed, on a roller.

The cargo trike has a motor controller of the torque kind and may draw 250 W, the tandem one of the speed kind
and may draw 500 W. Before the firmware knew its motor a dead shunt gave 586 W on the one and 1000 W on the
other, and a wheel sensor that lost every second pulse drove for as long as the rider pedalled.
"""

from math import inf

import pytest

from tests.ride.judging import JudgedRide, bike_with, cutoff_km_per_h

BIKES = ("cargo_trike", "tandem")
SPEEDS_KM_PER_H = (8, 16, 22)
DEAD = {"name": "shunt reading dead"}
STUCK_IDLE = {"name": "shunt reading fixed", "amps": 0.72}
HALF_READING = {"name": "shunt reading gain", "percent": 50}
UNPLUGGED = {"name": "motor controller unplugged"}
HALF_PULSES = {"name": "wheel pulses", "percent": 50}
NO_PULSES = {"name": "wheel sensor lost"}

SILENT = "no current although the motor must draw some: motor unplugged or shunt dead"
DEAD_SHUNT = "shunt dead: the battery voltage falls but no current is read"
SLOW_WHEEL = "the motor turns faster than the wheel sensor shows: wheel pulses missing"


@pytest.mark.parametrize("km_per_h", SPEEDS_KM_PER_H)
@pytest.mark.parametrize(("name", "cause"), [("cargo_trike", SILENT), ("tandem", DEAD_SHUNT)])
@pytest.mark.parametrize("fault", [DEAD, STUCK_IDLE], ids=["dead", "stuck at 720 mA"])
def test_a_shunt_without_a_reading_from_the_start_is_latched_and_gives_nothing_too_much(
    fault, name, cause, km_per_h
):
    ride = JudgedRide(bike_with(name), km_per_h, 9, fault)
    assert ride.truth.peak_power_w <= 1.1 * ride.limit_w
    assert ride.truth.over_power_j == 0.0
    assert ride.latched_after_s <= 2.5
    assert ride.cause == cause


@pytest.mark.parametrize("km_per_h", SPEEDS_KM_PER_H)
@pytest.mark.parametrize("name", BIKES)
@pytest.mark.parametrize("fault", [DEAD, STUCK_IDLE], ids=["dead", "stuck at 720 mA"])
def test_a_shunt_that_dies_in_mid_ride_ends_help_within_a_tenth_of_a_second(fault, name, km_per_h):
    ride = JudgedRide(bike_with(name), km_per_h, 13, fault, fault_from_s=8)
    assert ride.truth.driven_s > 3.0  # It did help before.
    assert ride.cut_after_s <= 0.1
    assert ride.latched_after_s <= 4.0
    assert ride.truth.over_power_j == 0.0


@pytest.mark.parametrize("name", BIKES)
def test_half_of_the_wheel_pulses_drive_above_the_cut_off_for_5_s_and_700_j_at_most(name):
    bike = bike_with(name)
    ride = JudgedRide(bike, cutoff_km_per_h(bike) + 3, 25, HALF_PULSES)
    assert ride.truth.over_speed_s <= 5.0
    assert ride.truth.over_speed_j <= 700.0
    assert ride.truth.over_power_j == 0.0
    assert ride.cause == SLOW_WHEEL
    assert ride.latched_after_s <= 6.0


@pytest.mark.parametrize("name", BIKES)
def test_a_wheel_that_loses_half_of_its_pulses_in_mid_ride_and_gets_faster_drives_no_longer(name):
    bike = bike_with(name)
    faster_km_per_h = cutoff_km_per_h(bike) + 3
    faster = [{"at_s": 8.5, "over_s": 2, "roller_km_per_h": faster_km_per_h}]
    ride = JudgedRide(bike, cutoff_km_per_h(bike) - 5, 25, HALF_PULSES, fault_from_s=8, then=faster)
    assert ride.truth.driven_s > 3.0
    assert ride.truth.over_speed_s <= 5.0
    assert ride.truth.over_speed_j <= 700.0
    assert ride.cause == SLOW_WHEEL


@pytest.mark.parametrize("name", BIKES)
@pytest.mark.parametrize("lost_from_s", [2, 8], ids=["coasting", "pedalling"])
def test_a_wheel_sensor_that_is_lost_above_the_cut_off_never_drives_there(lost_from_s, name):
    bike = bike_with(name)
    ride = JudgedRide(bike, cutoff_km_per_h(bike) + 3, 20, NO_PULSES, fault_from_s=lost_from_s)
    assert ride.truth.over_speed_s == 0.0
    assert ride.truth.driven_s == 0.0
    assert ride.engaged_s < inf  # The pedals did turn.


@pytest.mark.parametrize("name", BIKES)
def test_a_wheel_sensor_that_is_lost_while_driving_ends_help_within_a_second(name):
    ride = JudgedRide(bike_with(name), 20, 14, NO_PULSES, fault_from_s=8)
    assert ride.truth.driven_s > 3.0
    assert ride.cut_after_s <= 1.0
    assert ride.truth.driven_s <= 6.0


@pytest.mark.parametrize("km_per_h", SPEEDS_KM_PER_H)
@pytest.mark.parametrize("name", BIKES)
@pytest.mark.parametrize("from_s", [0, 8], ids=["from the start", "in mid-ride"])
def test_a_motor_controller_without_its_plug_is_latched_within_5_s(from_s, name, km_per_h):
    ride = JudgedRide(bike_with(name), km_per_h, 15, UNPLUGGED, fault_from_s=from_s)
    assert ride.latched_after_s <= 5.0
    assert ride.cause == SILENT


@pytest.mark.parametrize("km_per_h", SPEEDS_KM_PER_H)
@pytest.mark.parametrize("from_s", [0, 8], ids=["from the start", "in mid-ride"])
def test_on_the_torque_kind_a_shunt_that_reads_half_gives_half_as_much_again_at_most(from_s, km_per_h):
    ride = JudgedRide(bike_with("cargo_trike"), km_per_h, 20, HALF_READING, fault_from_s=from_s)
    assert ride.truth.peak_power_w <= 1.5 * ride.limit_w


@pytest.mark.parametrize("km_per_h", [5, *SPEEDS_KM_PER_H])
@pytest.mark.parametrize("name", BIKES)
def test_a_healthy_bicycle_is_under_no_suspicion_and_helps_all_the_time(name, km_per_h):
    ride = JudgedRide(bike_with(name), km_per_h, 15)
    assert ride.cause == "none"
    assert ride.cut_after_s == inf
    assert ride.truth.driven_s >= 10.0
