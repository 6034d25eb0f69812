"""Started by MicroPython at power-up. The order matters: the safe output first, then the rest."""

from machine import Pin, reset

from boards.pyboard import pins

Pin(pins.DRIVE_ENABLE, Pin.OUT, value=0)  # A soft reset leaves pins as they were.
Pin(pins.COMMAND_DAC, Pin.OUT, value=0)

import micropython  # noqa: E402

micropython.alloc_emergency_exception_buf(100)

from boards.pyboard.board import PyboardBoard  # noqa: E402
from boards.services import Flash, StandardPort  # noqa: E402
from boards.starting import ride, stay_in_maintenance  # noqa: E402

board = PyboardBoard()
flash = Flash("")
if not stay_in_maintenance(board, flash):
    # Settings, constructors, collection, interrupts, watchdog, loop.
    ride(board, flash, StandardPort(), "pyboard")
    reset()
