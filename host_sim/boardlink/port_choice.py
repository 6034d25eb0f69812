"""Finds the serial port of the board."""

from pathlib import Path
from typing import Any

from host_sim.errors import RequestError
from host_sim.textfile import spoken

CONNECT = "connect the board with a USB cable that carries data (many only charge)"


class NoBoard(Exception):
    """No board is connected; the message is one sentence."""


def choose_port(given: str | None) -> str:
    """Return the given port, or the only USB port.

    RequestError if the given one does not exist or there are several, NoBoard if there is none.
    """
    boards = _usb_ports()
    if given is not None:
        if given in boards or _exists(given):
            return given
        there = ", ".join(boards) or "none: no board was found on any USB port"
        raise RequestError(f'--port is "{spoken(given[:80])}", which does not exist, allowed is {there}')
    if not boards:
        raise NoBoard(f"no board was found on any USB port, {CONNECT}, or give its port with --port")
    if len(boards) > 1:
        raise RequestError(f"several boards are connected, choose one with --port: {', '.join(boards)}")
    return boards[0]


def _exists(port: str) -> bool:
    """Return whether there is a device of this name; on Windows `COM3` is in the list."""
    try:
        return Path(port).exists() or port in [info.device for info in _all_ports()]
    except (OSError, ValueError):
        return False


def _usb_ports() -> list[str]:
    """Return the serial ports on USB, where boards are; ports built into a computer don't count."""
    return sorted(info.device for info in _all_ports() if info.vid is not None)


def _all_ports() -> list[Any]:
    from serial.tools.list_ports import comports

    return list(comports())
