"""Runs under MicroPython: stores settings on a disk in memory and cuts the power at every block write.

Usage: micropython tests/power_cut.py littlefs|fat whole|torn [IMAGE]. The drivers are the real ones; the disk
counts what it is asked to write or erase and fails from the cut on. `torn`: the write at the cut is done
by half. After each cut the disk is mounted again, as at the next start. Prints what was found.
"""

# ruff: noqa: T201, SIM105, SIM115

import os
import sys

sys.path.insert(0, "")

from boards.services import Flash
from firmware.link.store import NO_SLOT, Store
from firmware.settings import Settings

NEVER = 1_000_000


class PowerCut(Exception):
    """The power is gone."""


class Disk:
    """A block device in memory, of 16 blocks of 4096 bytes (littlefs) or 128 of 512 (FAT)."""

    def __init__(self, block_size, content, left=NEVER, torn=False):
        self.block_size = block_size
        self.count = len(content) // block_size
        self.content = bytearray(content)
        self.left = left
        self.torn = torn
        self.gone = False  # Files that were open at the cut are closed by the collector: into nothing.

    def readblocks(self, block, buffer, offset=0):
        if self.gone:
            return
        at = block * self.block_size + offset
        buffer[:] = self.content[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        if self.gone:
            return
        self.change(block * self.block_size + offset, bytes(buffer))

    def ioctl(self, operation, block):
        if self.gone:
            return 0
        if operation == 4:
            return self.count
        if operation == 5:
            return self.block_size
        if operation == 6:
            # FAT on a disk like this never erases; littlefs does, before it writes.
            self.change(block * self.block_size, b"\xff" * self.block_size)
        return 0

    def change(self, at, new):
        if self.left == 0:
            if self.torn:
                half = len(new) // 2
                self.content[at : at + half] = new[:half]
                self.torn = False
            raise PowerCut
        self.left -= 1
        self.content[at : at + len(new)] = new


def mount(disk, kind):
    try:
        os.umount("/disk")
    except OSError:
        pass
    file_system = os.VfsLfs2(disk) if kind == "littlefs" else os.VfsFat(disk)
    os.mount(file_system, "/disk")


def start(disk, kind, left=NEVER, torn=False):
    """Return the same content on a fresh disk without open files, mounted."""
    disk.gone = True
    fresh = Disk(disk.block_size, disk.content, left, torn)
    mount(fresh, kind)
    return fresh


def save(engage_rpm):
    store = Store(Flash("/disk/"))
    store.load()
    store.save(Settings({"engage_rpm": engage_rpm}))


def found():
    """Return the engage cadence that the next start would ride with, or none."""
    store = Store(Flash("/disk/"))
    settings = store.load()
    return "none" if store.slot == NO_SLOT else settings.engage_rpm


def cut_at_every_write(before, kind, torn, engage_rpm):
    """Save once for every possible cut; print how often the old, the new and neither was found."""
    start(before, kind)
    old = found()
    olds = news = others = cuts = 0
    while True:
        cut = start(before, kind, cuts, torn)
        try:
            save(engage_rpm)
        except (PowerCut, OSError):
            pass
        else:
            print("saved", engage_rpm, "cuts", cuts, "old", olds, "new", news, "neither", others)
            return cut
        start(cut, kind)
        now = found()
        if now == old:
            olds += 1
        elif now == engage_rpm:
            news += 1
        else:
            others += 1
        # The board must be able to store again, whatever the cut left.
        save(engage_rpm + 30)
        assert found() == engage_rpm + 30
        cuts += 1


def main(kind, torn, image):
    if image:
        # A board's file system as it is delivered: one change of its settings.
        disk = Disk(4096, open(image, "rb").read())
        cut_at_every_write(disk, kind, torn, 21)
        return
    disk = Disk(4096, bytes(16 * 4096)) if kind == "littlefs" else Disk(512, bytes(128 * 512))
    (os.VfsLfs2 if kind == "littlefs" else os.VfsFat).mkfs(disk)
    # From nothing to the first, to the second (its slot is new), to the third and on (both slots are there).
    for engage_rpm in (21, 22, 23, 24):
        disk = cut_at_every_write(disk, kind, torn, engage_rpm)


main(sys.argv[1], sys.argv[2] == "torn", sys.argv[3] if len(sys.argv) > 3 else "")
