"""The firmware's controller in the board form."""

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import Settings
from host_sim.forms.program import read_firmware
from host_sim.forms.viper.module import Fused

MODULE = "firmware/controller.py"
"""The file that the generated module replaces."""


def fused_firmware(wide: bool = False) -> Fused:
    """Return the generated module; `wide` for a MicroPython of 64 bits."""
    return Fused(read_firmware(), Controller(Settings({}), 0), {"Inputs": Inputs()}, wide)
