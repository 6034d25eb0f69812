"""ESP32 DevKitC: a converter with eight bits for the command, five calibrated inputs, soft interrupts.

Expiry: the port has no hard timer for Python, so the timer of 10 ms is a soft one. It puts the output to
zero 50 to 60 ms after the last write as long as the interpreter runs; if the interpreter hangs, only
the watchdog ends the command, after 1 s.
"""

from machine import ADC, DAC, WDT, Pin, Timer

from boards.analog import RAW_MAX, ntc_decicelsius
from boards.esp32_devkitc import pins
from boards.wired_board import TICK_MS, WATCHDOG_MS, WiredBoard, hard_if_there
from firmware.records import Inputs


class Esp32Board(WiredBoard):
    """The adapter. Constructing it puts the output to zero."""

    def __init__(self) -> None:
        """Take the pins and start the timer that lets the command expire."""
        self._dac = DAC(Pin(pins.COMMAND_DAC))
        WiredBoard.__init__(self, pins)
        self._throttle = ADC(Pin(pins.THROTTLE_ADC), atten=ADC.ATTN_11DB)
        self._selector = ADC(Pin(pins.SELECTOR_ADC), atten=ADC.ATTN_11DB)
        self._battery = ADC(Pin(pins.BATTERY_ADC), atten=ADC.ATTN_11DB)
        self._current = ADC(Pin(pins.CURRENT_ADC), atten=ADC.ATTN_11DB)
        self._heat = ADC(Pin(pins.HEAT_ADC), atten=ADC.ATTN_11DB)
        self._watchdog: WDT | None = None
        self._timer = Timer(0)
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
        self._dac.write(min(command_mv * 255 // pins.COMMAND_FULL_MV, 255))

    def _measure(self, inputs: Inputs) -> None:
        # read_uv is calibrated on this port, read_u16 is not; microvolts up to 3.3 V fit a small int.
        inputs.throttle_mv = self._throttle.read_uv() // 1_000 * pins.LEVER_FULL_MV // pins.PIN_FULL_MV
        inputs.selector_mv = self._selector.read_uv() // 1_000 * pins.LEVER_FULL_MV // pins.PIN_FULL_MV
        inputs.battery_mv = self._battery.read_uv() // 1_000 * pins.BATTERY_FULL_MV // pins.PIN_FULL_MV
        inputs.current_ma = self._current.read_uv() // 1_000 * pins.CURRENT_FULL_MA // pins.PIN_FULL_MV
        heat_mv = self._heat.read_uv() // 1_000
        inputs.motor_decicelsius = ntc_decicelsius(min(heat_mv * RAW_MAX // pins.PIN_FULL_MV, RAW_MAX))
