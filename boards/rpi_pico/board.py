"""Raspberry Pi Pico and Pico 2: PWM with a filter for the command, three converters and a multiplexer.

Expiry: a hardware timer with a hard interrupt every 10 ms (a soft one before MicroPython 1.26) puts the
output to zero 50 to 60 ms after the last write; the watchdog resets the chip after 1 s.
"""

from machine import ADC, PWM, WDT, Pin, Timer

from boards.analog import ntc_decicelsius, scaled
from boards.rpi_pico import pins
from boards.wired_board import TICK_MS, WATCHDOG_MS, WiredBoard, hard_if_there
from firmware.records import Inputs

_SELECTOR = 0
_BATTERY = 1


class PicoBoard(WiredBoard):
    """The adapter. Constructing it puts the output to zero."""

    def __init__(self) -> None:
        """Take the pins and start the timer that lets the command expire."""
        # Frequency and duty in one call; the frequency is never changed.
        self._pwm = PWM(Pin(pins.COMMAND_PWM), freq=pins.PWM_HZ, duty_u16=0)
        WiredBoard.__init__(self, pins)
        self._throttle = ADC(Pin(pins.THROTTLE_ADC))
        self._current = ADC(Pin(pins.CURRENT_ADC))
        self._multiplexed = ADC(Pin(pins.MULTIPLEXED_ADC))
        self._low = Pin(pins.MULTIPLEXER_LOW, Pin.OUT, value=0)
        self._high = Pin(pins.MULTIPLEXER_HIGH, Pin.OUT, value=0)
        self._channel = _SELECTOR
        self._watchdog: WDT | None = None
        self._timer = Timer(-1)
        tick = {"period": TICK_MS, "mode": Timer.PERIODIC, "callback": self._tick}
        hard_if_there(self._timer.init, tick)

    def start_watchdog(self) -> None:
        """Start the watchdog, once; it can't be stopped."""
        if self._watchdog is None:
            self._watchdog = WDT(timeout=WATCHDOG_MS)

    def feed_watchdog(self) -> None:
        """Feed the watchdog after a completed step."""
        if self._watchdog is not None:
            self._watchdog.feed()

    def _put_mv(self, command_mv: int) -> None:
        self._pwm.duty_u16(min(command_mv * 65_535 // pins.COMMAND_FULL_MV, 65_535))

    def _measure(self, inputs: Inputs) -> None:
        inputs.throttle_mv = scaled(self._throttle.read_u16(), pins.LEVER_FULL_MV)
        inputs.current_ma = scaled(self._current.read_u16(), pins.CURRENT_FULL_MA)
        raw = self._multiplexed.read_u16()
        if self._channel == _SELECTOR:
            inputs.selector_mv = scaled(raw, pins.LEVER_FULL_MV)
        elif self._channel == _BATTERY:
            inputs.battery_mv = scaled(raw, pins.BATTERY_FULL_MV)
        else:
            inputs.motor_decicelsius = ntc_decicelsius(raw)
        # The next channel settles until the next reading.
        self._channel = 0 if self._channel == 2 else self._channel + 1
        self._low.value(self._channel & 1)
        self._high.value(self._channel >> 1)
