"""The path vectors: numbers that lead down every path that the proofs found, and what they must come to.

To find them is to prove everything, the better part of a minute. So they are kept in the user's cache folder,
under a hash of all that they follow from: the firmware, the lemmas and the prover, and the solver's version.
"""

import tempfile
from contextlib import suppress
from hashlib import sha256
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.compiled.build import ROOT
from host_sim.compiled.cache import cache_folder

if TYPE_CHECKING:
    from host_sim.proof.prover import LemmaResult

NAME = "vectors"
SOURCES = ("firmware", "host_sim/proof", "tests/paths")
TOOLS = ("z3", "platformdirs")


class NotProved(Exception):
    """There are no vectors for every path, since something is not proved; the message says what."""


def why_missing() -> str:
    """Return why there can't be vectors here, or an empty text."""
    missing = [module for module in TOOLS if find_spec(module) is None]
    return f"{missing[0]} is not installed" if missing else ""


def place_vectors(folder: Path) -> Path:
    """Put the vectors into `folder` and return the file, finding them first if they were not kept.

    NotProved if the proof does not hold.
    """
    path = folder / NAME
    kept = _kept()
    if kept.is_file():
        path.write_bytes(kept.read_bytes())
        return path
    from tests.proving import explore_all

    lemmas = explore_all()
    path.write_bytes(_text(lemmas))
    keep_vectors(lemmas)
    return path


def keep_vectors(lemmas: "dict[str, LemmaResult]") -> None:
    """Keep the vectors of all lemmas, instead of those of former sources; NotProved if one is not proved.

    Where nothing can be written nothing is kept, and the next who wants them has to prove again.
    """
    text = _text(lemmas)
    kept = _kept()
    with suppress(OSError):
        kept.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=kept.parent) as workshop:
            whole = Path(workshop, NAME)
            whole.write_bytes(text)
            whole.replace(kept)
        for former in kept.parent.glob(f"{NAME}-*"):
            if former != kept:
                former.unlink(missing_ok=True)


def _text(lemmas: "dict[str, LemmaResult]") -> bytes:
    from host_sim.proof.prover import PROVED, vector_lines

    for lemma in lemmas.values():
        if lemma.verdict != PROVED:
            raise NotProved(f"{lemma.name} is {lemma.verdict}: {lemma.what}")
    return "".join(line + "\n" for line in vector_lines(lemmas)).encode("ascii")


def _kept() -> Path:
    digest = sha256(version("z3-solver").encode())
    for path in sorted(path for folder in SOURCES for path in (ROOT / folder).rglob("*.py")):
        digest.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return cache_folder() / f"{NAME}-{digest.hexdigest()[:16]}"
