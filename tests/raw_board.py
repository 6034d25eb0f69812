"""Runs under MicroPython: a board at a serial line, with a real file system and the raw prompt.

The unix port has no raw prompt, so this serves one on standard input and output, after "The raw REPL" in
MicroPython's manual (reference/repl): soft reset, raw mode, raw-paste mode with flow control. What is sent is
run by the real MicroPython; the file system is its real littlefs or FAT driver on a file of the host, mounted
at / with nothing of the host in sight. Only what the board calls itself is made up.

Usage: micropython tests/raw_board.py DISK KIND BLOCKS NAME PLATFORM VERSION MACHINE MPY MODE
DISK is a file of BLOCKS blocks, formatted if it is not; KIND is littlefs (4096 bytes a block) or fat (512).
MODE "ride" runs main.py first, as a board does at power-up. Ends with code 77 for a restart.
"""

# ruff: noqa: SIM115

import os
import sys

RESTART = 77
PASTE_WINDOW = 128

disk, kind, blocks, name, platform, version, machine, mpy, mode = sys.argv[1:10]
BLOCK_SIZE = 512 if kind == "fat" else 4096


class Flash:
    """The flash of the board, in a file of the host."""

    def __init__(self, path):
        self.file = open(path, "r+b")

    def readblocks(self, block, buffer, offset=0):
        self.file.seek(block * BLOCK_SIZE + offset)
        self.file.readinto(buffer)

    def writeblocks(self, block, buffer, offset=0):
        self.file.seek(block * BLOCK_SIZE + offset)
        self.file.write(buffer)

    def ioctl(self, operation, block):
        if operation == 4:
            return int(blocks)
        if operation == 5:
            return BLOCK_SIZE
        if operation == 6:
            self.file.seek(block * BLOCK_SIZE)
            if kind != "fat":
                self.file.write(b"\xff" * BLOCK_SIZE)
        return 0


class Named:
    """A module as it is, with some names of its own."""

    def __init__(self, module, **own):
        for name in dir(module):
            setattr(self, name, getattr(module, name))
        for name in own:
            setattr(self, name, own[name])


class Implementation:
    def __init__(self):
        self.name = name
        self.version = tuple([int(number) for number in version.split(".")])
        self._machine = machine
        self._mpy = int(mpy)


class Machine:
    """All that a host's tools need of the module."""

    @staticmethod
    def reset():
        raise Restart


class Restart(BaseException):
    """The board resets."""


def start():
    flash = Flash(disk)
    os.umount("/")
    driver = os.VfsFat if kind == "fat" else os.VfsLfs2
    try:
        os.mount(driver(flash), "/")
    except OSError:
        driver.mkfs(flash)
        os.mount(driver(flash), "/")
    sys.modules["sys"] = Named(sys, platform=platform, implementation=Implementation())
    sys.modules["machine"] = Machine
    sys.path[:] = ["", "/lib"]
    sys.argv[:] = ["main.py", "--hurry"]  # Read by the desk's main.py only.


def ride():
    """Run main.py as a board does at power-up; a board that was asked for maintenance restarts."""
    try:
        text = open("main.py").read()
    except OSError:
        return
    exec(text, {"__name__": "__main__"})
    if "maintenance" in os.listdir():
        raise Restart


# The serial line.

_byte = bytearray(1)


def take():
    if sys.stdin.buffer.readinto(_byte) != 1:
        sys.exit(0)  # Unplugged.
    return _byte[0]


def send(text):
    sys.stdout.buffer.write(text)


def line_of_code():
    """Return what is sent in raw mode up to its end, and whether it came by raw paste; or a control byte."""
    code = bytearray()
    while True:
        byte = take()
        if byte in (1, 2):
            return byte, False
        if byte == 3:
            code = bytearray()
        elif byte == 4:
            return bytes(code), False
        elif byte == 5 and not code:
            if take() == ord("A") and take() == 1:
                send(b"R\x01" + bytes([PASTE_WINDOW, 0]) + b"\x01")
                return pasted(), True
        else:
            code.append(byte)


def pasted():
    code = bytearray()
    left = PASTE_WINDOW
    while True:
        byte = take()
        if byte == 4:
            send(b"\x04")
            return bytes(code)
        code.append(byte)
        left -= 1
        if left == 0:
            send(b"\x01")
            left = PASTE_WINDOW


def run(code, names):
    try:
        exec(code.decode(), names)
        send(b"\x04\x04>")
    except Exception as error:
        send(b"\x04")
        sys.print_exception(error, sys.stdout)
        send(b"\x04>")


def prompt():
    names = {"__name__": "__main__"}
    raw = False
    while True:
        if not raw:
            if take() == 1:
                raw = True
                send(b"raw REPL; CTRL-B to exit\r\n>")
            continue
        code, by_paste = line_of_code()
        if code == 1:
            send(b"raw REPL; CTRL-B to exit\r\n>")
        elif code == 2:
            raw = False
            send(b"\r\nMicroPython\r\n>>> ")
        elif code == b"":
            names = {"__name__": "__main__"}
            send(b"OK\r\nMPY: soft reboot\r\nraw REPL; CTRL-B to exit\r\n>")
        else:
            if not by_paste:
                send(b"OK")
            run(code, names)


try:
    start()
    if mode == "ride":
        ride()
    prompt()
except Restart:
    sys.exit(RESTART)
