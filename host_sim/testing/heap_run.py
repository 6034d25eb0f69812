"""Runs under MicroPython: steps any controller while the heap is locked.

Arguments: its module, its class, the number of steps, and settings as JSON.
"""

# ruff: noqa: T201

import gc
import json
import sys

import micropython

from firmware.records import Inputs
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US, ticks_add_us

LEVELS = (1, 3, 2, 0)


class Ride:
    """Turns a crank with 12 pulses at 60 rpm and a wheel at 2.1 m/s: forward, at rest, backward."""

    def __init__(self) -> None:
        """Start before the wrap of the clock."""
        self.inputs = Inputs()
        self.now_us = TICKS_MAX_US - 500_000
        self.place = 0
        self.edge_in = 0

    def step(self, number: int) -> None:
        """Record what moves in one control period."""
        inputs = self.inputs
        self.now_us = ticks_add_us(self.now_us, CONTROL_PERIOD_US)
        inputs.sampled_us = self.now_us
        inputs.throttle_mv = 700
        inputs.selector_mv = 4_500
        inputs.battery_mv = 38_000
        inputs.current_ma = 1_000
        inputs.motor_decicelsius = 250
        inputs.brake_pulled = number % 500 > 480
        phase = number % 1_000
        self.edge_in += 1
        if phase >= 300 and self.edge_in >= 4:  # 48 edges a second.
            self.edge_in = 0
            self.place = (self.place + (1 if phase < 850 else 3)) & 3
            inputs.crank.record(LEVELS[self.place], self.now_us)
        if number % 200 == 0:
            inputs.wheel.record(1, self.now_us)
        elif number % 200 == 20:
            inputs.wheel.record(0, self.now_us)


def made(kind, settings: Settings, now_us: int):  # type: ignore[no-untyped-def]
    """Build the controller, with the time if its constructor takes it."""
    try:
        return kind(settings, now_us)
    except TypeError:
        return kind(settings)


def main() -> None:
    """Run the steps and print how many drove."""
    module, name, steps, values = sys.argv[1:5]
    gc.disable()
    ride = Ride()
    place = __import__(module)
    for part in module.split(".")[1:]:
        place = getattr(place, part)
    controller = made(getattr(place, name), Settings(json.loads(values)), ride.now_us)
    driving = 0
    micropython.heap_lock()
    for number in range(int(steps)):
        ride.step(number)
        outputs = controller.step(ride.inputs, ride.now_us)
        if outputs.command_mv > 0:
            driving += 1
    micropython.heap_unlock()
    print("driving", driving)


main()
