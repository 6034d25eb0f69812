"""The last gate by itself: raw edges and inputs in, a command let through or not.

Defaults: a 2100 mm wheel with one pulse, so 25 km/h (6944 mm/s) is a turn in 302.41 ms and 6 km/h
(1666 mm/s) one in 1.2605 s; 12 pulses at 12 rpm are 416.67 ms, and the gate waits 15 ms more.
"""

import pytest

from firmware.guard.output_guard import OutputGuard
from firmware.records import Inputs
from host_sim.rig.rig import BEFORE_WRAP_US, FULL_MV, REST_MV, WRAP_US
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

FORWARD = (1, 3, 2, 0)
ASKED_MV = 2_000


class Gate:
    """A guard with time, edges and inputs by hand."""

    def __init__(self, start_us: int = BEFORE_WRAP_US, **settings: int):
        self.now_us = start_us
        self.guard = OutputGuard(settings_with(**settings), SmallInt(start_us))
        self.inputs = Inputs()
        self.inputs.brake_pulled = False
        self.inputs.throttle_mv = SmallInt(REST_MV)
        self.place = 0
        self.age_us = 0

    def wait(self, span_us: int) -> "Gate":
        self.now_us = (self.now_us + span_us) % WRAP_US
        return self

    def turn(self, edges: int, span_us: int = 10_000, ring: tuple = FORWARD) -> "Gate":
        for _ in range(abs(edges)):
            self.wait(span_us)
            self.place += 1 if edges > 0 else -1
            self.guard.crank_edge(SmallInt(ring[self.place % len(ring)]), SmallInt(self.now_us))
        return self

    def wheel(self, pulses: int, period_us: int) -> "Gate":
        for _ in range(pulses):
            self.wait(period_us)
            self.guard.wheel_edge(SmallInt(1), SmallInt(self.now_us))
            self.guard.wheel_edge(SmallInt(0), SmallInt(self.now_us))
        return self

    def permit(self, command_mv: int = ASKED_MV) -> int:
        self.inputs.sampled_us = SmallInt((self.now_us - self.age_us) % WRAP_US)
        return self.guard.permit(SmallInt(command_mv), self.inputs, SmallInt(self.now_us))


def pedalled(**settings: int) -> Gate:
    return Gate(**settings).turn(6)


def test_a_crank_that_turns_forward_lets_a_command_through():
    assert pedalled().permit() == ASKED_MV


def test_nothing_passes_before_anything_turned():
    assert Gate().permit() == 0


@pytest.mark.parametrize(
    ("command_mv", "permitted_mv"),
    [(-1, 0), (0, 0), (1, 1), (3_599, 3_599), (3_600, 3_600), (3_601, 3_600), (9_999, 3_600)],
)
def test_the_range_of_the_command_is_0_to_the_highest(command_mv, permitted_mv):
    assert pedalled().permit(command_mv) == permitted_mv


def test_the_brake_ends_everything_at_once():
    gate = pedalled()
    gate.inputs.brake_pulled = True
    assert gate.permit() == 0
    gate.inputs.brake_pulled = False
    assert gate.permit() == ASKED_MV


@pytest.mark.parametrize(
    ("age_us", "permitted_mv"), [(-1, 0), (0, ASKED_MV), (50_000, ASKED_MV), (50_001, 0)]
)
def test_inputs_older_than_50_ms_or_from_the_future_are_not_believed(age_us, permitted_mv):
    gate = pedalled()
    gate.age_us = age_us
    assert gate.permit() == permitted_mv


# The crank.


def test_no_forward_edge_for_the_release_pitch_and_15_ms_ends_the_drive_for_good():
    gate = pedalled()
    assert gate.wait(431_666).permit() == ASKED_MV
    assert gate.wait(1).permit() == 0
    gate.now_us -= 400_000  # As after a whole wrap: the latch does not look back.
    assert gate.permit() == 0
    assert gate.turn(1).permit() == ASKED_MV


def test_backward_edges_end_the_drive_and_have_to_be_made_up():
    gate = pedalled()
    assert gate.turn(-1).permit() == ASKED_MV
    assert gate.turn(-1).permit() == 0
    assert gate.turn(1).permit() == ASKED_MV
    gate.turn(-30)
    assert gate.permit() == 0
    assert gate.turn(2).permit() == 0
    assert gate.turn(1).permit() == ASKED_MV


def test_forward_edges_over_ground_gone_back_do_not_keep_the_drive_alive():
    gate = pedalled()
    for _ in range(22):
        gate.turn(-1).turn(1)
    assert gate.permit() == 0


def test_a_crank_that_only_goes_backward_lets_nothing_through():
    gate = Gate().turn(-40)
    assert gate.permit() == 0


@pytest.mark.parametrize("edges", [1, 4])
def test_after_a_rest_nothing_has_to_be_made_up(edges):
    for wait_us, permitted_mv in ((431_667, ASKED_MV), (431_666, 0)):
        gate = pedalled()
        gate.turn(-edges).permit()
        gate.wait(wait_us).permit()
        assert gate.turn(1).permit() == permitted_mv


def test_turned_round_the_part_counts_the_other_way():
    assert Gate(lead=1).turn(6).permit() == 0
    assert Gate(lead=1).turn(-6).permit() == ASKED_MV


def test_a_double_change_is_neither_forward_nor_backward():
    gate = Gate()
    for levels in (3, 0, 3, 0, 3):
        gate.wait(10_000).guard.crank_edge(SmallInt(levels), SmallInt(gate.now_us))
    assert gate.permit() == 0
    gate = pedalled()
    gate.guard.crank_edge(SmallInt(FORWARD[gate.place % 4] ^ 3), SmallInt(gate.now_us))
    assert gate.permit() == ASKED_MV


@pytest.mark.parametrize(("lead", "edges"), [(0, 6), (1, -6)])
def test_levels_that_are_told_twice_are_no_edge_and_no_debt(lead, edges):
    gate = Gate(lead=lead, backward_edges=2).turn(edges)
    for _ in range(4):
        gate.wait(1_000).guard.crank_edge(SmallInt(FORWARD[gate.place % 4]), SmallInt(gate.now_us))
    assert gate.permit() == ASKED_MV


@pytest.mark.parametrize(("lead", "level"), [(0, 1), (1, 2)])
def test_one_channel_knows_forward_only_whichever_wire_it_is_on(lead, level):
    gate = Gate(sensor_kind=1, lead=lead)
    gate.turn(3, ring=(level, 0))
    assert gate.permit() == ASKED_MV
    gate.turn(-9, ring=(level, 0))
    assert gate.permit() == ASKED_MV


def coded(gate: Gate, high_us: int, low_us: int) -> Gate:
    gate.wait(high_us).guard.crank_edge(SmallInt(0), SmallInt(gate.now_us))
    gate.wait(low_us).guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
    return gate


@pytest.mark.parametrize(
    ("forward_duty_high", "high_us", "low_us", "permitted_mv"),
    [
        (1, 28_000, 12_000, ASKED_MV),
        (1, 12_000, 28_000, 0),
        (0, 28_000, 12_000, 0),
        (0, 12_000, 28_000, ASKED_MV),
        (1, 22_500, 17_500, 0),  # Within an eighth of a pitch of one half: no evidence.
        (1, 22_501, 17_499, ASKED_MV),
    ],
)
def test_a_duty_coded_pitch_tells_the_direction(forward_duty_high, high_us, low_us, permitted_mv):
    gate = Gate(sensor_kind=2, forward_duty_high=forward_duty_high)
    gate.guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
    assert gate.permit() == 0  # The first rise ends no pitch.
    assert coded(gate, high_us, low_us).permit() == permitted_mv


@pytest.mark.parametrize(
    ("high_us", "low_us", "permitted_mv"), [(28_000, 12_000, ASKED_MV), (12_000, 28_000, 0)]
)
def test_a_duty_coded_pitch_on_wire_b_tells_the_direction_whatever_wire_a_does(high_us, low_us, permitted_mv):
    gate = Gate(sensor_kind=2, lead=1)
    gate.guard.crank_edge(SmallInt(2), SmallInt(gate.now_us))
    gate.wait(high_us).guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
    gate.wait(low_us).guard.crank_edge(SmallInt(3), SmallInt(gate.now_us))
    assert gate.permit() == permitted_mv


@pytest.mark.parametrize("forward_duty_high", [0, 1])
def test_a_fall_before_the_first_rise_is_no_part_of_a_pitch(forward_duty_high):
    high_us, low_us = (28_000, 12_000) if forward_duty_high else (12_000, 28_000)
    gate = coded(Gate(sensor_kind=2, forward_duty_high=forward_duty_high), high_us, low_us)
    assert gate.permit() == 0
    assert coded(gate, high_us, low_us).permit() == ASKED_MV


def test_going_backward_on_a_coded_ring_ends_the_drive_until_it_is_made_up():
    gate = Gate(sensor_kind=2)
    gate.guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
    coded(gate, 28_000, 12_000)
    assert coded(gate, 20_000, 20_000).permit() == ASKED_MV
    assert coded(gate, 12_000, 28_000).permit() == 0
    for _ in range(5):
        coded(gate, 12_000, 28_000)
    assert coded(gate, 28_000, 12_000).permit() == 0
    assert coded(gate, 28_000, 12_000).permit() == ASKED_MV


def test_one_coded_pitch_backward_is_made_up_by_one_forward_and_the_next_gains_ground():
    gate = Gate(sensor_kind=2)  # 12 pulses, released below 12 rpm: the longest gap is 416.7 and 15 ms.
    gate.guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
    coded(gate, 28_000, 12_000)
    coded(gate, 12_000, 28_000)
    coded(gate, 28_000, 12_000)
    coded(gate, 28_000, 12_000)
    # 360 ms after the last edge, 480 ms after the first forward pitch.
    assert gate.wait(360_000).permit() == ASKED_MV


def test_a_coded_ring_judges_no_pitch_across_a_rest():
    for forward_duty_high in (0, 1):
        gate = Gate(sensor_kind=2, forward_duty_high=forward_duty_high)
        gate.guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
        forward = (28_000, 12_000) if forward_duty_high else (12_000, 28_000)
        assert coded(gate, *forward).permit() == ASKED_MV
        assert gate.wait(500_000).permit() == 0
        gate.guard.crank_edge(SmallInt(0), SmallInt(gate.now_us))
        gate.wait(20_000).guard.crank_edge(SmallInt(1), SmallInt(gate.now_us))
        assert gate.permit() == 0
        assert coded(gate, *forward).permit() == ASKED_MV


# The wheel.


@pytest.mark.parametrize(
    ("period_us", "permitted_mv"), [(302_390, 0), (302_399, 0), (302_410, ASKED_MV), (400_000, ASKED_MV)]
)
def test_above_the_cut_off_speed_nothing_passes(period_us, permitted_mv):
    gate = Gate().wheel(3, period_us)
    gate.turn(2, 1_000)
    assert gate.permit() == permitted_mv


def test_the_speed_falls_with_the_wait_for_the_next_pulse():
    gate = Gate().wheel(3, 250_000)
    gate.turn(2, 1_000)
    assert gate.permit() == 0
    gate.wait(295_000).turn(2, 1_000)
    assert gate.permit() == 0
    gate.turn(2, 3_000)
    assert gate.permit() == ASKED_MV


def test_one_pulse_is_no_speed():
    gate = Gate().wheel(1, 250_000)
    gate.turn(2, 1_000)
    assert gate.permit() == ASKED_MV


def test_only_a_rising_edge_of_the_wheel_is_a_pulse():
    gate = pedalled()
    for _ in range(3):
        gate.wait(100_000).turn(1).guard.wheel_edge(SmallInt(0), SmallInt(gate.now_us))
    assert gate.permit() == ASKED_MV
    for _ in range(3):
        gate.wait(100_000).turn(1).guard.wheel_edge(SmallInt(1), SmallInt(gate.now_us))
    assert gate.permit() == 0


def test_a_bouncing_contact_is_no_speed():
    # Four times the cut-off speed is a period of 302.41 ms / 4 = 75.602 ms.
    gate = Gate().wheel(3, 400_000)
    gate.wheel(1, 75_601)
    gate.turn(2, 1_000)
    assert gate.permit() == ASKED_MV
    gate = Gate().wheel(3, 400_000)
    gate.wheel(1, 75_602)
    gate.turn(2, 1_000)
    assert gate.permit() == 0


def test_a_wheel_that_stood_for_three_seconds_starts_afresh():
    gate = Gate().wheel(3, 250_000)
    gate.permit()
    gate.wait(3_000_001).permit()
    gate.wheel(1, 100_000)
    gate.turn(2, 1_000)
    assert gate.permit() == ASKED_MV


def test_no_pulse_of_a_whole_wrap_ago_looks_recent():
    gate = Gate().wheel(3, 250_000)
    for _ in range(4):
        gate.wait(268_000_000).permit()
    gate.wait(1_741_824 + 100_000)
    gate.wheel(1, 0)
    gate.turn(2, 1_000)
    assert gate.permit() == ASKED_MV


def test_the_cut_off_distance_ends_the_drive_at_speed():
    # 2 m (EN 15194:2017 4.2.13.1 b, by the parallel text TBIS 15194:2019) at a turn of 2.1 m in
    # 320 ms are 305 ms; 96 hundredths of a turn, rounded up, are 307.2 ms, and 15 ms on top.
    gate = Gate().wheel(3, 320_000)
    gate.turn(4, 1_000)
    assert gate.wait(305_000).permit() == ASKED_MV
    gate.wheel(1, 11_000)  # The last turn took 320 ms: no slower than before.
    assert gate.wait(6_200).permit() == ASKED_MV
    assert gate.wait(1).permit() == 0


def test_a_fine_wheel_sensor_measures_the_same_distance():
    # 64 pulses on a wheel of 500 mm at 3920 mm/s: 1.993 ms a pulse; 2 m take 510 ms, and 15 on top.
    settings = {"wheel_circumference_mm": 500, "wheel_pulses_per_rev": 64, "pulses_per_rev": 4}
    gate = Gate(**settings).wheel(4, 1_993)
    gate.turn(2, 100)
    for _ in range(263):
        gate.wheel(1, 1_993)
        assert gate.permit() == ASKED_MV
    gate.wheel(3, 1_993)
    assert gate.permit() == 0


def test_a_standing_wheel_sets_no_distance():
    gate = Gate(cutoff_distance_mm=500, wheel_circumference_mm=3_000, pulses_per_rev=4, release_rpm=4).turn(6)
    assert gate.wait(3_764_999).permit() == ASKED_MV
    assert gate.wait(2).permit() == 0


def test_the_slowest_wheel_that_runs_sets_a_distance():
    settings = {
        "cutoff_distance_mm": 500,
        "wheel_circumference_mm": 3_000,
        "pulses_per_rev": 4,
        "release_rpm": 4,
    }
    gate = Gate(**settings).wheel(2, 1_000_000)
    gate.turn(2, 1_000)
    # 17 hundredths of a turn of 1 s, and 15 ms.
    assert gate.wait(184_000).permit() == ASKED_MV
    assert gate.wait(1_001).permit() == 0


def test_a_slow_wheel_with_many_magnets_stays_in_small_integers():
    # 64_000 hundredths of a pulse in 5 m; a pulse in 2.9 s would make their product too large.
    settings = {"wheel_circumference_mm": 500, "wheel_pulses_per_rev": 64, "cutoff_distance_mm": 5_000}
    gate = Gate(**settings).wheel(2, 2_900_000)
    gate.turn(6)
    assert gate.wait(431_000).permit() == ASKED_MV


# The throttle.


def opened(throttle_mv: int = FULL_MV, rested: bool = True, **settings: int) -> Gate:
    gate = Gate(**settings)
    if rested:
        gate.permit()
    gate.inputs.throttle_mv = SmallInt(throttle_mv)
    return gate


@pytest.mark.parametrize(
    ("throttle_mv", "permitted_mv"), [(1_000, 0), (1_001, ASKED_MV), (4_300, ASKED_MV), (4_301, 0), (0, 0)]
)
def test_an_open_throttle_lets_a_command_through_inside_its_window(throttle_mv, permitted_mv):
    assert opened(throttle_mv).permit() == permitted_mv


def test_a_throttle_never_seen_at_rest_lets_nothing_through():
    gate = opened(rested=False)
    assert gate.permit() == 0
    for throttle_mv, rest_seen in ((399, False), (1_001, False), (1_000, True)):
        gate.inputs.throttle_mv = SmallInt(throttle_mv)
        gate.permit()
        gate.inputs.throttle_mv = SmallInt(FULL_MV)
        assert gate.permit() == (ASKED_MV if rest_seen else 0)


def test_the_lowest_voltage_of_the_window_is_rest():
    gate = opened(400, rested=False)
    gate.permit()
    gate.inputs.throttle_mv = SmallInt(FULL_MV)
    assert gate.permit() == ASKED_MV


def test_an_absent_throttle_lets_nothing_through():
    assert opened(throttle_fitted=0).permit() == 0


@pytest.mark.parametrize(
    ("unpedalled", "period_us", "permitted_mv"),
    [
        (0, None, 0),
        (1, None, ASKED_MV),
        (2, None, ASKED_MV),
        (1, 1_260_500, ASKED_MV),
        (1, 1_260_499, 0),
        (2, 400_000, ASKED_MV),
        (2, 302_000, 0),
    ],
)
def test_the_place_decides_when_the_throttle_alone_may_drive(unpedalled, period_us, permitted_mv):
    # 2100 mm at 1666 mm/s: 1.2605 s a turn.
    gate = Gate(throttle_unpedalled=unpedalled)
    gate.permit()
    if period_us is not None:
        gate.wheel(2, period_us)
    gate.inputs.throttle_mv = SmallInt(FULL_MV)
    assert gate.permit() == permitted_mv


def test_a_start_up_speed_that_the_wheel_cannot_show_is_met_by_a_standing_wheel():
    gate = opened(startup_speed_mm_per_s=1)
    assert gate.permit() == ASKED_MV
    gate.wheel(2, 2_900_000)
    assert gate.permit() == 0
    assert gate.wait(2_999_999).permit() == 0
    assert gate.wait(1).permit() == ASKED_MV


def test_a_start_up_speed_of_nothing_lets_nothing_through():
    assert opened(startup_speed_mm_per_s=0).permit() == 0
