"""A clock that jumps back is a stall: nothing drives in that step, and nothing old counts as recent after it.

All stories pedal at 60 rpm on 12 magnets and 10 km/h; the stop gap is then 1.6 pitches of 83 ms, 133 ms.
"""

import pytest

from firmware.guard.output_guard import OutputGuard
from firmware.sense.crank import Crank
from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from host_sim.rig.rig import WRAP_US, Rig
from host_sim.rig.small_settings import settings_with
from tests.unit.test_output_guard import ASKED_MV, Gate, pedalled

BACK_US = 5_000_000
KINDS = [TWO_CHANNELS, ONE_CHANNEL, DUTY_CODED]


def riding(**settings: int) -> Rig:
    rig = Rig(settings_with(**settings)).ready()
    rig.run(3_000, rpm=60, wheel_mm_per_s=2_778)
    assert rig.command_mv > 0
    return rig


def jump(rig: Rig, back_us: int = BACK_US) -> None:
    """Set the clock back; what the logs hold keeps the stamps of the old clock."""
    rig.now_us = (rig.now_us - back_us) % WRAP_US


def driven_ms(rig: Rig, span_ms: int) -> int:
    """Return for how many milliseconds of a span a command went out."""
    driven = 0
    for _ in range(span_ms // 5):
        rig.step()
        driven += 5 if rig.command_mv > 0 else 0
    return driven


class Lenient(OutputGuard):
    """A guard that lets everything through: what the rest of the firmware does by itself."""

    __slots__ = ()

    def permit(self, command_mv, inputs, now_us):
        return command_mv


@pytest.mark.parametrize("guarded", [True, False])
@pytest.mark.parametrize("kind", KINDS)
def test_a_rider_who_stops_as_the_clock_jumps_back_gets_no_run_on(kind, guarded):
    rig = riding(sensor_kind=kind)
    if not guarded:
        rig.controller.guard = Lenient(rig.settings, rig.number(rig.now_us))
    rig.rpm = 0
    jump(rig)
    assert driven_ms(rig, 6_000) == 0


@pytest.mark.parametrize("kind", KINDS)
def test_edges_still_in_the_log_when_the_clock_jumps_back_make_no_run_on(kind):
    rig = riding(sensor_kind=kind)
    rig._turn_crank(40_000)
    rig.rpm = 0
    jump(rig)
    assert driven_ms(rig, 6_000) == 0


@pytest.mark.parametrize("kind", KINDS)
def test_a_rider_who_pedals_on_is_helped_again_within_two_pitches_and_a_half(kind):
    rig = riding(sensor_kind=kind, engage_edges=(5, 3, 2)[kind])
    jump(rig)
    rig.step()
    assert rig.command_mv == 0
    rig.run(210)
    assert rig.command_mv > 0
    assert rig.controller.faults.cause == 0


@pytest.mark.parametrize("back_us", [1, 5_000, 50_001, 2**29 - 5_001])
def test_a_step_back_by_any_amount_drops_the_output(back_us):
    rig = riding()
    jump(rig, back_us + 5_000)
    rig.step()
    assert rig.command_mv == 0
    assert not rig.outputs.drive_enabled


def test_a_clock_that_stands_for_a_step_is_no_jump():
    rig = riding()
    rig.rpm = 0
    jump(rig, 5_000)
    rig.step()
    assert rig.command_mv > 0


def test_after_a_jump_the_speed_is_forgotten_no_later_than_after_any_last_pulse():
    rig = riding()
    jump(rig)
    rig.run(3_000, rpm=0, wheel_mm_per_s=0)
    assert rig.controller.wheel.speed_mm_per_s > 0
    rig.run(10)
    assert rig.controller.wheel.speed_mm_per_s == 0


def test_after_a_jump_the_speed_last_seen_still_holds_help_back_above_the_cut_off():
    rig = riding()
    rig.run(2_000, wheel_mm_per_s=8_000)
    assert rig.command_mv == 0
    jump(rig)
    assert driven_ms(rig, 1_000) == 0


def test_after_a_jump_a_crank_that_rests_is_known_to_rest_no_later_than_ever():
    rig = riding()
    jump(rig)
    rig.run(905, rpm=0)  # A pitch at 12 rpm is 417 ms; half a second more.
    assert not rig.controller.crank.standing
    rig.run(20)
    assert rig.controller.crank.standing


def test_a_throttle_that_is_held_drives_again_from_nothing():
    rig = Rig(settings_with(throttle_unpedalled=2)).ready()
    rig.full_throttle()
    rig.run(3_000)
    before_mv = rig.command_mv
    assert before_mv > 1_500
    jump(rig)
    rig.step()
    assert rig.command_mv == 0
    rig.step()
    assert rig.command_mv == 1_000


def test_a_pitch_half_seen_and_a_pending_edge_begin_again_at_the_jump():
    # A duty-coded ring: rise, jump, fall, rise. Without a whole pitch on one clock there is no direction.
    crank = Crank(settings_with(sensor_kind=DUTY_CODED), 0)
    crank.edge(1, 1_000_000)
    crank.settle(1_005_000)
    crank.edge(0, 1_070_000)  # Not yet lasting when the clock jumps.
    crank.restamp(500_000)
    crank.settle(500_000)
    assert crank.levels == 1
    crank.settle(505_000)
    assert crank.levels == 0
    crank.begin_step()
    crank.edge(1, 530_000)
    crank.settle(535_000)
    assert (crank.ground_gained, crank.backward_run, crank.rejected) == (False, 0, 0)


def test_a_fall_that_was_lost_at_the_jump_makes_no_pitch_of_the_old_clock():
    crank = Crank(settings_with(sensor_kind=DUTY_CODED), 0)
    for levels, time_us in ((1, 5_000_000), (0, 5_070_000)):
        crank.edge(levels, time_us)
        crank.settle(time_us + 5_000)
    crank.restamp(500_000)
    for time_us in (600_000, 700_000):
        crank.edge(1, time_us)
        crank.settle(time_us + 5_000)
        crank.levels = 0
    assert crank._fall_us == 500_000
    assert crank.forward_run == 0


def test_a_jump_back_leaves_the_debt_of_edges_and_takes_the_run_and_the_pitch():
    rig = riding()
    rig.run(100, rpm=-60)
    rig.run(30, rpm=60)
    crank = rig.controller.crank
    behind = crank._behind
    assert behind > 0
    assert crank.forward_run > 0
    crank.restamp(rig.now_us)
    assert (crank._behind, crank.forward_run, crank.pitch_us) == (behind, 0, 0)


def test_after_a_step_back_pedalling_has_stopped_and_nothing_is_half_seen():
    rig = riding(sensor_kind=DUTY_CODED)
    jump(rig)
    rig.step()
    assert rig.controller.pedalling.stopped is True
    crank = Crank(settings_with(sensor_kind=DUTY_CODED), 0)
    crank.edge(1, 1_000_000)
    crank.settle(1_005_000)
    crank.restamp(500_000)
    assert crank._rise_seen is False
    assert crank.last_forward_us == 500_000


# The guard by itself.


def back(gate: Gate, back_us: int = BACK_US) -> Gate:
    gate.now_us = (gate.now_us - back_us) % WRAP_US
    return gate


def test_the_guard_lets_nothing_through_in_a_step_back_whatever_drives():
    gate = pedalled(throttle_unpedalled=2)
    gate.inputs.throttle_mv = 4_000
    gate.permit()
    assert back(gate, 1).permit() == 0
    assert gate.permit(0) == 0
    assert gate.wait(1).permit() == 0  # The throttle was open since the guard was made.


def test_after_a_step_back_the_guard_waits_for_a_forward_edge():
    gate = pedalled()
    assert gate.permit() == ASKED_MV
    assert back(gate).permit() == 0
    assert gate.wait(5_000).permit() == 0
    assert gate.turn(1).permit() == ASKED_MV


def test_edges_of_the_old_clock_do_not_count_for_the_guard():
    gate = pedalled()
    gate.permit()
    gate.turn(2)
    assert back(gate).permit() == 0
    assert gate.wait(5_000).permit() == 0


def test_after_a_step_back_the_guard_keeps_the_debt_of_backward_edges_as_long_as_ever():
    gate = pedalled().turn(-3)
    gate.permit()
    back(gate).permit()
    assert gate.wait(5_000).permit() == 0
    assert gate.turn(3).permit() == 0
    assert gate.turn(1).permit() == ASKED_MV


def test_after_a_step_back_the_guard_keeps_the_last_speed_for_3_s_and_no_longer():
    gate = pedalled(throttle_unpedalled=1)
    gate.permit()
    gate.inputs.throttle_mv = 4_000
    gate.wheel(3, 500_000)
    gate.permit()
    back(gate).permit()
    assert gate.wait(1_200_000).permit() == 0
    assert gate.wait(100_000).permit() == ASKED_MV  # The wait alone says: below 6 km/h.
    assert gate.guard._wheel_seen
    gate.wait(1_700_001).permit()
    assert not gate.guard._wheel_seen


def test_after_a_step_back_a_pitch_half_seen_is_begun_again():
    duty = {"sensor_kind": DUTY_CODED}
    gate = Gate(**duty)
    for levels, span_us in ((1, 100_000), (0, 70_000)):
        gate.wait(span_us)
        gate.guard.crank_edge(levels, gate.now_us)
    gate.permit()
    back(gate, 50_000).permit()
    gate.wait(20_000)
    gate.guard.crank_edge(1, gate.now_us)
    assert gate.permit() == 0


@pytest.mark.parametrize("edges", [5, 6], ids=["high", "low"])
def test_after_a_step_back_the_guard_waits_for_a_pitch_of_one_channel(edges):
    gate = Gate(sensor_kind=ONE_CHANNEL).turn(edges, 20_000, (0, 1))
    assert gate.wait(10_000).permit() == ASKED_MV
    assert back(gate, 5_000).permit() == 0
    guard = gate.guard
    assert [guard._turning, guard._rise_seen, guard._fall_seen] == [False] * 3
    assert None not in (guard._turning, guard._rise_seen, guard._fall_seen)
    assert gate.turn(1, 20_000, (0, 1)).permit() == 0
    assert gate.turn(1, 20_000, (0, 1)).permit() == 0
    assert gate.turn(1, 20_000, (0, 1)).permit() == ASKED_MV
