"""Copies a bundle to a board so that a board with an incomplete bundle never starts.

main.py is removed first and written last: until everything else has been hashed on the board, a start finds
nothing to run, and the pull-downs of the wiring guide hold command and enable at zero.
"""

from collections.abc import Callable
from dataclasses import dataclass

from firmware.link.store import SLOT_NAMES, SLOT_SIZE
from host_sim.boardlink.bundle import Bundle
from host_sim.boardlink.inspecting import MAIN, NEW_MAIN, Found, our_files
from host_sim.boardlink.manifest import MANIFEST, sha256
from host_sim.boardlink.raw_board import BoardTrouble, RawBoard

HALF_WAY = "the board has no main.py now, so it does not start: connect it and flash it again"
PERHAPS_HALF_WAY = "the board may have lost its main.py: connect it and flash it again"

_ROOM = "import os\ns=os.statvfs(os.getcwd())\nprint(repr((s[0],s[3])))\n"
_ENOENT, _EEXIST = 2, 17


class InterruptedHalfWay(KeyboardInterrupt):
    """Copying was interrupted; the message says what state the board is in."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Which files have to be copied, which removed, and which are there already."""

    copied: list[str]
    removed: list[str]
    unchanged: list[str]

    @property
    def nothing_to_do(self) -> bool:
        """Whether the board has exactly the bundle."""
        return not self.copied and not self.removed


def plan_for(bundle: Bundle, before: dict[str, Found]) -> Plan:
    """Compare a bundle with the board's files.

    Files in our folders that are not part of the bundle are removed, because MicroPython prefers an old
    `x.py` to a new `x.mpy`. The other settings slot is removed too, because its number may be higher than
    ours.
    """
    same = [name for name, text in bundle.files.items() if _digest(before, name) == sha256(text)]
    copied = [name for name in bundle.files if name not in same]
    removed = [name for name in before if name not in bundle.files]
    return Plan(copied, removed, same)


def check_nothing_foreign(bundle: Bundle, before: dict[str, Found], port: str) -> None:
    """Raise BoardTrouble if the board has a main.py that is not from a bundle of ours."""
    foreign = (
        MAIN in before and MANIFEST not in before and _digest(before, MAIN) != sha256(bundle.files[MAIN])
    )
    if foreign:
        raise BoardTrouble(
            f"the main.py on the board at {port} is not ours: save it if you need it, then flash with "
            "--force; nothing was changed"
        )


def check_room(board: RawBoard, bundle: Bundle, plan: Plan, before: dict[str, Found]) -> None:
    """Raise BoardTrouble if the files would not fit, counting what they replace as free."""
    ((block_size, free_blocks),) = board.run(_ROOM, "when it was asked for its free space")
    new_folders = _folders(list(bundle.files)) - _folders(list(before))
    # A folder takes two blocks of littlefs, one of FAT (512 bytes); main.py has another name at first.
    wanted = (1 if block_size == 512 else 2) * len(new_folders) + (1 if MAIN in plan.copied else 0)
    wanted += sum(-(-len(bundle.files[name]) // block_size) for name in plan.copied)
    # A changed setting goes into the other slot, and a flag is put down on the way to maintenance.
    later = sum(-(-SLOT_SIZE // block_size) for name in SLOT_NAMES if name not in bundle.files)
    wanted += later + 1
    replaced = [before[name] for name in (*plan.removed, *plan.copied) if name in before]
    free = free_blocks + sum(-(-found.size_bytes // block_size) for found in replaced)
    if wanted > free:
        less = "" if bundle.manifest["form"] == "bytecode" else ", or use --form bytecode"
        raise BoardTrouble(
            f"the board at {board.port} has {free * block_size // 1024} KiB free, needed is "
            f"{-(-wanted * block_size // 1024)}: remove files of your own from it{less}; nothing was changed"
        )


def copy(board: RawBoard, bundle: Bundle, plan: Plan, wrote: Callable[[int], None]) -> None:
    """Carry out the plan; BoardTrouble and InterruptedHalfWay say if the board is left unable to start.

    `wrote(bytes)` reports progress.
    """
    if plan.nothing_to_do:
        return
    try:
        _remove(board, MAIN)
    except BoardTrouble as error:
        raise BoardTrouble(f"{error}; {PERHAPS_HALF_WAY}") from None
    except KeyboardInterrupt:
        raise InterruptedHalfWay(PERHAPS_HALF_WAY) from None
    try:
        for name in plan.removed:
            _remove(board, name)
        for folder in sorted(_folders(list(bundle.files))):
            _unless(board, f"os.mkdir({folder!r})", _EEXIST, f"while the folder {folder} was made")
        for name in plan.copied:
            if name != MAIN:
                board.write(name, bundle.files[name], wrote)
        board.write(NEW_MAIN, bundle.files[MAIN], wrote)
        _check_hashes(board, bundle)
        code = f"import os\nos.rename({NEW_MAIN!r},{MAIN!r})\nif hasattr(os,'sync'):os.sync()\n"
        board.run(code, "while main.py was renamed")
    except BoardTrouble as error:
        raise BoardTrouble(f"{error}; {HALF_WAY}") from None
    except KeyboardInterrupt:
        raise InterruptedHalfWay(HALF_WAY) from None


def _check_hashes(board: RawBoard, bundle: Bundle) -> None:
    """Raise BoardTrouble unless the board now holds exactly the bundle, main.py under its other name."""
    after = our_files(board)
    wanted = {(NEW_MAIN if name == MAIN else name): sha256(text) for name, text in bundle.files.items()}
    for name, digest in wanted.items():
        if _digest(after, name) != digest:
            raise BoardTrouble(f"{name} does not read back from the board at {board.port} as it was written")
    strange = sorted(set(after) - set(wanted))
    if strange:
        raise BoardTrouble(f"{strange[0]} is still on the board at {board.port}")


def _remove(board: RawBoard, name: str) -> None:
    _unless(board, f"os.remove({name!r})", _ENOENT, f"while {name} was removed")


def _unless(board: RawBoard, call: str, allowed: int, doing: str) -> None:
    """Run `call` on the board; ignore a failure with the error `allowed`."""
    code = f"import os\ntry:\n {call}\nexcept OSError as e:\n if e.args[0]!={allowed}:raise\n"
    board.run(code, doing)


def _folders(names: list[str]) -> set[str]:
    """Return every folder that contains one of `names`."""
    paths = [name.split("/") for name in names]
    return {"/".join(parts[:depth]) for parts in paths for depth in range(1, len(parts))}


def _digest(found: dict[str, Found], name: str) -> str | None:
    return found[name].sha256 if name in found else None
