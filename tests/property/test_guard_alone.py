"""The guard alone: everything before it requests the highest command at every step.

Even then nothing happens that must never happen, with the guard's own, looser limits.
"""

from hypothesis import given
from hypothesis import strategies as st

from firmware.decide.ceilings import Ceilings
from firmware.decide.engagement import ASSISTING, Engagement
from firmware.settings import Settings
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import settings_with
from host_sim.testing.legal_settings import legal_settings
from tests.property.test_rides import ride_segment, rides

MARGIN_US = 15_000 + 10_000  # The guard's own and two control periods.


class MadEngagement(Engagement):
    """Assists, whatever happens."""

    __slots__ = ()

    def step(self, event: int) -> int:
        self.event = event
        self.state = ASSISTING
        return ASSISTING


class MadCeilings(Ceilings):
    """Allows everything, whatever the speed, the battery and the heat."""

    __slots__ = ()

    def step(self, state: int, speed_mm_per_s: int, battery_mv: int, motor_decicelsius: int) -> int:
        self.ceiling_w = 1_500
        return self.ceiling_w


def gone_mad(settings: Settings) -> Rig:
    """Return a rig whose controller decides nothing any more."""
    rig = Rig(settings)
    rig.controller.engagement = MadEngagement()
    rig.controller.ceilings = MadCeilings(settings)
    return rig


def look(rig: Rig, before_mv: int) -> None:
    """Assert what the guard owes on its own."""
    del before_mv
    if rig.command_mv == 0:
        return
    settings = rig.settings
    assert not rig.brake_pulled
    assert rig.command_mv <= settings.command_max_mv
    if rig.throttle_mv <= settings.throttle_rest_mv or settings.throttle_fitted == 0:
        assert rig.last_edge_us is not None
        pitch_us = 60_000_000 // (int(settings.pulses_per_rev) * int(settings.release_rpm))
        assert rig.elapsed_us - rig.last_edge_us <= pitch_us + MARGIN_US
    way = int(settings.wheel_circumference_mm) * 1_000_000
    at_cut_off_us = way // (int(settings.cutoff_speed_mm_per_s) * int(settings.wheel_pulses_per_rev))
    pulses_us = without_bounces(rig.wheel_pulses_us, at_cut_off_us // 4 - 10)
    if len(pulses_us) >= 2 and pulses_us[-1] - pulses_us[-2] <= 3_000_000:
        assert max(pulses_us[-1] - pulses_us[-2], rig.elapsed_us - pulses_us[-1]) > at_cut_off_us * 98 // 100


def without_bounces(pulses_us: list[int], shortest_us: int) -> list[int]:
    """Return the pulses that come no sooner than `shortest_us` after the last one of these.

    What comes sooner, above four times the cut-off speed, the guard takes for a contact that bounces.
    """
    counted = pulses_us[:1]
    for pulse_us in pulses_us[1:]:
        if pulse_us - counted[-1] >= shortest_us:
            counted.append(pulse_us)
    return counted


@given(settings=legal_settings(assist_power_w=1_500), ride=rides)
def test_a_mad_controller_is_held_by_the_guard(settings: Settings, ride: list):
    rig = gone_mad(settings)
    rig.after_step.append(look)
    for segment in ride:
        ride_segment(rig, segment)


def mad_ride() -> Rig:
    rig = gone_mad(settings_with())
    rig.run(1_000, rpm=60, wheel_mm_per_s=4_000)
    assert rig.command_mv > 1_000
    return rig


def test_a_mad_controller_stands_still_without_anybody_asking():
    rig = gone_mad(settings_with())
    for _ in range(1_000):
        rig.step()
        assert rig.command_mv == 0


def test_a_mad_controller_is_cut_above_the_cut_off_speed():
    rig = mad_ride()
    rig.run(1_000, wheel_mm_per_s=7_000)
    assert rig.command_mv == 0
    for _ in range(200):
        rig.step()
        assert rig.command_mv == 0


def test_a_mad_controller_is_cut_at_many_times_the_cut_off_speed_too():
    # Beyond four times the cut-off speed a pulse passes for a bounce, but not for longer than that.
    rig = gone_mad(
        settings_with(cutoff_speed_mm_per_s=1_100, taper_start_mm_per_s=1_000, startup_speed_mm_per_s=0)
    )
    rig.run(1_000, rpm=60, wheel_mm_per_s=8_000)
    for _ in range(600):
        rig.step()
        assert rig.command_mv == 0


def test_a_mad_controller_is_cut_when_pedalling_stops():
    rig = mad_ride()
    rig.rpm = 0
    # 2 m at 4 m/s are 500 ms, but the pitch at 12 rpm is 417 ms, and 15 ms on top.
    assert 400 <= rig.until(lambda rig: rig.command_mv == 0, 1_000) <= 440
    rig.run(2_000)
    assert rig.command_mv == 0


def test_a_mad_controller_is_cut_within_the_cut_off_distance():
    # 2 m at 6.5 m/s are 308 ms: EN 15194:2017 4.2.13.1 b, by the parallel text TBIS 15194:2019.
    rig = mad_ride()
    rig.run(1_000, wheel_mm_per_s=6_500)
    rig.rpm = 0
    assert 290 <= rig.until(lambda rig: rig.command_mv == 0, 1_000) <= 335


def test_a_mad_controller_is_cut_by_the_brake_and_by_pedalling_backward():
    rig = mad_ride()
    rig.run(5, brake_pulled=True)
    assert rig.command_mv == 0
    rig = mad_ride()
    rig.run(60, rpm=-60)
    assert rig.command_mv == 0
    for _ in range(200):
        rig.step()
        assert rig.command_mv == 0


@given(throttle_mv=st.integers(0, 5_000))
def test_a_mad_controller_drives_on_a_throttle_only_after_it_was_at_rest(throttle_mv: int):
    rig = gone_mad(settings_with(throttle_unpedalled=2))
    rig.throttle_mv = throttle_mv
    for _ in range(50):
        rig.step()
        assert rig.command_mv == 0
