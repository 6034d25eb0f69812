"""pyboard v1.1: a converter with twelve bits for the command, five inputs, hard interrupts.

Expiry: a hardware timer whose interrupt is always hard, every 10 ms, puts the output to zero 50 to 60 ms
after the last write; the watchdog resets the chip after 1 s.
"""

from machine import ADC, WDT, Pin
from pyb import DAC, Timer

from boards.analog import ntc_decicelsius, scaled
from boards.pyboard import pins
from boards.wired_board import TICK_MS, WATCHDOG_MS, WiredBoard
from firmware.records import Inputs


class PyboardBoard(WiredBoard):
    """The adapter. Constructing it puts the output to zero."""

    def __init__(self) -> None:
        """Take the pins and start the timer that lets the command expire."""
        # Unbuffered: the buffer can't output zero. The amplifier's input must be 1.5 Mohm or more.
        self._dac = DAC(pins.COMMAND_DAC_PORT, bits=12, buffering=False)
        WiredBoard.__init__(self, pins)
        self._throttle = ADC(Pin(pins.THROTTLE_ADC))
        self._selector = ADC(Pin(pins.SELECTOR_ADC))
        self._battery = ADC(Pin(pins.BATTERY_ADC))
        self._current = ADC(Pin(pins.CURRENT_ADC))
        self._heat = ADC(Pin(pins.HEAT_ADC))
        self._watchdog: WDT | None = None
        self._timer = Timer(pins.EXPIRY_TIMER, freq=1_000 // TICK_MS)
        self._timer.callback(self._tick)

    def start_watchdog(self) -> None:
        """Start the watchdog, once; it can't be stopped."""
        if self._watchdog is None:
            self._watchdog = WDT(timeout=WATCHDOG_MS)

    def feed_watchdog(self) -> None:
        """Feed the watchdog after a completed step."""
        if self._watchdog is not None:
            self._watchdog.feed()

    def _put_mv(self, command_mv: int) -> None:
        self._dac.write(min(command_mv * 4_095 // pins.COMMAND_FULL_MV, 4_095))

    def _measure(self, inputs: Inputs) -> None:
        inputs.throttle_mv = scaled(self._throttle.read_u16(), pins.LEVER_FULL_MV)
        inputs.selector_mv = scaled(self._selector.read_u16(), pins.LEVER_FULL_MV)
        inputs.battery_mv = scaled(self._battery.read_u16(), pins.BATTERY_FULL_MV)
        inputs.current_ma = scaled(self._current.read_u16(), pins.CURRENT_FULL_MA)
        inputs.motor_decicelsius = ntc_decicelsius(self._heat.read_u16())
