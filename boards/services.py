"""What MicroPython provides on every board: files, check sums, the port, the heap."""

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
        """Put `content` into the file `name`, in place if it already has that size."""
        mode = "r+b" if len(self.read(name)) == len(content) else "wb"
        file = open(self._folder + name, mode)  # noqa: SIM115
        try:
            file.write(content)
        finally:
            file.close()
        if hasattr(os, "sync"):
            os.sync()

    def take_away(self, name: str) -> bool:
        """Remove the file `name`; return whether it existed."""
        try:
            os.remove(self._folder + name)
        except OSError:
            return False
        return True

    def crc32(self, content: bytes) -> int:
        """Return the CRC-32 of `content`."""
        return binascii.crc32(content)


class StandardPort(Port):
    """Standard input and output: USB or a serial adapter on a board, a pipe or a terminal on a host.

    A USB port reports that it is writable when one byte fits, and waits up to half a second for the
    rest. The link writes whole pieces only, so its buffer (256 bytes on a Pico) has space for a whole
    piece whenever it has room.
    """

    def __init__(self) -> None:
        """Poll both without waiting for either."""
        incoming = select.poll()
        incoming.register(sys.stdin, select.POLLIN)
        outgoing = select.poll()
        outgoing.register(sys.stdout, select.POLLOUT)
        # Looked up once: on a slow board each dot costs as much as an addition.
        self._readable = incoming.ipoll
        self._writable = outgoing.ipoll
        self._read_into = sys.stdin.buffer.readinto
        self._write = sys.stdout.buffer.write
        self._byte = bytearray(1)

    def read(self, into: bytearray, start: int, end: int) -> int:
        """Read what has arrived into `into`, from `start` up to, not including, `end`.

        Stop after the end of a line. Return the number of bytes, or -1 if the other side has closed.
        """
        byte = self._byte
        for at in range(start, end):
            for _ in self._readable(0):
                break
            else:
                return at - start
            # One by one: MicroPython waits until the requested number of bytes has arrived.
            if self._read_into(byte) != 1:
                return at - start if at > start else -1
            into[at] = byte[0]
            if byte[0] == 10:
                return at + 1 - start
        return end - start

    def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
        """Write from `unit`, from `start` up to, not including, `end`; return the number of bytes taken."""
        for _ in self._writable(0):
            # MicroPython's streams take a place and a length, which spares a memoryview.
            return self._write(unit, start, end - start) or 0
        return 0


class Collector(Heap):
    """Collects garbage when the loop has time for it."""

    def collect(self) -> None:
        """Collect garbage."""
        gc.collect()
