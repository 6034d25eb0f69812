"""Writes a folder as a whole: complete under a temporary name beside its place, then renamed."""

import os
import shutil
import tempfile
from pathlib import Path

from host_sim.boardlink.manifest import HEADING, MANIFEST
from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder
from host_sim.textfile import spoken


def write_folder(folder: Path, files: dict[str, bytes], force: bool) -> None:
    """Make `folder` hold exactly `files`, or leave everything as it was.

    RequestError if it exists; with `force` an older bundle is replaced as a whole, and nothing else is.
    """
    refuse_what_exists(folder, force)
    temporary: Path | None = None
    try:
        temporary = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=folder.absolute().parent))
        fresh = temporary / "new"
        for name, content in files.items():
            path = fresh / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        refuse_what_exists(folder, force)
        _put_in_place(fresh, folder, temporary / "old")
    except OSError as error:
        reason = error.strerror or error
        raise RequestError(f"{spoken(folder)} can't be written, allowed is another --out: {reason}") from None
    finally:
        if temporary is not None:
            shutil.rmtree(temporary, ignore_errors=True)


def refuse_what_exists(folder: Path, force: bool) -> None:
    """Raise RequestError if `folder` exists; with `force` only if it is not a bundle."""
    try:
        refuse_missing_folder(folder, "--out")
        if not os.path.lexists(folder):
            return
        if not force:
            raise RequestError(f"{spoken(folder)} exists already, allowed is another --out, or --force")
        empty = folder.is_dir() and not any(folder.iterdir())
        if not empty and not _is_bundle(folder):
            raise RequestError(
                f"{spoken(folder)} is not a bundle of ours, so --force does not replace it, allowed is "
                "another --out"
            )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no possible file name"
        raise RequestError(f"{spoken(folder)} can't be written, allowed is another --out: {reason}") from None


def _is_bundle(folder: Path) -> bool:
    manifest = folder / MANIFEST
    return not folder.is_symlink() and manifest.is_file() and f'"{HEADING}"'.encode() in manifest.read_bytes()


def _put_in_place(fresh: Path, folder: Path, aside: Path) -> None:
    if folder.exists():
        os.rename(folder, aside)
    try:
        os.rename(fresh, folder)
    except BaseException:
        if aside.exists():
            os.rename(aside, folder)
        raise
