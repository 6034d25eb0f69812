"""The effect of each fault of a ride, and that pedalling clears none.

A hazardous malfunction switches power off until somebody intervenes, and pedalling does not count as that:
EN 15194 4.2.1, 4.2.2 and 4.2.13.1 g, by the parallel text TBIS 15194:2019.
"""

import pytest

from tests.ride.riding import Ridden, bike_with, course, example

LATCHES = {
    '{ name = "throttle wire open" }': "throttle wire open",
    '{ name = "throttle wire shorted" }': "throttle wire shorted to its supply",
    '{ name = "selector wire open" }': "selector wire open",
    '{ name = "selector wire shorted" }': "selector wire shorted to its supply",
    '{ name = "battery wire open" }': "battery voltage reading out of range",
    '{ name = "wheel sensor lost" }': "no wheel pulses while driving",
    '{ name = "noise", per_s = 300 }': "noise on the pedal sensor",
    '{ name = "bounce" }': "noise on the pedal sensor",
    '{ name = "channel dead", channel = "B" }': "one channel of the pedal sensor is dead",
    '{ name = "channel dead", channel = "A" }': "one channel of the pedal sensor is dead",
    '{ name = "channel stuck high", channel = "A" }': "one channel of the pedal sensor is dead",
    '{ name = "channel stuck low", channel = "B" }': "one channel of the pedal sensor is dead",
}


def _ride_with(tmp_path, fault, *more, name="cargo_trike"):
    script = course(
        tmp_path,
        30,
        "at_s = 0; cadence_rpm = 0",
        "at_s = 3; cadence_rpm = 60",
        f"at_s = 10; fault = [{fault}]",
        "at_s = 20; fault = []",
        *more,
    )
    return Ridden(bike_with(name), script)


@pytest.mark.parametrize(("fault", "cause"), LATCHES.items())
def test_a_fault_latches_with_its_cause_and_pedalling_does_not_clear_it(tmp_path, fault, cause):
    ridden = _ride_with(tmp_path, fault)
    assert ridden.drove(9, 10)
    assert ridden.meter.faults == [cause]
    assert not ridden.commanded(17, 30)


def test_switching_off_and_on_clears_a_fault_that_has_gone(tmp_path):
    ridden = _ride_with(
        tmp_path,
        '{ name = "throttle wire open" }',
        "at_s = 21; cadence_rpm = 0; power_switch = false",
        "at_s = 22; power_switch = true",
        "at_s = 25; cadence_rpm = 60",
    )
    assert not ridden.commanded(11, 25)
    assert ridden.drove(26, 30)
    assert ridden.bench.restarts == 1


def test_swapped_channels_take_pedalling_for_backward_and_give_nothing(tmp_path):
    ridden = _ride_with(tmp_path, '{ name = "channels swapped" }')
    assert not ridden.commanded(10.2, 20)
    assert ridden.drove(21, 30)


@pytest.mark.parametrize(
    "fault",
    [
        '{ name = "magnet missing", magnet = 2 }',
        '{ name = "shunt reading stuck" }',
        '{ name = "throttle stuck" }',
        '{ name = "loop stalls", stall_ms = 30 }',
    ],
)
def test_what_can_be_ridden_with_is_ridden_with(tmp_path, fault):
    ridden = _ride_with(tmp_path, fault)
    assert ridden.meter.faults == []
    assert ridden.drove(12, 20)
    assert ridden.drove(21, 30)


def test_one_weak_magnet_lets_help_come_and_go_once_a_turn(tmp_path):
    ridden = _ride_with(tmp_path, '{ name = "magnet weak", magnet = 2, strength = 0.4 }')
    # 60 rpm for 10 s: at most once a turn. Whole magnets give one engagement in all.
    assert 1 <= ridden.meter.engagements <= 11


def test_a_throttle_that_sticks_open_drives_on_but_the_brake_ends_it(tmp_path):
    script = course(
        tmp_path,
        20,
        "at_s = 0; cadence_rpm = 0",
        "at_s = 3; throttle_percent = 60",
        'at_s = 5; throttle_percent = 0; fault = [{ name = "throttle stuck" }]',
        "at_s = 10; brake = true",
    )
    ridden = Ridden(bike_with(place="private_ground"), script)
    assert ridden.drove(9, 10)
    assert not ridden.commanded(10.01, 20)


def test_a_shunt_that_reads_nothing_is_a_fault_and_never_makes_the_motor_overdraw(tmp_path):
    ridden = _ride_with(tmp_path, '{ name = "shunt reading dead" }')
    assert ridden.drove(9, 10)
    assert all(sample.current_ma == 0 for sample in ridden.during(11, 20))
    assert max(sample.power_w for sample in ridden.during(10, 30)) < 260.0
    assert len(ridden.meter.faults) == 1
    assert not ridden.commanded(15, 30)


def test_a_stuck_shunt_keeps_its_last_reading(tmp_path):
    ridden = _ride_with(tmp_path, '{ name = "shunt reading stuck" }')
    stuck_ma = [sample.current_ma for sample in ridden.during(13, 19.99)]
    alive_ma = [sample.current_ma for sample in ridden.during(23, 30)]
    assert max(stuck_ma) - min(stuck_ma) <= 5  # What is left is how the controller smooths it.
    assert max(alive_ma) - min(alive_ma) > 20


def test_the_course_of_the_broken_sensor_stays_off_until_all_is_well_again():
    ridden = Ridden(bike_with(), example("broken_sensor"))
    assert ridden.meter.faults == ["one channel of the pedal sensor is dead"]
    assert ridden.drove(10, 45)
    assert not ridden.commanded(55, 105.9)
    assert ridden.drove(107, 116)
    assert ridden.bench.restarts == 2
