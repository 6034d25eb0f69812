"""Identifies the program: a digest of all source and data that determines a ride's numbers."""

from functools import cache
from hashlib import sha256

from host_sim.compiled.build import ROOT

PARTS = (
    "firmware",
    "host_sim/plant",
    "host_sim/bench",
    "host_sim/bikes",
    "host_sim/rules",
    "host_sim/sweeping",
)


@cache
def program() -> str:
    """Return the digest, 16 hexadecimal digits: equal digests give equal rides."""
    digest = sha256()
    for part in PARTS:
        for path in sorted((ROOT / part).rglob("*.py")) + sorted((ROOT / part).rglob("places.toml")):
            digest.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]
