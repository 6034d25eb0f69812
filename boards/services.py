"""What MicroPython brings to every board: files, check sums, the port, the heap."""

import binascii
import gc
import os
import select
import sys

from firmware.link.port import Port
from firmware.link.store import Storage
from firmware.loop import Heap

MAINTENANCE_FLAG = "maintenance"


class Flash(Storage):
    """Files in one folder of the board's file system."""

    def __init__(self, folder: str) -> None:
        """Use `folder`, which ends in a slash or is empty."""
        self._folder = folder

    def read(self, name: str) -> bytes:
        """Return the whole content of the file `name`; nothing if there is none."""
        try:
            file = open(self._folder + name, "rb")  # noqa: SIM115
        except OSError:
            return b""
        try:
            return file.read()
        finally:
            file.close()

    def write(self, name: str, content: bytes) -> None:
        """Put `content` into the file `name`, in place where it has that size already."""
        mode = "r+b" if len(self.read(name)) == len(content) else "wb"
        file = open(self._folder + name, mode)  # noqa: SIM115
        try:
            file.write(content)
        finally:
            file.close()
        if hasattr(os, "sync"):
            os.sync()

    def take_away(self, name: str) -> bool:
        """Remove the file `name`; tell whether it was there."""
        try:
            os.remove(self._folder + name)
        except OSError:
            return False
        return True

    def crc32(self, content: bytes) -> int:
        """Return the CRC-32 of `content`."""
        return binascii.crc32(content)


class StandardPort(Port):
    """Standard input and output: USB or a serial adapter on a board, a pipe or a terminal on a host."""

    def __init__(self) -> None:
        """Watch both without waiting for either."""
        self._incoming = select.poll()
        self._incoming.register(sys.stdin, select.POLLIN)
        self._outgoing = select.poll()
        self._outgoing.register(sys.stdout, select.POLLOUT)
        self._byte = bytearray(1)

    def readable(self) -> bool:
        """Tell whether a byte, or the end, can be read at once."""
        for _ in self._incoming.ipoll(0):
            return True
        return False

    def read_byte(self) -> int:
        """Return the next byte; -1 if the other side has closed."""
        return self._byte[0] if sys.stdin.buffer.readinto(self._byte) == 1 else -1

    def writable(self) -> bool:
        """Tell whether a byte can be written at once."""
        for _ in self._outgoing.ipoll(0):
            return True
        return False

    def write_byte(self, value: int) -> None:
        """Write one byte, 0 to 255."""
        self._byte[0] = value
        sys.stdout.buffer.write(self._byte)


class Collector(Heap):
    """Collects garbage when the loop finds time for it."""

    def collect(self) -> None:
        """Collect garbage."""
        gc.collect()
