"""Reads a board's pins.py: the pin of each signal, and the full scales."""

import importlib
from dataclasses import dataclass

from host_sim.errors import RequestError

PIN_FULL_MV = 3_300  # The converter's full scale at the pin, on all boards here.


@dataclass(frozen=True, slots=True)
class BoardPins:
    """Pins by their names in pins.py, as printed on the board; full scales in V and A."""

    board: str
    pins: dict[str, str]
    lever_full_v: float
    battery_full_v: float
    current_full_a: float
    command_full_v: float
    seen_share: float  # Of full scale, above which the converter is saturated.

    @property
    def multiplexed(self) -> bool:
        """Whether selector, battery and motor temperature share one converter through a multiplexer."""
        return "MULTIPLEXED_ADC" in self.pins

    @property
    def pulsed_command(self) -> bool:
        """Whether the command is a pulse width that needs a filter."""
        return "COMMAND_PWM" in self.pins


_PREFIX = {"rpi_pico": "GP", "esp32_devkitc": "IO", "pyboard": ""}


def has_pins(board: str) -> bool:
    """Return whether a board has pins; the desk has none."""
    return board in _PREFIX


def pins_of(board: str) -> BoardPins:
    """Read boards/<board>/pins.py; RequestError for a board that has none."""
    if not has_pins(board):
        raise RequestError(f"the board {board} has no pins, allowed is {', '.join(_PREFIX)}")
    numbers = vars(importlib.import_module(f"boards.{board}.pins"))
    pins = {
        name: f"{_PREFIX[board]}{value}"
        for name, value in numbers.items()
        if name.isupper() and not name.endswith(("_MV", "_MA", "_HZ", "_PORT", "_TIMER"))
    }
    return BoardPins(
        board,
        pins,
        numbers["LEVER_FULL_MV"] / 1000.0,
        numbers["BATTERY_FULL_MV"] / 1000.0,
        numbers["CURRENT_FULL_MA"] / 1000.0,
        numbers["COMMAND_FULL_MV"] / 1000.0,
        numbers.get("PIN_HIGHEST_MV", PIN_FULL_MV) / PIN_FULL_MV,
    )
