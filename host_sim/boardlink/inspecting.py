"""Looks at a board before anything is copied: its MicroPython, its chip, its files, its free space."""

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
    ((name, platform, numbers, machine, mpy),) = board.run(_ABOUT, "when it was asked what it is")
    here = f"the board at {board.port}"
    if name != "micropython":
        raise BoardTrouble(f"{here} runs {name}, wanted is MicroPython; {UNCHANGED}")
    if platform != target.platform or not machine.endswith(target.chips or ("",)):
        wanted = f"{target.platform} {' or '.join(target.chips)}".strip()
        raise BoardTrouble(
            f"{here} is no {target.title}: it calls itself {platform}, {machine}, wanted is {wanted}; "
            f"{UNCHANGED}"
        )
    if tuple(numbers) < LEAST_MICROPYTHON:
        raise BoardTrouble(
            f"{here} has MicroPython {spoken_version(numbers)}, wanted is "
            f"{spoken_version(LEAST_MICROPYTHON)} or newer: put a newer one on it; {UNCHANGED}"
        )
    if form != "source" and mpy & 0xFF != MPY_VERSION:
        raise BoardTrouble(
            f"{here} reads bytecode of version {mpy & 0xFF}, ours is {MPY_VERSION}: use --form source; "
            f"{UNCHANGED}"
        )
    if form in ("native", "fused") and not _runs(target, mpy >> 10):
        raise BoardTrouble(
            f"the MicroPython of {here} takes no such machine code as ours: use --form bytecode; {UNCHANGED}"
        )
    return spoken_version(numbers)


def _runs(target: Target, processor: int) -> bool:
    """Tell whether a MicroPython that names its processor by this number takes the machine code of ours.

    Of ARM's it takes code for any lesser one (MicroPython's manual, ".mpy files", numbers the processors).
    """
    assert target.emitter is not None
    ours = target.emitter[1]
    return processor == ours or (_ARM_FIRST <= ours <= processor <= _ARM_LAST)


def our_files(board: RawBoard) -> dict[str, Found]:
    """Return what lies on the board where a bundle lies, hashed by the board itself."""
    rows = board.run(_FILES, "while its files were looked through")
    return {name: Found(size, digest) for name, size, digest in rows}


def stored_settings(board: RawBoard, before: dict[str, Found]) -> Settings | None:
    """Return the settings with which the board rode until now; None if it has none that are valid."""
    contents = {name: board.read(name) for name in SLOT_NAMES if name in before}
    store = Store(_Slots(contents))
    settings = store.load()
    return settings if store.sequence > 0 else None


class _Slots(CheckSums):
    """The slots of a board, read already."""

    def __init__(self, contents: dict[str, bytes]) -> None:
        self._contents = contents

    def read(self, name: str) -> bytes:
        """Return a slot; nothing if it was not there."""
        return self._contents.get(name, b"")
