"""What the real boards have in common; each adds its converters and its command output.

Interrupt handlers record levels and time, nothing else, and allocate no memory. The board's own timer
lets the command expire: it ticks every TICK_MS, and when the last `write` is older than its
`valid_for_us` it puts the output to zero, at most one tick later.
"""

from time import ticks_us

from machine import Pin

from boards.startable import StartableBoard
from firmware.records import INDICATE_FAULT, INDICATE_WAITING, Inputs, Outputs
from firmware.ticks import TICKS_MAX_US

TICK_MS = 10
TICK_US = 10_000
WATCHDOG_MS = 1_000
_TICKS_MAX = 1_000
# The lamp is on while this bit of the count of steps is 0: always, or blinking every 80 or 640 ms.
_ALWAYS = 0
_FAST = 16
_SLOW = 128


class WiredBoard(StartableBoard):
    """A board with pins. A subclass fills in `_measure`, `_put_mv` and `feed_watchdog`."""

    def __init__(self, pins) -> None:  # type: ignore[no-untyped-def]
        """Put the output to zero first, then take the pins; `pins` is the module with the numbers."""
        self._enable = Pin(pins.DRIVE_ENABLE, Pin.OUT, value=0)
        self._put_mv(0)
        self._crank_a = Pin(pins.CRANK_A, Pin.IN, Pin.PULL_UP)
        self._crank_b = Pin(pins.CRANK_B, Pin.IN, Pin.PULL_UP)
        self._wheel = Pin(pins.WHEEL, Pin.IN, Pin.PULL_UP)
        self._brake = Pin(pins.BRAKE, Pin.IN, Pin.PULL_UP)
        self._clear = Pin(pins.CLEAR_BUTTON, Pin.IN, Pin.PULL_UP)
        self._strap = Pin(pins.MAINTENANCE, Pin.IN, Pin.PULL_UP)
        self._safe_start = Pin(pins.SAFE_START, Pin.IN, Pin.PULL_UP)
        self._lamp = Pin(pins.LAMP, Pin.OUT, value=0)
        inputs = Inputs()
        self._crank_log = inputs.crank
        self._wheel_log = inputs.wheel
        self._age_ticks = 0
        self._valid_ticks = 0
        self._clear_was_up = False
        self._steps = 0

    def now_us(self) -> int:
        """Return the time, 0 to TICKS_MAX_US."""
        return ticks_us() & TICKS_MAX_US  # type: ignore[operator]

    def maintenance_wanted(self) -> bool:
        """Return whether the maintenance pin is connected to ground."""
        return self._strap.value() == 0

    def safe_start_wanted(self) -> bool:
        """Return whether the safe-start pin is connected to ground."""
        return self._safe_start.value() == 0

    def attach(self, inputs: Inputs) -> None:
        """Send every edge from now on to the logs of `inputs`."""
        self._crank_log = inputs.crank
        self._wheel_log = inputs.wheel
        both = Pin.IRQ_RISING | Pin.IRQ_FALLING
        hard_if_there(self._crank_a.irq, {"handler": self._crank_moved, "trigger": both})
        hard_if_there(self._crank_b.irq, {"handler": self._crank_moved, "trigger": both})
        hard_if_there(self._wheel.irq, {"handler": self._wheel_moved, "trigger": both})

    def read(self, inputs: Inputs) -> int:
        """Measure everything and return the time at which that began, 0 to TICKS_MAX_US."""
        now_us: int = ticks_us() & TICKS_MAX_US  # type: ignore[operator]
        inputs.sampled_us = now_us
        self._measure(inputs)
        if self._clear.value() == 1:
            self._clear_was_up = True
        elif self._clear_was_up:
            self._clear_was_up = False  # One request per push: a stuck button clears nothing.
            inputs.clear_requested = True
        # Last, so that a pulled brake acts soonest. A released lever closes the switch to ground: an
        # open contact and a broken wire look the same.
        inputs.brake_pulled = self._brake.value() == 1
        return now_us

    def write(self, outputs: Outputs) -> None:
        """Output the command; it expires by itself after `valid_for_us`."""
        self._valid_ticks = outputs.valid_for_us // TICK_US
        self._age_ticks = 0
        if outputs.drive_enabled and outputs.command_mv > 0:
            self._put_mv(outputs.command_mv)
            self._enable.value(1)
        else:
            self._go_safe()
        self._show(outputs.indicator)

    def _measure(self, inputs: Inputs) -> None:
        """Read the converters into `inputs`, in millivolts, milliamperes and tenths of a degree."""
        raise NotImplementedError

    def _put_mv(self, command_mv: int) -> None:
        """Set the command output, 0 to 5000 mV behind the amplifier. Called from the timer, too."""
        raise NotImplementedError

    def _go_safe(self) -> None:
        self._enable.value(0)
        self._put_mv(0)

    def _crank_moved(self, _pin: object) -> None:
        now_us = ticks_us() & TICKS_MAX_US  # type: ignore[operator]
        self._crank_log.record(self._crank_a.value() | self._crank_b.value() << 1, now_us)

    def _wheel_moved(self, _pin: object) -> None:
        now_us = ticks_us() & TICKS_MAX_US  # type: ignore[operator]
        self._wheel_log.record(self._wheel.value(), now_us)

    def _tick(self, _timer: object) -> None:
        """Let the command expire: called by the timer every TICK_MS."""
        if self._age_ticks < _TICKS_MAX:
            self._age_ticks += 1
        if self._age_ticks > self._valid_ticks:
            self._go_safe()

    def _show(self, indicator: int) -> None:
        self._steps = (self._steps + 1) & 0xFFFF
        blinking = _ALWAYS
        if indicator == INDICATE_FAULT:
            blinking = _FAST
        elif indicator == INDICATE_WAITING:
            blinking = _SLOW
        self._lamp.value(1 if self._steps & blinking == 0 else 0)


def hard_if_there(set_up, words) -> None:  # type: ignore[no-untyped-def]
    """Call `set_up(**words)` with a hard interrupt, or without if the port has none."""
    try:
        set_up(hard=True, **words)
    except (TypeError, ValueError):
        set_up(**words)
