"""`treadle bundle --form c`: a folder with the logic in C, for microcontrollers without MicroPython."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.bikes.load import load_bike
from host_sim.boardlink.c_folder import CFolder
from host_sim.boardlink.whole_folder import refuse_what_exists, write_folder
from host_sim.errors import RequestError
from host_sim.outputs import fresh_folder


@dataclass(frozen=True, slots=True)
class CBundleResult:
    """The folder and its files."""

    folder: Path
    made: CFolder

    def as_json(self) -> dict[str, Any]:
        """Return the folder, the manifest and the number of vectors under their documented keys."""
        return {"folder": str(self.folder), "vectors": self.made.vectors, "manifest": self.made.manifest}


def c_bundle(board: str, bike_name: str, out: Path | None, force: bool) -> CBundleResult:
    """Write the whole folder, or nothing if writing fails; RequestError if the request is wrong."""
    if board:
        raise RequestError(f"--board is {board[:60]!r}, but --form c takes no --board: the C fits any board")
    bike = load_bike(bike_name)
    folder = out or fresh_folder("treadle-c")
    refuse_what_exists(folder, force)
    made = CFolder(bike)
    write_folder(folder, made.files, force)
    return CBundleResult(folder, made)
