"""Twenty seconds of a ride fit into the recorder's ring of a board, with noise in every reading.

The noise of a real board was not measured. Assumed are a standard deviation of one step of a Pico's converter
in each reading, a command that answers it, and steps that begin up to 0.3 ms late.
"""

import random

import pytest

from boards.starting import RING_BLOCKS
from firmware.controller import Controller
from firmware.link.block_ring import SPARE_BLOCKS
from firmware.link.recorder import Recorder
from firmware.link.writing import BLOCK_SIZE
from firmware.records import Inputs
from host_sim.rig.small_settings import settings_with

STEPS = 4_000  # 20 s.
# What a step of the converter is in each reading: boards/rpi_pico/pins.py.
THROTTLE_MV, BATTERY_MV, CURRENT_MA = 5_500 / 4_095, 62_700 / 4_095, 33_000 / 4_095


class NoisyRide:
    """Readings around those of a steady ride with noise in each, and edges of both sensors."""

    def __init__(self, seed: int) -> None:
        self.draw = random.Random(seed)
        self.inputs = Inputs()
        self.now_us = 1_000_000
        self.kept = Recorder(
            Controller(settings_with(), self.now_us),
            self.inputs,
            [bytearray(BLOCK_SIZE) for _ in range(RING_BLOCKS)],
            self.now_us,
        )

    def reading(self, middle: float, size: float) -> int:
        return max(round(round(middle / size + self.draw.gauss(0, 1)) * size), 0)

    def step(self, number: int) -> None:
        draw, inputs = self.draw, self.inputs
        late_us = min(round(draw.expovariate(1 / 100)), 300)
        now_us = 1_000_000 + number * 5_000 + late_us
        inputs.throttle_mv = self.reading(850, THROTTLE_MV)
        inputs.current_ma = self.reading(8_000, CURRENT_MA)
        if number % 3 == 0:  # One channel of the multiplexer a step.
            inputs.selector_mv = self.reading(4_200, THROTTLE_MV)
        elif number % 3 == 1:
            inputs.battery_mv = self.reading(38_000, BATTERY_MV)
        else:
            inputs.motor_decicelsius = 450 + round(draw.gauss(0, 2))
        inputs.sampled_us = now_us
        for each, wheel in ((4, False), (16, True)):  # 50 edges a second and 12.
            if number % each == 0:
                self.kept.edge(number // each % 4, now_us - draw.randrange(5_000), wheel)
        outputs = self.kept._controller.outputs
        outputs.command_mv = 2_500 + round(draw.gauss(0, 3))  # The power loop answers the noise.
        outputs.drive_enabled = True
        inputs.brake_pulled = False
        self.kept.note_step(now_us)


@pytest.mark.parametrize("seed", range(3))
def test_twenty_seconds_with_noise_in_every_reading_fit_into_the_ring(seed):
    ride = NoisyRide(seed)
    for number in range(STEPS):
        ride.step(number)
    ride.kept.freeze()
    ring = ride.kept.ring
    assert ring.lost == 0
    first = ring.first_frozen()
    assert int.from_bytes(first[7:11], "little") == 0  # The first of all steps is still there.
    assert ring.frozen <= RING_BLOCKS - SPARE_BLOCKS - 3  # A little more noise has place.
