"""The smallest closed loop: the whole controller step, and a first-order lag instead of a bicycle.

For measuring what a step costs, and for whoever wants the power loop's answer without a road: a rider who
turns the crank evenly, a wheel at an even speed, and a motor whose battery power follows the command with one
lag.
"""

from math import exp

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US

BATTERY_MV = 38_000
PERIOD_S = 0.005


class FirstOrderLoop:
    """A controller in closed loop with P' = (gain (U - U0) - P) / lag. Read: `power_w`, `steps`, `sum_mv`."""

    __slots__ = (
        "_controller",
        "_edge_us",
        "_inputs",
        "_next_edge_us",
        "_next_wheel_us",
        "_part",
        "_position",
        "_start_v",
        "_w_per_v",
        "_wheel_us",
        "now_us",
        "power_w",
        "steps",
        "sum_mv",
    )

    def __init__(self, settings: Settings, w_per_v: float, lag_s: float, edge_us: int, wheel_us: int) -> None:
        """Start at rest. Crank edges come every `edge_us`, wheel pulses every `wheel_us` (0: none)."""
        self._controller = Controller(settings, 0)
        self._inputs = Inputs()
        self._inputs.brake_pulled = False
        self._inputs.battery_mv = BATTERY_MV
        self._inputs.throttle_mv = settings.throttle_rest_mv
        self._inputs.selector_mv = settings.selector_high_mv
        self._w_per_v = w_per_v
        self._start_v = float(settings.command_start_mv) * 1e-3
        self._part = 1.0 - exp(-PERIOD_S / lag_s)
        self._edge_us = edge_us
        self._wheel_us = wheel_us
        self._next_edge_us = 4_000_000 + edge_us  # First everything has to be seen at rest.
        self._next_wheel_us = wheel_us
        self._position = 0
        self.now_us = 0
        self.power_w = 0.0
        self.steps = 0
        self.sum_mv = 0

    def run(self, steps: int) -> None:
        """Take so many control periods."""
        controller = self._controller
        inputs = self._inputs
        part = self._part
        last = self.steps + steps
        while self.steps < last:  # The compiled copy would make an object of every number of a range.
            self.now_us += CONTROL_PERIOD_US
            self._edges(inputs, self.now_us)
            now_us = self.now_us & TICKS_MAX_US
            inputs.sampled_us = now_us
            inputs.current_ma = int(self.power_w * 1e6) // BATTERY_MV
            outputs = controller.step(inputs, now_us)
            self.sum_mv += outputs.command_mv
            above_v = float(outputs.command_mv) * 1e-3 - self._start_v
            wanted_w = self._w_per_v * above_v if above_v > 0.0 else 0.0
            self.power_w += (wanted_w - self.power_w) * part
            self.steps += 1

    def _edges(self, inputs: Inputs, now_us: int) -> None:
        """Record the edges that are due."""
        while self._edge_us > 0 and self._next_edge_us <= now_us:
            self._position = (self._position + 1) & 3
            levels = self._position ^ (self._position >> 1)
            inputs.crank.record(levels, self._next_edge_us & TICKS_MAX_US)
            self._next_edge_us += self._edge_us
        while self._wheel_us > 0 and self._next_wheel_us <= now_us:
            inputs.wheel.record(1, self._next_wheel_us & TICKS_MAX_US)
            self._next_wheel_us += self._wheel_us
