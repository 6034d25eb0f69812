"""The guard only lowers, and never cuts what a healthy controller gives."""

from hypothesis import given
from hypothesis import strategies as st

from firmware.settings import Settings
from tests.builders import Rig, legal_settings
from tests.property.test_rides import ride_segment, rides, starts_us
from tests.property.watch import Watch


def _never_cuts(rig: Rig, watch: Watch) -> None:
    def look(rig: Rig, before_mv: int) -> None:
        del before_mv
        # A backward edge that has not lasted yet is the one thing that the guard may see first.
        just_backward = rig.backward_in_row > 0 and rig.elapsed_us - (rig.last_edge_us or 0) < 10_000
        if not rig.brake_pulled and not just_backward:
            assert watch.guard.permitted_mv == watch.guard.asked_mv

    rig.after_step.append(look)


@given(settings=legal_settings(), start_us=starts_us, ride=rides)
def test_the_guard_never_cuts_a_healthy_ride(settings: Settings, start_us: int, ride: list):
    rig = Rig(settings, start_us)
    watch = Watch(rig)
    _never_cuts(rig, watch)
    rig.ready()
    for segment in ride:
        ride_segment(rig, segment)


@given(
    settings=legal_settings(assist_power_w=250, power_limit_w=250, engage_edges=2, selector_positions=0),
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
    _never_cuts(rig, watch)
    rig.ready().run(1_500, rpm=rpm, wheel_mm_per_s=wheel_mm_per_s)
    rig.run(pause_ms, rpm=0)
    rig.run(back_ms, rpm=-rpm)
    rig.run(pause_ms, rpm=0)
    rig.run(1_500, rpm=rpm)
