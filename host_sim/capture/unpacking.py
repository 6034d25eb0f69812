"""Unpacks a capture that was compressed with gzip into a temporary file."""

import gzip
import tempfile
import zlib
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.textfile import open_file, spoken

GZIP_BEGINS = b"\x1f\x8b"
BLOCK_BYTES = 1 << 20
UNPACKED_MOST = 4 << 30  # Bytes. A small file can unpack to more than the disk holds.


def unpacked(path: Path, folder: tempfile.TemporaryDirectory[str]) -> Path:
    """Return a file in `folder` with the content of `path`; RequestError if it is not a complete gzip."""
    name = spoken(path.name)
    # Sentences about the content name the user's file, without its last suffix.
    out = Path(folder.name) / (path.name.removesuffix(".gz") or "capture")
    written = 0
    try:
        with open_file(path) as packed, gzip.open(packed) as file, out.open("wb") as opened:
            while block := file.read(BLOCK_BYTES):
                written += len(block)
                if written > UNPACKED_MOST:
                    raise RequestError(f"{name}: it unpacks to more than {UNPACKED_MOST >> 30} GB")
                opened.write(block)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise RequestError(
            f"{name}: its gzip data are broken or cut off after {written} unpacked bytes ({error}), allowed "
            f"is a complete file"
        ) from error
    except OSError as error:
        raise RequestError(f"{name}: it can't be unpacked ({error.strerror or error})") from error
    return out
