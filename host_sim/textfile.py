"""Read a small text file that a user wrote or brought, and refuse everything else in one sentence."""

import os
from pathlib import Path
from typing import BinaryIO

from host_sim.errors import RequestError
from host_sim.near_names import nearest

TOML_BYTES_MAX = 1_000_000  # A bike or course file is a page or two; more than this is another kind of file.
RIDE_BYTES_MAX = 200_000_000  # A million one-second records take about 30 MB.


def spoken(name: str | Path) -> str:
    """Return a file name for use in a sentence; one with unprintable characters is escaped."""
    text = str(name)
    return text if text.isprintable() else repr(text)


def open_file(path: Path) -> BinaryIO:
    """Open an ordinary file to read its bytes, else raise RequestError."""
    name = spoken(path)
    try:
        if not path.exists():
            raise RequestError(f"{name}: there is no such file")
        if path.is_dir():
            raise RequestError(f"{name}: this is a directory, allowed is a file")
        # A pipe or a device might never end.
        if not path.is_file():
            raise RequestError(f"{name}: this is not an ordinary file")
        return path.open("rb")
    except (OSError, ValueError) as error:
        # ValueError: the name holds a character that no file name may hold.
        reason = getattr(error, "strerror", None) or "no possible file name"
        raise RequestError(f"{name}: it can't be read ({reason})") from error


def read_bytes(path: Path, largest_bytes: int) -> bytes:
    """Return the content of an ordinary file of at most `largest_bytes`, else raise RequestError."""
    with open_file(path) as opened:
        try:
            # Not read(largest_bytes): that takes so much memory for a small file, too.
            if os.fstat(opened.fileno()).st_size <= largest_bytes:
                return opened.read()
        except OSError as error:
            raise RequestError(f"{spoken(path)}: it can't be read ({error.strerror or error})") from error
    raise RequestError(f"{spoken(path.name)}: it is longer than {largest_bytes} bytes, the most that is read")


def read_text(path: Path, largest_bytes: int) -> str:
    """Return the text of a UTF-8 file without its byte order mark, if any, else raise RequestError."""
    content = read_bytes(path, largest_bytes)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{content[error.start]:02x}"
        raise RequestError(f"{spoken(path.name)} line {line}: {found} is not UTF-8 text") from error


def find_file(path_or_name: str | Path, folder: Path, suffixes: tuple[str, ...], kind: str) -> Path:
    """Return the file that a user means: one of ours by its name (without suffix), or a path.

    Ours come first, so that `cargo_trike` means the same wherever it is typed; `./cargo_trike` is a path.
    """
    names = names_in(folder, suffixes)
    text = str(path_or_name)
    if text in names:
        return next(folder / (text + suffix) for suffix in suffixes if (folder / (text + suffix)).is_file())
    path = Path(path_or_name)
    if path.suffix == "" and path.name == text:
        try:
            missing = not path.exists()
        except (OSError, ValueError):
            missing = True
        if missing:
            near = nearest(text, names)
            hint = f"; did you mean {near}?" if near else ""
            raise RequestError(
                f"no {kind} is called {text[:60]!r}; there are {', '.join(names)}, or give a file{hint}"
            )
    return path


def names_in(folder: Path, suffixes: tuple[str, ...]) -> list[str]:
    """Return the names (without suffix) of the files of a kind in `folder`, sorted."""
    return sorted(entry.stem for entry in folder.iterdir() if entry.suffix in suffixes)
