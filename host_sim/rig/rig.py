"""A rig that steps a controller with an ideal ring and wheel, every 5 ms, in integers of 31 bits.

The rig has no physics. It turns a crank and a wheel at the rates you set, writes the edges of an
ideal magnet ring in whole microseconds, and steps the controller every 5 ms. By default it starts 1 ms
before the tick wrap, and every number it passes on is a SmallInt.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.rig.ring import Ring
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

WRAP_US = 2**30
BEFORE_WRAP_US = WRAP_US - 1_000
REST_MV = 700
FULL_MV = 4_000


class Rig:
    """A controller, its inputs, a crank and a wheel. Set `rpm`, the speed and the levers, then `run`."""

    def __init__(
        self,
        settings: Settings | None = None,
        start_us: int = BEFORE_WRAP_US,
        ring_lead: int | None = None,
        number: Callable[[int], int] = SmallInt,
        build: Callable[[Settings, int], Controller] | None = None,
    ) -> None:
        """Start at standstill with the controls at rest, a full battery and the brake released.

        `ring_lead` reverses the sensor, `number` converts each number that is passed on, `build` makes the
        controller: None for the firmware's own.
        """
        self.settings = settings if settings is not None else settings_with()
        self.number = number
        self.now_us = start_us
        self.elapsed_us = 0  # Since the start, without a wrap.
        self.controller = (build or Controller)(self.settings, number(start_us))
        self.inputs = Inputs()
        self.ring = Ring(self.settings, ring_lead)
        self.rpm = 0
        self.wheel_mm_per_s = 0
        self._wheel_way = 0
        self.throttle_mv = (int(self.settings.throttle_open_mv) + int(self.settings.throttle_rest_mv)) // 2
        self.selector_mv = int(self.settings.selector_high_mv)
        self.battery_mv = int(self.settings.battery_highest_mv) - 1
        self.current_ma = 0
        self.motor_decicelsius = 200
        self.brake_pulled = False
        self.clear_requested = False
        self.draws_current = True
        self.outputs: Outputs = self.controller.outputs
        self.last_forward_us: int | None = None  # True forward edges, in `elapsed_us`.
        self.last_edge_us: int | None = None
        self.backward_in_row = 0
        self.wheel_pulses_us: list[int] = []
        self.after_step: list[Callable[[Rig, int], None]] = []

    @property
    def command_mv(self) -> int:
        """The last command."""
        return self.outputs.command_mv

    @property
    def state(self) -> int:
        """The engagement state."""
        return self.controller.engagement.state

    def full_throttle(self) -> None:
        """Open the throttle fully."""
        self.throttle_mv = int(self.settings.throttle_full_mv)

    def release_throttle(self) -> None:
        """Release the throttle."""
        self.throttle_mv = int(self.settings.throttle_rest_mv)

    def crank_edge(self, levels: int, after_us: int = 0) -> None:
        """Record a crank edge `after_us` from now, independent of the ring."""
        self.last_edge_us = self.elapsed_us + after_us
        self.inputs.crank.record(self.number(levels), self.number((self.now_us + after_us) % WRAP_US))

    def step(self, span_us: int = CONTROL_PERIOD_US) -> Outputs:
        """Let `span_us` pass, record the edges in it, and step the controller."""
        self._turn_crank(span_us)
        self._turn_wheel(span_us)
        self.now_us = (self.now_us + span_us) % WRAP_US
        self.elapsed_us += span_us
        number = self.number
        inputs = self.inputs
        inputs.sampled_us = number(self.now_us)
        inputs.throttle_mv = number(self.throttle_mv)
        inputs.selector_mv = number(self.selector_mv)
        inputs.battery_mv = number(self.battery_mv)
        inputs.motor_decicelsius = number(self.motor_decicelsius)
        if self.draws_current:  # About 10 A per volt above the dead band: a current that makes sense.
            above_mv = max(self.outputs.command_mv - int(self.settings.command_start_mv), 0)
            self.current_ma = 200 + above_mv * 10 if self.outputs.command_mv > 0 else 0
        inputs.current_ma = number(self.current_ma)
        inputs.brake_pulled = self.brake_pulled
        inputs.clear_requested = self.clear_requested
        before_mv = self.outputs.command_mv
        self.outputs = self.controller.step(inputs, number(self.now_us))
        for look in self.after_step:
            look(self, before_mv)
        return self.outputs

    def run(self, span_ms: int, **changes: Any) -> Outputs:
        """Set attributes from `changes`, then run steps of 5 ms for `span_ms`."""
        for name, value in changes.items():
            if not hasattr(self, name):
                raise AttributeError(name)
            setattr(self, name, value)
        for _ in range(span_ms * 1_000 // CONTROL_PERIOD_US):
            self.step()
        return self.outputs

    def until(self, reached: Callable[[Rig], bool], at_most_ms: int) -> int:
        """Step until `reached`; return the milliseconds it took, or fail."""
        for steps in range(at_most_ms * 1_000 // CONTROL_PERIOD_US):
            if reached(self):
                return steps * CONTROL_PERIOD_US // 1_000
            self.step()
        raise AssertionError(f"not reached within {at_most_ms} ms")

    def ready(self) -> Rig:
        """Keep everything at rest until the controller is ready; return the rig."""
        rest_ms = 60_000 // (int(self.settings.pulses_per_rev) * int(self.settings.release_rpm)) + 700
        self.run(rest_ms)
        return self

    def _turn_crank(self, span_us: int) -> None:
        rest_us = 60_000_000 // (int(self.settings.pulses_per_rev) * int(self.settings.release_rpm)) + 500_000
        for after_us, levels in self.ring.edges(self.rpm, span_us):
            if self.last_edge_us is None or self.elapsed_us + after_us - self.last_edge_us > rest_us:
                self.backward_in_row = 0  # A rest between two runs.
            self.crank_edge(levels, after_us)
            if self.rpm > 0:
                self.last_forward_us = self.last_edge_us
                self.backward_in_row = 0
            else:
                self.backward_in_row += 1

    def _turn_wheel(self, span_us: int) -> None:
        """Write the wheel's pulses: a rise at each magnet and a fall a tenth of the way on."""
        pitch = int(self.settings.wheel_circumference_mm) * 1_000_000
        rate = self.wheel_mm_per_s * int(self.settings.wheel_pulses_per_rev)
        if rate == 0:
            return
        mark = pitch // 10
        left = rate * span_us
        after = 0
        while True:
            rising = self._wheel_way < pitch
            ahead = (pitch if rising else pitch + mark) - self._wheel_way
            if ahead > left:
                break
            left -= ahead
            after += ahead
            self._wheel_way = pitch if rising else mark
            after_us = after // rate
            at_us = self.number((self.now_us + after_us) % WRAP_US)
            self.inputs.wheel.record(self.number(1 if rising else 0), at_us)
            if rising:
                self.wheel_pulses_us.append(self.elapsed_us + after_us)
        self._wheel_way += left
