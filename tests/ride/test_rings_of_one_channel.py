"""Every one-channel ring that a bike file may describe is taken for pedalling, however its cadence changes.

The firmware takes pulses of under an eighth of a pitch for noise, so the shares of these rings and their
unevenness go up to what `host_sim/bikes/fit.py` allows. The crank is turned without physics: starts of 20 to
250 rpm a second from any place of the ring, stops, changes of pace, a swing of up to a fifth within a turn.
"""

from math import cos, pi
from random import Random

import pytest

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import ONE_CHANNEL, Settings
from host_sim.bikes import fit
from host_sim.bikes.model import PedalSensor
from host_sim.plant import pedal_sensor
from tests.property.watch import SpyGuard
from tests.quick_first import quick_first

RIDES = 80
SECONDS = 30.0
STEP_S = 0.005
STEADY_S = 1.5
WHEEL_STEPS = 150  # A turn of 2.1 m in 0.75 s: 10 km/h.


def random_ring(draw: Random) -> PedalSensor:
    """Return a ring from all over what a bike file may hold, often at its limits."""
    while True:
        pulses = draw.choice((4, 5, 6, 8, 10, 12, 16, 24, 32, 64))
        ring = PedalSensor(
            kind="one channel",
            pulses_per_rev=pulses,
            side="right",
            duty_percent=draw.choice((20.0, 80.0, draw.uniform(20.0, 80.0))),
            angle_errors_deg=[draw.uniform(-0.15, 0.15) * 360.0 / pulses for _ in range(pulses)],
            hysteresis_deg=draw.uniform(0.0, 0.05) * 360.0 / pulses,
        )
        try:
            fit._check_sensor(ring)
        except ValueError:
            continue
        return ring


class Legs:
    """A cadence that goes from target to target: starts, stops and changes of pace."""

    def __init__(self, draw: Random) -> None:
        self.draw = draw
        self.rpm = self.target_rpm = 0.0
        self.next_s = 3.0  # The crank is seen at rest first.
        self.rate = 100.0
        self.steady_s = 0.0

    def advance(self, now_s: float) -> None:
        if now_s >= self.next_s:
            self.target_rpm = 0.0 if self.draw.random() < 0.3 else self.draw.uniform(35.0, 110.0)
            self.rate = self.draw.uniform(20.0, 250.0)
            self.next_s = now_s + self.draw.uniform(1.0, 6.0)
        steady = self.rpm == self.target_rpm and self.rpm > 0.0
        self.steady_s = self.steady_s + STEP_S if steady else 0.0
        way = self.rate * STEP_S
        self.rpm = min(max(self.target_rpm, self.rpm - way), self.rpm + way)


@pytest.mark.parametrize("first", quick_first(1, range(0, RIDES, 20)))
def test_a_healthy_ring_is_never_taken_for_noise(first):
    engaged = 0
    for number in range(first, first + 20):
        draw = Random(f"ring {number}")
        ring = random_ring(draw)
        errors_deg = ring.magnet_errors_deg()
        start_rad = draw.uniform(0.0, 2.0 * pi)
        sensor = pedal_sensor.PedalSensor(
            "one_channel",
            ring.pulses_per_rev,
            True,
            ring.duty_percent / 100.0,
            90.0,
            errors_deg,
            ring.hysteresis_deg,
            start_rad,
        )
        gaps = max(fit.edge_gaps(ring)) + fit.neighbour_error(ring)
        settings = Settings(
            {
                "sensor_kind": ONE_CHANNEL,
                "pulses_per_rev": ring.pulses_per_rev,
                "edge_gap_permille": min(int(gaps * 1000.0) + 1, 1000),
                "engage_edges": max(3, round(ring.pulses_per_rev / 3)),
                "release_rpm": 8,
                "cutoff_distance_mm": 5000,
                "stop_pitch_percent": 200,
                "throttle_fitted": 0,
            }
        )
        engaged += _ride(draw, sensor, settings, start_rad, draw.uniform(0.0, 0.2))
    assert engaged > 20 * 1_000


def _ride(draw, sensor, settings, angle_rad, swing) -> int:
    """Ride, assert in every step, and return in how many the rider's pedalling was steady and helped."""
    controller = Controller(settings, 0)
    guard = controller.guard = SpyGuard(settings, 0)
    inputs = Inputs()
    inputs.brake_pulled = False
    inputs.battery_mv = 40_000
    legs = Legs(draw)
    engaged = 0
    for step in range(int(SECONDS / STEP_S)):
        now_s = step * STEP_S
        legs.advance(now_s)
        rad_per_s = legs.rpm * pi / 30.0 * (1.0 + swing * cos(2.0 * angle_rad))
        to_rad = angle_rad + rad_per_s * STEP_S
        for index in range(sensor.advance(angle_rad, to_rad, now_s, STEP_S)):
            inputs.crank.record(sensor.edge_levels[index], round(sensor.edge_times_s[index] * 1e6))
        angle_rad = to_rad
        inputs.sampled_us = round((now_s + STEP_S) * 1e6)
        inputs.current_ma = 5_000 if controller.outputs.command_mv > 0 else 0
        if step % WHEEL_STEPS == 0:
            inputs.wheel.record(1, inputs.sampled_us)
            inputs.wheel.record(0, inputs.sampled_us)
        controller.step(inputs, inputs.sampled_us)
        assert controller.crank.rejected == 0, (now_s, legs.rpm)
        assert guard.permitted_mv == guard.asked_mv, (now_s, legs.rpm)
        if legs.steady_s > STEADY_S:
            assert guard.permitted_mv > 0, (now_s, legs.rpm)
            engaged += 1
    return engaged
