"""Checks a board before anything is copied: its MicroPython, its chip, its files, its free space."""

from dataclasses import dataclass

from firmware.link.place import PLACE_FILE
from firmware.link.store import SLOT_NAMES, Store
from firmware.settings import Settings
from host_sim.boardlink.bundle import CheckSums
from host_sim.boardlink.manifest import MANIFEST, spoken_version
from host_sim.boardlink.raw_board import BoardTrouble, RawBoard
from host_sim.boardlink.targets import LEAST_MICROPYTHON, MPY_VERSION, Target

MAIN, NEW_MAIN, FLAG = "main.py", "main.new", "maintenance"
UNCHANGED = "nothing was changed"
OUR_FOLDERS = ("boards", "firmware")
OUR_FILES = (MAIN, NEW_MAIN, FLAG, MANIFEST, PLACE_FILE, *SLOT_NAMES)

_ARM_FIRST, _ARM_LAST = 4, 8  # armv6m to armv7emdp.

_ABOUT = """
import sys
i=sys.implementation
print(repr((i.name,sys.platform,tuple(i.version)[:3],getattr(i,'_machine',''),getattr(i,'_mpy',0))))
"""

_FILES = f"""
import os,hashlib,binascii
b=bytearray(512)
m=memoryview(b)
def h(p):
 s=hashlib.sha256()
 n=0
 f=open(p,'rb')
 while True:
  k=f.readinto(b)
  if not k:break
  s.update(m[:k])
  n+=k
 f.close()
 print(repr((p,n,binascii.hexlify(s.digest()).decode())))
def w(p):
 for e in list(os.ilistdir(p)):
  q=p+'/'+e[0]
  if e[1]&0x4000:w(q)
  else:h(q)
for e in list(os.ilistdir()):
 if e[1]&0x4000:
  if e[0] in {OUR_FOLDERS!r}:w(e[0])
 elif e[0] in {OUR_FILES!r}:h(e[0])
"""


@dataclass(frozen=True, slots=True)
class Found:
    """A file on the board."""

    size_bytes: int
    sha256: str


def check_python(board: RawBoard, target: Target, form: str) -> str:
    """Return the board's MicroPython version; BoardTrouble if it can't run our files."""
    ((name, platform, numbers, machine, mpy),) = board.run(_ABOUT, "when it was asked for its version")
    here = f"the board at {board.port}"
    if name != "micropython":
        raise BoardTrouble(f"{here} runs {name}, allowed is MicroPython; {UNCHANGED}")
    if platform != target.platform or not machine.endswith(target.chips or ("",)):
        wanted = f"{target.platform} {' or '.join(target.chips)}".strip()
        raise BoardTrouble(
            f"{here} is not a {target.title}: it is {platform}, {machine}, allowed is {wanted}; {UNCHANGED}"
        )
    if tuple(numbers) < LEAST_MICROPYTHON:
        raise BoardTrouble(
            f"{here} has MicroPython {spoken_version(numbers)}, allowed is "
            f"{spoken_version(LEAST_MICROPYTHON)} or newer: install a newer one; {UNCHANGED}"
        )
    if form != "source" and mpy & 0xFF != MPY_VERSION:
        raise BoardTrouble(
            f"{here} reads bytecode of version {mpy & 0xFF}, ours is {MPY_VERSION}: use --form source; "
            f"{UNCHANGED}"
        )
    if form in ("native", "fused") and not _runs(target, mpy >> 10):
        raise BoardTrouble(
            f"the MicroPython of {here} can't run this machine code: use --form bytecode; {UNCHANGED}"
        )
    return spoken_version(numbers)


def _runs(target: Target, processor: int) -> bool:
    """Return whether a MicroPython for the processor with this number runs our machine code.

    An ARM processor runs code for any lesser one (MicroPython's manual, ".mpy files", numbers the
    processors).
    """
    assert target.emitter is not None
    ours = target.emitter[1]
    return processor == ours or (_ARM_FIRST <= ours <= processor <= _ARM_LAST)


def our_files(board: RawBoard) -> dict[str, Found]:
    """Return the files of a bundle on the board, hashed by the board itself."""
    rows = board.run(_FILES, "while its files were listed")
    return {name: Found(size, digest) for name, size, digest in rows}


def stored_settings(board: RawBoard, before: dict[str, Found]) -> Settings | None:
    """Return the board's present settings; None if it has no valid ones."""
    contents = {name: board.read(name) for name in SLOT_NAMES if name in before}
    store = Store(_Slots(contents))
    settings = store.load()
    return settings if store.sequence > 0 else None


class _Slots(CheckSums):
    """The slots read from a board."""

    def __init__(self, contents: dict[str, bytes]) -> None:
        self._contents = contents

    def read(self, name: str) -> bytes:
        """Return a slot; empty if it is missing."""
        return self._contents.get(name, b"")
