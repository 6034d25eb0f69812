"""Started by MicroPython at power-up. The order matters: the safe output first, then the rest."""

from machine import Pin, reset

from boards.esp32_devkitc import pins

Pin(pins.DRIVE_ENABLE, Pin.OUT, value=0)  # A soft reset leaves pins as they were.
Pin(pins.COMMAND_DAC, Pin.OUT, value=0)

import micropython  # noqa: E402

micropython.alloc_emergency_exception_buf(100)

from boards.esp32_devkitc.board import Esp32Board  # noqa: E402
from boards.paced_port import PacedPort  # noqa: E402
from boards.services import Flash  # noqa: E402
from boards.starting import ride, stay_in_maintenance  # noqa: E402

board = Esp32Board()
flash = Flash("")
if not stay_in_maintenance(board, flash):
    # Settings, constructors, collection, interrupts, watchdog, loop.
    ride(board, flash, PacedPort(board), "esp32_devkitc")
    reset()
