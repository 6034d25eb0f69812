"""The guard only lowers, and never cuts what a healthy controller gives."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.settings import Settings
from host_sim.rig.rig import Rig
from host_sim.testing.legal_settings import legal_settings
from tests.property.pairs import Kind, driving_settings, every_kind, few_of_each_kind, start_driving
from tests.property.test_rides import ride_segment, rides, starts_us
from tests.property.watch import Watch


class Agreement:
    """Asserts that the guard cuts nothing, or that the controller says the same one step later.

    An edge counts for the controller once it has lasted, up to 3.75 ms later than for the guard; so
    after pedalling backward the guard may be first by a step. Riding forward it never is. Where the
    crank turns back within the time of a glitch, the controller discards what the guard has seen:
    no healthy ride, and no more is asked of it.
    """

    def __init__(self, rig: Rig, watch: Watch) -> None:
        self.guard = watch.guard
        self.first = False
        self.ever_backward = False
        rig.after_step.append(self.look)

    def look(self, rig: Rig, before_mv: int) -> None:
        del before_mv
        self.ever_backward = self.ever_backward or rig.rpm < 0
        if self.ever_backward and rig.controller.crank.rejected > 0:
            return
        if self.first:
            assert self.guard.asked_mv == 0
        self.first = self.guard.permitted_mv < self.guard.asked_mv
        assert self.ever_backward or not self.first


@given(settings=legal_settings(), start_us=starts_us, ride=rides)
def test_the_guard_never_cuts_a_healthy_ride(settings: Settings, start_us: int, ride: list):
    rig = Rig(settings, start_us)
    watch = Watch(rig)
    Agreement(rig, watch)
    rig.ready()
    for segment in ride:
        ride_segment(rig, segment)


@every_kind
@few_of_each_kind
@given(data=st.data(), start_us=starts_us, ride=rides)
def test_the_guard_never_cuts_a_healthy_ride_that_drives(
    kind: Kind, data: st.DataObject, start_us: int, ride: list
):
    rig = Rig(data.draw(driving_settings(**kind)), start_us)
    watch = Watch(rig)
    Agreement(rig, watch)
    start_driving(rig)
    assert watch.drove
    for segment in ride:
        ride_segment(rig, segment)


@pytest.mark.long
@given(
    settings=legal_settings(assist_power_w=250, power_limit_w=250, engage_edges=5, selector_positions=0),
    rpm=st.integers(5, 120),
    wheel_mm_per_s=st.integers(0, 13_000),
    pause_ms=st.integers(0, 3_000),
    back_ms=st.integers(0, 1_500),
)
def test_the_guard_lets_a_rider_go_on_after_a_pause_and_after_pedalling_backward(
    settings: Settings, rpm: int, wheel_mm_per_s: int, pause_ms: int, back_ms: int
):
    rig = Rig(settings)
    watch = Watch(rig)
    Agreement(rig, watch)
    rig.ready().run(1_500, rpm=rpm, wheel_mm_per_s=wheel_mm_per_s)
    rig.run(pause_ms, rpm=0)
    rig.run(back_ms, rpm=-rpm)
    rig.run(pause_ms, rpm=0)
    rig.run(1_500, rpm=rpm)
