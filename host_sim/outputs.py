"""Writes files whole or not at all: under temporary names first, then renamed together.

Only the requested folder is created, none above it. Until the files are delivered, no other program can
create files of the same names in the same folder: a locked file there lists the names. The operating
system releases the lock when the program ends, however it ends.
"""

import contextlib
import json
import os
import secrets
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

from host_sim.errors import RequestError
from host_sim.interruption import undisturbed
from host_sim.textfile import spoken

FOLDERS_TRIED = 1000
UNFINISHED = ".unfinished-"
CLAIM = ".names"  # In the unfinished folder; no delivered file has this name.


class Delivery:
    """A folder of results being written. Use it in a `with`; without `deliver` nothing remains.

    Files are written to `place(name)` and appear in the folder when `deliver` is called.
    """

    def __init__(self, folder: Path, names: tuple[str, ...], force: bool, option: str = "--out") -> None:
        """Take the folder and the future names; nothing is created yet.

        `option` is the command-line option that selects another place.
        """
        self.folder = folder
        self._option = option
        self._names = names
        self._force = force
        self._made: list[Path] = []
        self._temporary = folder / f"{UNFINISHED}{secrets.token_hex(4)}"
        self._claim: TextIO | None = None

    def add(self, name: str) -> Path:
        """Announce one more file and return where to write it; RequestError if it exists already."""
        self._names = (*self._names, name)
        self._refuse_what_exists()
        return self.place(name)

    def place(self, name: str) -> Path:
        """Return where to write the file that will be called `name`."""
        return self._temporary / name

    def deliver(self) -> list[Path]:
        """Move every file to its place and return their paths; RequestError if one exists by now."""
        self._refuse_what_exists()
        for name in self._names:
            os.replace(self.place(name), self.folder / name)
        if self._names:
            self._made.clear()  # Otherwise the empty folder is removed again.
        return [self.folder / name for name in self._names]

    def __enter__(self) -> "Delivery":
        """Create the folder; RequestError if a file of these names exists and `force` is False."""
        # Here and not at construction: an interruption between the two would leave files behind.
        try:
            self._refuse_what_exists()
            refuse_missing_folder(self.folder, self._option)
            for path in (self.folder, self._temporary):
                if not path.exists():
                    self._made.append(path)
                    path.mkdir()
            self._claim_names()
        except OSError as error:
            self._take_away()
            raise self._cannot_write(error) from None
        except BaseException:
            self._take_away()
            raise
        return self

    def __exit__(self, _: type[BaseException] | None, error: BaseException | None, __: object) -> None:
        """Remove what was not delivered; RequestError says why a file could not be written."""
        self._take_away()
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            raise self._cannot_write(error) from None

    def _cannot_write(self, error: OSError) -> RequestError:
        reason = error.strerror or error
        return RequestError(
            f"{spoken(self.folder)} can't be written, allowed is another {self._option}: {reason}"
        )

    def _refuse_what_exists(self) -> None:
        for name in self._names:
            path = self.folder / name
            if path.is_dir():
                raise RequestError(f"{spoken(path)} is a directory, allowed is another {self._option}")
            if not self._force and path.exists():
                raise RequestError(
                    f"{spoken(path)} exists already, allowed is another {self._option}, or --force"
                )

    def _claim_names(self) -> None:
        """Reserve the names until the end; RequestError if another program is writing one of them."""
        self._claim = (self._temporary / CLAIM).open("w+", encoding="utf-8")
        locked(self._claim)
        self._claim.write("\n".join(self._names))
        self._claim.flush()
        # Ours is locked before others are checked: two that start together always notice each other.
        for other in self.folder.glob(f"{UNFINISHED}*/{CLAIM}"):
            if other.parent != self._temporary and (taken := _held_names(other) & {*self._names}):
                raise RequestError(
                    f"{spoken(self.folder / min(taken))} is being written by another run, allowed is another "
                    f"{self._option}, or to wait for its end"
                )

    def _take_away(self) -> None:
        """Remove unused files, and release the names."""
        with undisturbed():
            shutil.rmtree(self._temporary, ignore_errors=True)
            if self._claim is not None:
                self._claim.close()
            for path in reversed(self._made):
                with contextlib.suppress(OSError):
                    path.rmdir()


@contextlib.contextmanager
def whole_file(path: Path, force: bool, option: str = "--out") -> Iterator[Path]:
    """Yield where to write the file `path`, which appears at the end of the block; nothing if that fails.

    RequestError as for Delivery.
    """
    with Delivery(path.parent, (path.name,), force, option) as delivery:
        yield delivery.place(path.name)
        delivery.deliver()


def write_json(path: Path, numbers: Any) -> None:
    """Write a result as JSON for people and programs; ValueError for a number that JSON doesn't have."""
    with path.open("w", encoding="utf-8") as file:
        json.dump(numbers, file, indent=1, allow_nan=False)
        file.write("\n")


def refuse_missing_folder(path: Path, option: str) -> None:
    """Raise RequestError if the folder of `path` does not exist: it is not created silently."""
    if not path.parent.exists():
        raise RequestError(
            f"{spoken(path)} can't be written, allowed is another {option}, or to make its folder first: "
            f"there is no {spoken(path.parent)}"
        )


def _held_names(claim: Path) -> set[str]:
    """Return the names in a claim that is locked; none if its program has ended."""
    try:
        with claim.open("r+", encoding="utf-8") as file:
            return set() if locked(file) else set(file.read().split("\n"))
    except OSError:  # Its program is just removing it.
        return set()


def locked(file: TextIO) -> bool:
    """Lock the file; False if another program has. Where files can't be locked, always True."""
    if sys.platform == "win32":
        return True
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def fresh_folder(name: str) -> Path:
    """Return `name`, or `name-2`, `name-3` and so on: the first that does not exist here yet."""
    for number in range(1, FOLDERS_TRIED):
        folder = Path(name if number == 1 else f"{name}-{number}")
        if not folder.exists():
            return folder
    raise RequestError(
        f"{name} to {name}-{FOLDERS_TRIED - 1} exist already, allowed is --out with a folder of your own"
    )
