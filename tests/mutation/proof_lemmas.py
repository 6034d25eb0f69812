"""Which functions of the firmware each lemma runs, so that a mutant is tried on those that can see it."""

import json
import sys
from pathlib import Path
from types import FrameType
from typing import Any
from zlib import crc32

from host_sim.proof.lemma_list import LEMMAS
from host_sim.proof.prover import prove_lemma
from tests.mutation.proof_mutants import ROOT

Place = tuple[str, str]


def places_of_lemmas(kept: Path) -> dict[str, set[Place]]:
    """Return for each lemma the file and name of the functions that it runs. Explores all: two minutes.

    What was found is `kept` for the next time, with a number that stands for the sources.
    """
    sources = _number_of_sources()
    if kept.exists():
        found = json.loads(kept.read_text(encoding="utf-8"))
        if found["sources"] == sources:
            return {
                name: {(file, place) for file, place in places} for name, places in found["places"].items()
            }
    places = {name: _places_of(name) for name in LEMMAS}
    listed = {name: sorted(found) for name, found in places.items()}
    kept.write_text(json.dumps({"sources": sources, "places": listed}), encoding="utf-8")
    return places


def _number_of_sources() -> int:
    files = [*(ROOT / "firmware").rglob("*.py"), *(ROOT / "host_sim" / "proof").glob("*.py")]
    return crc32(b"".join(path.read_bytes() for path in sorted(files)))


def _places_of(name: str) -> set[Place]:
    found: set[Place] = set()

    def note(frame: FrameType, event: str, argument: Any) -> None:
        file = frame.f_code.co_filename
        if event == "call" and "/firmware/" in file:
            found.add((file.rsplit("/firmware/", 1)[1], frame.f_code.co_name))

    sys.setprofile(note)
    try:
        prove_lemma(LEMMAS[name])
    finally:
        sys.setprofile(None)
    return found


def lemmas_for(file: str, place: str, places: dict[str, set[Place]]) -> list[str]:
    """Return the lemmas that run a function, first those that run little else."""
    names = [name for name, found in places.items() if (file, place) in found]
    return sorted(names, key=lambda name: len(places[name]))
