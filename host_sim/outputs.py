"""Writes files whole or not at all: under temporary names first, then renamed together."""

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.textfile import spoken

FOLDERS_TRIED = 1000


class Delivery:
    """A folder of results in the making. Use it in a `with`; without `deliver` nothing remains.

    Files are written to `place(name)` and appear in the folder when `deliver` is called.
    """

    def __init__(self, folder: Path, names: tuple[str, ...], force: bool, option: str = "--out") -> None:
        """Take the folder and the names to come; nothing is made yet.

        `option` is what the user can change to have the files elsewhere.
        """
        self.folder = folder
        self._option = option
        self._names = names
        self._force = force
        self._made: list[Path] = []
        self._temporary = folder / f".unfinished-{secrets.token_hex(4)}"

    def add(self, name: str) -> Path:
        """Announce one more file and return where to write it."""
        self._names = (*self._names, name)
        return self.place(name)

    def place(self, name: str) -> Path:
        """Return where to write the file that will be called `name`."""
        return self._temporary / name

    def deliver(self) -> list[Path]:
        """Put every file in its place and return their paths; RequestError if one is there by now."""
        self._refuse_what_exists()
        for name in self._names:
            os.replace(self.place(name), self.folder / name)
        self._made.clear()
        return [self.folder / name for name in self._names]

    def __enter__(self) -> "Delivery":
        """Make the folder; RequestError if a file of these names exists and `force` is False."""
        # Here and not at construction: an interruption between the two would leave what was made.
        try:
            self._refuse_what_exists()
            for path in (*reversed([self.folder, *self.folder.parents]), self._temporary):
                if not path.exists():
                    self._made.append(path)
                    path.mkdir()
        except OSError as error:
            self._remove_folders()
            raise self._cannot_write(error) from None
        except KeyboardInterrupt:
            self._remove_folders()
            raise
        return self

    def __exit__(self, _: type[BaseException] | None, error: BaseException | None, __: object) -> None:
        """Take away what was not delivered; RequestError says what kept a file from being written."""
        shutil.rmtree(self._temporary, ignore_errors=True)
        self._remove_folders()
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

    def _remove_folders(self) -> None:
        """Remove what was made for nothing."""
        for path in reversed(self._made):
            with contextlib.suppress(OSError):
                path.rmdir()


def fresh_folder(name: str) -> Path:
    """Return `name`, or `name-2`, `name-3` and so on: the first that does not exist here yet."""
    for number in range(1, FOLDERS_TRIED):
        folder = Path(name if number == 1 else f"{name}-{number}")
        if not folder.exists():
            return folder
    raise RequestError(
        f"{name} to {name}-{FOLDERS_TRIED - 1} exist already, allowed is --out with a folder of your own"
    )
