"""Random rides on random legal settings keep every promise, in integers of 31 bits, across the tick wrap."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.decide.engagement import ASSISTING, FAULTED, THROTTLING, WAITING
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, Settings
from host_sim.rig.rig import REST_MV, WRAP_US, Rig
from host_sim.rig.small_settings import settings_with
from host_sim.testing.legal_settings import legal_settings
from tests.property.pairs import (
    EXAMPLES_A_KIND,
    Kind,
    driving_settings,
    every_kind,
    few_of_each_kind,
    start_driving,
)
from tests.property.watch import Watch

starts_us = st.just(WRAP_US - 1_000) | st.integers(0, WRAP_US - 1)
cadences_rpm = st.sampled_from([0, 15, 40, 60, 90, 120]) | st.integers(-120, 200)
speeds_mm_per_s = st.sampled_from([0, 1_000, 3_000, 5_500, 6_500, 8_000]) | st.integers(0, 15_000)
segments = st.fixed_dictionaries(
    {
        "span_ms": st.integers(20, 1_200),
        "rpm": cadences_rpm,
        "wheel_mm_per_s": speeds_mm_per_s,
        "throttle_permille": st.sampled_from([0, 0, 0, 500, 1_000]),
        "selector_permille": st.sampled_from([1_000, 1_000, 500, 0]),
        "brake_pulled": st.sampled_from([False, False, False, True]),
        "clear_requested": st.sampled_from([False, False, False, True]),
    }
)
rides = st.lists(segments, min_size=1, max_size=6)


def level_mv(lowest_mv: int, highest_mv: int, permille: int) -> int:
    """Return the voltage at `permille` of the way."""
    return int(lowest_mv) + (int(highest_mv) - int(lowest_mv)) * permille // 1_000


def ride_segment(rig: Rig, segment: dict) -> None:
    """Ride one segment on the rig."""
    settings = rig.settings
    rig.run(
        segment["span_ms"],
        rpm=segment["rpm"],
        wheel_mm_per_s=segment["wheel_mm_per_s"],
        throttle_mv=level_mv(
            settings.throttle_rest_mv, settings.throttle_full_mv, segment["throttle_permille"]
        ),
        selector_mv=level_mv(
            settings.selector_low_mv, settings.selector_high_mv, segment["selector_permille"]
        ),
        brake_pulled=segment["brake_pulled"],
        clear_requested=segment["clear_requested"],
    )


@given(settings=legal_settings(), start_us=starts_us, ride=rides, rested=st.booleans())
def test_every_ride_keeps_every_promise(settings: Settings, start_us: int, ride: list, rested: bool):
    rig = Rig(settings, start_us)
    Watch(rig)
    if rested:
        rig.ready()
    for segment in ride:
        ride_segment(rig, segment)


@every_kind
def test_every_ride_that_drives_keeps_every_promise(kind: Kind):
    rides_that_drove = 0

    @few_of_each_kind
    @given(settings=driving_settings(**kind), start_us=starts_us, ride=rides)
    def rides_of(settings: Settings, start_us: int, ride: list):
        nonlocal rides_that_drove
        rig = Rig(settings, start_us)
        watch = Watch(rig)
        start_driving(rig)
        rides_that_drove += watch.drove
        for segment in ride:
            ride_segment(rig, segment)

    rides_of()
    assert rides_that_drove >= EXAMPLES_A_KIND


@pytest.mark.long
@pytest.mark.parametrize("kind", [MOTOR_TORQUE, MOTOR_SPEED])
@given(data=st.data(), start_us=starts_us, ride=rides, draws=st.booleans(), rested_v=st.integers(20, 99))
def test_every_ride_of_a_known_motor_keeps_every_promise(kind, data, start_us, ride, draws, rested_v):
    settings = data.draw(legal_settings(motor_kind=kind, shunt_fitted=1))
    rig = Rig(settings, start_us)
    Watch(rig)
    rig.battery_mv = min(rig.battery_mv, rested_v * 1_000)
    rig.draws_current = draws
    rig.ready()
    for segment in ride:
        ride_segment(rig, segment)


def test_a_search_quicker_than_the_rise_rate_is_among_those_rides():
    rig = Rig(settings_with(motor_kind=MOTOR_SPEED))
    watch = Watch(rig)
    rig.draws_current = False
    rig.ready().run(1_500, wheel_mm_per_s=4_000)
    rig.run(600, rpm=60)
    assert watch.drove
    # Half a second at the rise rate of 600 mV/s would be 1300 mV.
    assert rig.command_mv > 2_000


def test_the_promises_are_put_to_the_proof_by_rides_that_drive():
    rig = Rig()
    watch = Watch(rig)
    rig.ready().run(2_000, rpm=60, wheel_mm_per_s=4_000)
    assert watch.drove
    assert rig.state == ASSISTING
    rig.run(4_000, rpm=0, wheel_mm_per_s=0)
    assert rig.command_mv == 0
    rig.full_throttle()
    rig.run(500)
    assert rig.state == THROTTLING
    assert rig.command_mv > 1_000


spans_us = st.lists(
    st.sampled_from([0, 1, 40, 4_000, 5_000, 20_000, 60_000, 150_000]) | st.integers(0, 200_000)
)


@every_kind
@few_of_each_kind
@given(data=st.data(), start_us=starts_us, spans_us=spans_us)
def test_late_early_and_doubled_steps_of_a_ride_that_drives_keep_every_promise(
    kind: Kind, data: st.DataObject, start_us: int, spans_us: list
):
    rig = Rig(data.draw(driving_settings(**kind)), start_us)
    watch = Watch(rig)
    start_driving(rig)
    assert watch.drove
    for span_us in spans_us:
        rig.step(span_us)


@given(settings=legal_settings(), start_us=starts_us, spans_us=spans_us, rpm=st.integers(0, 150))
def test_late_early_and_doubled_steps_keep_every_promise(
    settings: Settings, start_us: int, spans_us: list, rpm: int
):
    rig = Rig(settings, start_us)
    Watch(rig)
    rig.ready().run(1_000, rpm=rpm, wheel_mm_per_s=3_000)
    for span_us in spans_us:
        rig.step(span_us)


noises = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 4_999), st.booleans()), max_size=200)


@given(settings=legal_settings(), noise=noises, rpm=cadences_rpm)
def test_noise_on_the_pedal_sensor_breaks_no_promise(settings: Settings, noise: list, rpm: int):
    rig = Rig(settings)
    Watch(rig, noisy=True)
    rig.ready().run(500, rpm=rpm, wheel_mm_per_s=2_000)
    make_noise(rig, noise)


@every_kind
@few_of_each_kind
@given(data=st.data(), noise=noises)
def test_noise_on_the_pedal_sensor_of_a_ride_that_drives_breaks_no_promise(
    kind: Kind, data: st.DataObject, noise: list
):
    rig = Rig(data.draw(driving_settings(**kind)))
    watch = Watch(rig, noisy=True)
    start_driving(rig)
    assert watch.drove
    make_noise(rig, noise)


def make_noise(rig: Rig, noise: list) -> None:
    """Record an edge that no ring made before each step, at times with some rest after it."""
    for levels, after_us, breathe in noise:
        rig.crank_edge(levels, after_us)
        rig.step()
        if breathe:
            rig.run(30)


@given(settings=legal_settings(), ride=rides, cause=st.sampled_from(["battery", "throttle", "edges"]))
def test_a_fault_stays_whatever_is_pedalled_until_it_is_cleared(settings: Settings, ride: list, cause: str):
    rig = Rig(settings)
    Watch(rig)
    rig.ready().run(1_000, rpm=70, wheel_mm_per_s=2_000)
    healthy_mv = (rig.battery_mv, rig.throttle_mv)
    if cause == "battery":
        rig.battery_mv = int(settings.battery_empty_mv) // 2 - 1
    elif cause == "throttle" and settings.throttle_fitted == 1:
        rig.throttle_mv = int(settings.throttle_short_mv) + 1
    else:
        for _ in range(200):
            rig.inputs.crank.record(rig.number(1), rig.number(rig.now_us))
    rig.run(5 * 101)
    first_cause = rig.outputs.fault_cause
    assert first_cause != 0
    rig.battery_mv, rig.throttle_mv = healthy_mv
    for segment in ride:
        ride_segment(rig, {**segment, "clear_requested": False})
        assert rig.outputs.fault_cause == first_cause
        assert rig.state == FAULTED
        assert rig.command_mv == 0


@given(
    settings=legal_settings(), rpm=st.integers(5, 150), throttle_permille=st.sampled_from([0, 1, 500, 1_000])
)
def test_power_up_with_the_controls_in_use_never_drives(settings: Settings, rpm: int, throttle_permille: int):
    rig = Rig(settings)
    Watch(rig)
    # Fast enough that the crank never counts as standing.
    rpm = max(rpm, int(settings.release_rpm))
    throttle_mv = level_mv(settings.throttle_rest_mv + 1, settings.throttle_full_mv, throttle_permille)
    for _ in range(600):
        rig.run(5, rpm=rpm, throttle_mv=throttle_mv, wheel_mm_per_s=1_000)
        assert rig.command_mv == 0
    if settings.throttle_fitted == 1:
        assert rig.state in (WAITING, FAULTED)


@given(settings=legal_settings(throttle_fitted=1, throttle_unpedalled=2), start_us=starts_us)
def test_a_throttle_open_since_power_up_never_drives(settings: Settings, start_us: int):
    rig = Rig(settings, start_us)
    Watch(rig)
    rig.full_throttle()
    rig.run(3_000)
    assert rig.command_mv == 0
    assert rig.state in (WAITING, FAULTED)


@given(settings=legal_settings(sensor_kind=0), rpm=st.integers(1, 200), seconds=st.integers(1, 4))
def test_pedalling_backward_alone_never_drives(settings: Settings, rpm: int, seconds: int):
    rig = Rig(settings)
    watch = Watch(rig)
    rig.ready().run(seconds * 1_000, rpm=-rpm, wheel_mm_per_s=1_500)
    assert not watch.drove


@given(
    moves=st.lists(st.tuples(st.integers(0, 4), st.integers(1, 120)), min_size=1, max_size=60),
    lead=st.integers(0, 1),
    pulses=st.sampled_from([4, 6, 12, 24, 64]),
    engage_edges=st.integers(5, 6),
)
def test_rocking_within_one_pitch_never_engages(moves: list, lead: int, pulses: int, engage_edges: int):
    eager = {"engage_edges": engage_edges, "engage_rpm": 5, "release_rpm": 4}
    rig = Rig(settings_with(lead=lead, pulses_per_rev=pulses, **eager))
    watch = Watch(rig, noisy=True)
    rig.ready()
    ring = [0, 2, 3, 1] if lead else [0, 1, 3, 2]
    place = 0
    rig.crank_edge(ring[0])
    rig.run(5)
    for target, rest_ms in moves:
        while place != target:
            place += 1 if target > place else -1
            rig.crank_edge(ring[place % 4])
            rig.run(max(rest_ms, 5))
            assert rig.state != ASSISTING
    assert not watch.drove
    assert rig.throttle_mv == REST_MV
