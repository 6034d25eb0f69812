"""Runs under MicroPython: mounts a file system image with the real littlefs driver and works from inside it.

Usage: micropython tests/mounted_image.py IMAGE. Prints one JSON object: every file with size and hash; what
the store inside the image makes of the settings slot inside the image; the same after a change was stored.
"""

# ruff: noqa: T201, SIM115

import binascii
import hashlib
import json
import os
import sys

BLOCK_SIZE = 4096


class Disk:
    """The image in memory, as the rp2 port's flash shows itself."""

    def __init__(self, content):
        self.content = bytearray(content)

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK_SIZE + offset
        buffer[:] = self.content[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        at = block * BLOCK_SIZE + offset
        self.content[at : at + len(buffer)] = buffer

    def ioctl(self, operation, block):
        if operation == 4:
            return len(self.content) // BLOCK_SIZE
        if operation == 5:
            return BLOCK_SIZE
        if operation == 6:
            self.content[block * BLOCK_SIZE : (block + 1) * BLOCK_SIZE] = b"\xff" * BLOCK_SIZE
        return 0


def walk(folder, found):
    for entry in os.ilistdir(folder):
        path = folder + "/" + entry[0] if folder != "/" else "/" + entry[0]
        if entry[1] & 0x4000:
            walk(path, found)
        else:
            content = open(path, "rb").read()
            found[path[1:]] = [len(content), binascii.hexlify(hashlib.sha256(content).digest()).decode()]
    return found


def stored():
    from boards.services import Flash
    from firmware.link.store import Store

    store = Store(Flash(""))
    settings = store.load()
    return store, {"slot": store.slot, "sequence": store.sequence, "settings": settings.as_dict()}


def main(path):
    disk = Disk(open(path, "rb").read())
    os.umount("/")
    # As the rp2 port does: what it reads and programs at least, in bytes.
    os.mount(os.VfsLfs2(disk, readsize=32, progsize=256, lookahead=32), "/")
    sys.path[:] = [""]
    files = walk("/", {})
    store, before = stored()

    from firmware.settings import Settings

    changed = before["settings"]
    changed["fault_samples"] += 1
    store.save(Settings(changed))
    os.umount("/")
    os.mount(os.VfsLfs2(disk, readsize=32, progsize=256, lookahead=32), "/")
    changed["fault_samples"] -= 1
    again = walk("/", {})
    print(json.dumps({"files": files, "stored": before, "changed": stored()[1], "files_then": again}))


main(sys.argv[1])
