"""The step-through: one duty-coded wire of 32 pulses on channel B, a torque controller, no shunt, a knob."""

import pytest

from tests.ride.riding import Ridden, bike_with, course

ON_A_STAND = "at_s = 0; cadence_rpm = 0; crank_free = true; roller_km_per_h = 12"


def test_forward_pedalling_is_helped_and_backward_pedalling_is_not(tmp_path):
    # Assistance only while pedalling forward: EN 15194 4.2.13.1 a, by the parallel text TBIS 15194:2019.
    ridden = Ridden(
        bike_with("step_through"),
        course(tmp_path, 20, ON_A_STAND, "at_s = 3; cadence_rpm = 60", "at_s = 10; cadence_rpm = -60"),
    )
    assert ridden.drove(4, 10)
    assert not ridden.commanded(10.6, 20)


def test_every_edge_arrives_on_wire_b(tmp_path):
    ridden = Ridden(bike_with("step_through"), course(tmp_path, 10, ON_A_STAND, "at_s = 3; cadence_rpm = 60"))
    assert {levels for _, levels in ridden.log.edges} == {0, 2}
    # 32 pulses, two edges each, once a second.
    assert sum(5_000_000 <= time_us < 8_000_000 for time_us, _ in ridden.log.edges) == pytest.approx(
        192, abs=2
    )


def test_a_firmware_set_for_wire_a_hears_nothing(tmp_path):
    ridden = Ridden(
        bike_with("step_through", settings={"lead": 0}),
        course(tmp_path, 10, ON_A_STAND, "at_s = 3; cadence_rpm = 60"),
    )
    assert not ridden.commanded(0, 10)


def test_noise_and_a_cut_wire_reach_the_wire_that_is_there(tmp_path):
    noisy = Ridden(
        bike_with("step_through"),
        course(tmp_path, 8, 'at_s = 0; cadence_rpm = 0; fault = [{name = "noise", per_s = 50}]'),
    )
    assert {levels for _, levels in noisy.log.edges} == {0, 2}
    for channel, helped in (("A", True), ("B", False)):
        fault = f'fault = [{{name = "channel stuck high", channel = "{channel}"}}]'
        ridden = Ridden(
            bike_with("step_through"),
            course(tmp_path, 14, ON_A_STAND, "at_s = 3; cadence_rpm = 60", f"at_s = 8; {fault}"),
        )
        assert ridden.drove(9, 14) == helped


def test_the_knob_scales_the_help_without_a_shunt(tmp_path):
    ridden = Ridden(
        bike_with("step_through"),
        course(
            tmp_path, 24, ON_A_STAND, "at_s = 3; cadence_rpm = 60", "at_s = 10; selector_percent = 50",
            "at_s = 17; selector_percent = 0",
        ),
    )  # fmt: skip
    full, half = (
        sum(sample.power_w for sample in ridden.log.samples if begin_s <= sample.time_s < begin_s + 3.0) / 600
        for begin_s in (7.0, 14.0)
    )
    assert 100.0 < full <= 250.0
    assert 0.3 * full < half < 0.65 * full
    assert not ridden.drove(18, 24)
