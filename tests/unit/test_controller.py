"""Stories of whole rides through the controller: what comes out, step by step, and when.

All in SmallInt and from 1 ms before the tick wrap, on an ideal ring of 12 magnets unless said.
"""

import pytest

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, BRAKED, FAULTED, READY, THROTTLING, WAITING
from firmware.records import (
    INDICATE_DRIVING,
    INDICATE_FAULT,
    INDICATE_READY,
    INDICATE_WAITING,
    OUTPUTS_VALID_US,
    Inputs,
)
from host_sim.rig.rig import Rig
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


def riding(**settings: int) -> Rig:
    """Return a rig that has been pedalled at 60 rpm and 10 km/h for three seconds."""
    rig = Rig(settings_with(**settings)).ready()
    rig.run(3_000, rpm=60, wheel_mm_per_s=2_778)
    return rig


def drives(rig: Rig) -> bool:
    return rig.command_mv > 0


def rests(rig: Rig) -> bool:
    return rig.command_mv == 0


# Starting.


def test_from_power_up_to_a_brake_as_a_story():
    rig = Rig()
    rig.step()
    assert (rig.state, rig.outputs.indicator) == (WAITING, INDICATE_WAITING)
    # 12 pulses at 12 rpm are 417 ms, half a second of standstill and 20 steps at rest.
    assert 1_010 <= rig.until(lambda rig: rig.state == READY, 2_000) <= 1_020
    assert rig.outputs.indicator == INDICATE_READY
    rig.rpm = 60
    # A first edge to know where the ring stands, and eight asked for: 9 edges of 20.8 ms.
    assert 165 <= rig.until(drives, 1_000) <= 195
    assert rig.state == ASSISTING
    assert rig.command_mv == 1_000
    assert rig.outputs.drive_enabled
    assert rig.outputs.indicator == INDICATE_DRIVING
    # 600 mV a second.
    rig.run(100, wheel_mm_per_s=2_778)
    assert rig.command_mv == 1_060
    rig.run(5, brake_pulled=True)
    assert (rig.command_mv, rig.state, rig.outputs.drive_enabled) == (0, BRAKED, False)
    assert rig.outputs.indicator == INDICATE_READY


def test_pedalling_since_power_up_never_starts_until_the_crank_was_at_rest():
    # Two independent actions: EN 15194:2017 4.2.13.1 f, by the parallel text TBIS 15194:2019.
    rig = Rig()
    rig.run(10_000, rpm=60)
    assert rig.state == WAITING
    rig.run(1_200, rpm=0)
    assert rig.state == READY
    rig.run(500, rpm=60)
    assert drives(rig)


def test_after_a_brake_pedalling_goes_on_to_drive():
    # A stop in traffic is no new start: EN 15194:2017 4.2.13.1 f, by the parallel text TBIS 15194:2019.
    rig = riding()
    rig.run(500, brake_pulled=True)
    assert rests(rig)
    rig.brake_pulled = False
    assert rig.until(drives, 1_000) <= 10


# The end of pedalling.


@pytest.mark.parametrize(
    ("pulses", "release_rpm", "at_least_ms", "at_most_ms"),
    # 60 / (pulses x release rpm): 0.294 s for 12 at 17. Common practice, no source.
    [(12, 17, 294, 300), (24, 17, 147, 153), (8, 17, 441, 447)],
)
def test_a_plain_threshold_cuts_after_its_own_time_and_more_magnets_cut_sooner(
    pulses, release_rpm, at_least_ms, at_most_ms
):
    rig = Rig(settings_with(pulses_per_rev=pulses, release_rpm=release_rpm, stop_pitch_percent=400)).ready()
    rig.run(4_000, rpm=30)
    assert drives(rig)
    rig.rpm = 0
    rig.until(rests, 2_000)
    passed_us = rig.elapsed_us - (rig.last_forward_us or 0)
    assert at_least_ms * 1_000 <= passed_us <= at_most_ms * 1_000


def test_more_magnets_start_sooner():
    # Common practice, no source.
    waits_ms = []
    for pulses in (6, 12, 24):
        rig = Rig(settings_with(pulses_per_rev=pulses)).ready()
        rig.rpm = 40
        waits_ms.append(rig.until(drives, 3_000))
    assert waits_ms == sorted(waits_ms, reverse=True)
    assert len(set(waits_ms)) == 3


def test_a_lower_engage_threshold_starts_sooner_and_a_nudge_then_runs_on_for_longer():
    # Common practice, no source. The nudge: a quarter of a turn at 15 rpm.
    def nudge(**settings: int) -> tuple[bool, int]:
        rig = Rig(settings_with(**settings)).ready()
        rig.run(1_000, rpm=15)
        drove = drives(rig)
        rig.rpm = 0
        return drove, rig.until(rests, 5_000)

    assert nudge(engage_rpm=20) == (False, 0)
    eager, late = (
        nudge(engage_rpm=10, release_rpm=9),
        nudge(engage_rpm=10, release_rpm=4, stop_pitch_percent=400),
    )
    assert eager[0]
    assert late[0]
    assert 300 <= eager[1] <= 600
    assert 1_000 <= late[1] <= 1_400


def test_the_cut_off_distance_is_kept_at_25_km_per_h():
    # 2 m at 6944 mm/s are 288 ms, less 60 ms for the motor controller; with 6 magnets and slow
    # pedalling the other two limits of the stop gap are longer.
    rig = Rig(settings_with(pulses_per_rev=6, stop_pitch_percent=400, cutoff_speed_mm_per_s=8_000)).ready()
    rig.run(4_000, rpm=45, wheel_mm_per_s=6_944)
    assert drives(rig)
    rig.rpm = 0
    rig.until(rests, 2_000)
    assert 215_000 <= rig.elapsed_us - (rig.last_forward_us or 0) <= 228_000


def test_a_stop_cuts_at_once_and_does_not_wait_for_the_fall_rate():
    rig = riding(fall_mv_per_s=500)
    before_mv = rig.command_mv
    rig.rpm = 0
    rig.until(rests, 500)
    assert before_mv > 1_100


def test_a_stop_is_not_undone_by_time():
    rig = riding()
    rig.run(1_000, rpm=0, wheel_mm_per_s=0)
    for _ in range(9):
        rig.step(500_000_000)
        assert rests(rig)


def test_the_power_loop_forgets_what_it_learned_when_the_drive_ends():
    rig = Rig(settings_with()).ready()
    rig.run(3_000, rpm=60, wheel_mm_per_s=2_778)
    assert rig.controller.power_loop.target_mv > 1_500
    rig.run(1_500, rpm=0)
    rig.rpm = 60
    rig.until(drives, 1_000)
    # 250 W of error times 1.5 mV/W above the dead band, as at the very first start.
    assert rig.controller.power_loop.target_mv == 1_375


# Direction.


def test_pedalling_backward_ends_the_drive_within_two_edges():
    rig = riding()
    rig.rpm = -60
    assert rig.until(rests, 500) <= 45
    rig.run(3_000)
    assert rests(rig)


def test_with_the_lead_set_wrong_assistance_comes_when_pedalling_backward_and_never_forward():
    # Common practice, no source.
    for lead in (0, 1):
        rig = Rig(settings_with(lead=lead), ring_lead=1 - lead).ready()
        for _ in range(600):
            rig.run(5, rpm=60)
            assert rests(rig)
        rig.run(1_500, rpm=0)
        rig.run(1_000, rpm=-60)
        assert drives(rig)


def test_with_the_lead_set_right_it_is_the_other_way():
    for lead in (0, 1):
        rig = Rig(settings_with(lead=lead), ring_lead=lead).ready()
        rig.run(3_000, rpm=-60)
        assert rests(rig)
        rig.run(1_500, rpm=0)
        rig.run(1_000, rpm=60)
        assert drives(rig)


def test_one_channel_assists_either_way_because_it_knows_no_direction():
    # Common practice, no source.
    for rpm in (60, -60):
        rig = Rig(settings_with(sensor_kind=1)).ready()
        rig.run(1_000, rpm=rpm)
        assert drives(rig)


def test_a_duty_coded_ring_assists_forward_only():
    for forward_duty_high in (0, 1):
        rig = Rig(settings_with(sensor_kind=2, forward_duty_high=forward_duty_high)).ready()
        rig.run(2_000, rpm=-60)
        assert rests(rig)
        rig.run(1_500, rpm=0)
        rig.run(1_000, rpm=60)
        assert drives(rig)


# Levers.


@pytest.mark.parametrize(("selector_mv", "expected_w"), [(500, 0), (2_500, 125), (4_500, 250)])
def test_a_selector_of_three_positions_asks_for_about_nothing_a_half_and_the_whole(selector_mv, expected_w):
    # Common practice, no source.
    rig = Rig(settings_with(selector_positions=3)).ready()
    rig.run(2_000, rpm=60, wheel_mm_per_s=2_778, selector_mv=selector_mv)
    assert rig.controller.request.wanted_w == expected_w
    assert drives(rig) == (expected_w > 0)


def test_with_the_selector_at_nothing_only_the_throttle_drives():
    # Common practice, no source.
    rig = Rig(settings_with(selector_positions=3)).ready()
    rig.run(2_000, rpm=60, wheel_mm_per_s=2_778, selector_mv=500)
    assert (rig.state, rig.command_mv) == (ASSISTING, 0)
    rig.full_throttle()
    rig.run(100)
    assert drives(rig)
    rig.release_throttle()
    rig.run(200)
    assert rests(rig)


def test_the_power_loop_settles_on_the_watts_asked_for():
    rig = Rig(settings_with(assist_power_w=200, selector_positions=3)).ready()
    rig.run(8_000, rpm=60, wheel_mm_per_s=2_778, selector_mv=2_500)
    assert 95 <= rig.controller.supply.power_w <= 105


def test_the_throttle_drives_unpedalled_below_6_km_per_h_only():
    # EN 15194:2017 4.2.12, by the parallel text TBIS 15194:2019; 1666 mm/s.
    rig = Rig().ready()
    rig.full_throttle()
    rig.run(50)
    assert (rig.state, rig.command_mv > 0) == (THROTTLING, True)
    rig.run(6_000, wheel_mm_per_s=1_400)
    assert drives(rig)
    assert 0 < rig.controller.ceilings.ceiling_w < 100  # A third of 250 W: it fades from half that speed on.
    rig.run(4_000, wheel_mm_per_s=1_800)
    assert (rig.state, rig.command_mv) == (READY, 0)


def test_letting_the_throttle_go_cuts_at_once():
    # Voluntary and maintained action: EN 15194:2017 4.2.12.1, by the parallel text TBIS 15194:2019.
    rig = Rig().ready()
    rig.full_throttle()
    rig.run(500)
    rig.release_throttle()
    rig.run(5)
    assert rests(rig)


# Speed.


@pytest.mark.parametrize("wheel_mm_per_s", [6_960, 8_681])
def test_above_the_cut_off_speed_nothing_drives(wheel_mm_per_s):
    # 25 km/h is 6944 mm/s; 8681 is 1.25 times as fast: EN 15194:2017 4.2.11.2.2, by the parallel text
    # TBIS 15194:2019.
    rig = riding()
    rig.run(1_500, wheel_mm_per_s=wheel_mm_per_s)
    for _ in range(400):
        rig.run(5)
        assert rests(rig)


def test_in_the_taper_the_ceiling_is_the_lower_half():
    rig = riding()
    rig.run(4_000, wheel_mm_per_s=6_528)
    assert 115 <= rig.controller.ceilings.ceiling_w <= 130


def test_where_nothing_is_allowed_the_cut_does_not_wait_for_the_fall_rate():
    rig = riding(fall_mv_per_s=500)
    assert rig.command_mv > 1_200
    rig.battery_mv = 29_000  # Empty at 30 V.
    rig.until(lambda rig: rig.controller.ceilings.ceiling_w == 0, 2_000)
    assert (rig.state, rig.command_mv) == (ASSISTING, 0)


# Faults.


def test_a_fault_cuts_in_its_step_and_pedalling_never_clears_it():
    # EN 15194:2017 4.2.13.1 g, by the parallel text TBIS 15194:2019.
    rig = riding()
    rig.run(25, throttle_mv=0)
    assert drives(rig)
    rig.run(5)
    assert (rig.command_mv, rig.state, rig.outputs.fault_cause) == (0, FAULTED, 4)
    assert rig.outputs.indicator == INDICATE_FAULT
    rig.release_throttle()
    rig.run(5_000)
    rig.run(2_000, rpm=0)
    rig.run(2_000, rpm=60)
    assert (rig.command_mv, rig.state) == (0, FAULTED)


def test_after_clearing_a_fault_the_controls_must_rest_again():
    rig = riding()
    rig.run(50, throttle_mv=0)
    rig.release_throttle()
    rig.run(5, clear_requested=True)
    rig.run(3_000, clear_requested=False)
    assert (rig.outputs.fault_cause, rig.state, rig.command_mv) == (0, WAITING, 0)
    rig.run(1_200, rpm=0)
    assert rig.state == READY
    rig.run(500, rpm=60)
    assert drives(rig)


def test_a_dead_channel_ends_in_its_fault_and_never_drives():
    # The sensor's second wire broken: channel A alone moves, 12 pulses a turn.
    rig = Rig().ready()
    for number in range(60):
        rig.crank_edge((number + 1) % 2)
        rig.run(40)
        assert rests(rig)
    assert rig.outputs.fault_cause == 3


def test_both_channels_on_one_wire_end_in_a_fault_and_never_drive():
    rig = Rig().ready()
    for number in range(60):
        rig.crank_edge(3 if number % 2 == 0 else 0)
        rig.run(40)
        assert rests(rig)
    assert rig.outputs.fault_cause in (2, 3)


def test_current_while_nothing_is_asked_for_is_a_fault():
    rig = Rig().ready()
    rig.run(600, draws_current=False, current_ma=5_000)
    assert rig.outputs.fault_cause == 9


# Time.


def test_a_stalled_loop_starts_again_from_zero():
    rig = riding(rise_mv_per_s=100)
    assert rig.command_mv > 1_100
    rig.run(5, wheel_mm_per_s=0)
    rig.step(OUTPUTS_VALID_US)
    assert rig.command_mv > 1_100
    rig.step(OUTPUTS_VALID_US + 1)
    assert rests(rig)
    rig.step()
    assert rig.command_mv == 1_000


def test_outputs_hold_for_50_ms_and_are_the_controllers_own():
    rig = Rig()
    first = rig.step()
    assert rig.step() is first
    assert first.valid_for_us == 50_000


def test_a_controller_begins_in_the_safe_state():
    controller = Controller(settings_with(), SmallInt(0))
    assert (controller.outputs.command_mv, controller.outputs.drive_enabled) == (0, False)
    outputs = controller.step(Inputs(), SmallInt(5_000))
    assert (outputs.command_mv, outputs.indicator) == (0, INDICATE_WAITING)


def test_old_inputs_are_cut_by_the_guard_and_the_command_starts_again_from_the_dead_band():
    rig = riding()
    controller = rig.controller
    frozen_us = rig.inputs.sampled_us
    for _ in range(12):
        rig.step()
        rig.inputs.sampled_us = frozen_us
        outputs = controller.step(rig.inputs, SmallInt(rig.now_us))
    assert outputs.command_mv == 0
    assert controller.slew_limiter.command_mv == 0
    rig.step()
    assert rig.command_mv == 1_000


# The command.


def test_the_command_falls_at_its_rate_when_less_is_asked_for():
    rig = riding(selector_positions=1, fall_mv_per_s=1_000)
    before_mv = rig.command_mv
    assert before_mv > 1_200
    rig.run(50, selector_mv=900)
    assert rig.command_mv == before_mv - 50


def test_asked_for_nothing_the_command_falls_to_the_dead_band_and_then_to_zero():
    rig = riding(selector_positions=1, fall_mv_per_s=1_000)
    seen = set()
    rig.selector_mv = 500
    for _ in range(300):
        rig.step()
        seen.add(rig.command_mv)
    assert rests(rig)
    assert min(seen - {0}) >= 995


def test_without_a_dead_band_the_command_rises_from_zero():
    rig = Rig(settings_with(command_start_mv=0)).ready()
    rig.rpm = 60
    rig.until(lambda rig: rig.state == ASSISTING, 1_000)
    rig.run(100)
    assert 55 <= rig.command_mv <= 66


def test_the_falling_edges_of_the_wheel_are_no_pulses_for_the_guard_either():
    # 20 km/h on a 2.1 m wheel: a turn in 380 ms, the fall half-way. Falls taken for rises would be 40 km/h.
    rig = Rig()
    rig.run(1_500)
    for half in range(20):
        rig.inputs.wheel.record(1 - half % 2, rig.now_us)
        rig.run(190, rpm=70)
    assert rig.command_mv > 0


def test_a_dead_band_of_a_millivolt_is_crossed_at_once_and_left_at_once():
    controller = Controller(settings_with(command_start_mv=1), 0)
    controller.engagement.state = ASSISTING
    controller.ceilings.ceiling_w = 100
    assert controller._slew(1, 1) == 1  # In a microsecond no slope rises or falls by a millivolt.
    assert controller._slew(0, 2) == 0
    assert controller.slew_limiter._last_us == 2


def test_a_millivolt_put_out_is_drive():
    controller = Controller(settings_with(), 0)
    controller._put_out(1, 2, 5_000)
    assert controller.slew_limiter._last_us == 5_000  # What the guard took away has to rise again from here.
    assert controller.outputs.drive_enabled
    assert controller.outputs.indicator == INDICATE_DRIVING
