"""The manifest of a bundle: its target, its contents, and the hash of each file."""

import hashlib
import json
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from host_sim.bikes.model import Bike
from host_sim.boardlink.targets import LEAST_MICROPYTHON, Target

MANIFEST = "manifest.json"
HEADING = "treadle bundle 1"


def manifest_of(
    target: Target, bike: Bike, files: dict[str, bytes], form: str, rules: dict[str, Any] | None
) -> dict[str, Any]:
    """Return the manifest; `rules` is what was verified before, None if nothing was.

    Settings are identified by the checksum of their file: a second copy would not fit on the smallest board.
    """
    return {
        "heading": HEADING,
        "treadle": program_version(),
        "board": target.name,
        "bike": bike.name,
        "place": bike.place,
        "micropython_least": spoken_version(LEAST_MICROPYTHON),
        "form": form,
        "rules": rules,
        "files": [{"file": name, "sha256": sha256(content)} for name, content in sorted(files.items())],
    }


def manifest_bytes(manifest: dict[str, Any]) -> bytes:
    """Return the manifest as the content of its file."""
    return json.dumps(manifest, separators=(",", ":"), allow_nan=False).encode("ascii") + b"\n"


def sha256(content: bytes) -> str:
    """Return the SHA-256 of `content`, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def spoken_version(numbers: tuple[int, ...]) -> str:
    """Return a version as people write it."""
    return ".".join(str(number) for number in numbers)


def program_version() -> str:
    """Return the version of this program."""
    try:
        return version("treadle")
    except PackageNotFoundError:
        return "not installed"
