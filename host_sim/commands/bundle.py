"""`treadle bundle`: a folder with exactly what a board needs, the wiring sheet, and the Pico's image."""

from pathlib import Path
from typing import Any

from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import Bundle, bundle_for
from host_sim.boardlink.forms import check_form
from host_sim.boardlink.manifest import sha256
from host_sim.boardlink.targets import target_named
from host_sim.boardlink.whole_folder import refuse_what_exists, write_folder
from host_sim.outputs import fresh_folder
from host_sim.wiring.sheet import wiring_name, wiring_sheet


class BundleRequest:
    """Which board, which bike, in which form, into which folder."""

    def __init__(self, board: str, bike: str, form: str | None, out: Path | None, force: bool) -> None:
        """Check and load everything; RequestError says what is wrong, before anything is made."""
        self.target = target_named(board)
        self.bike = load_bike(bike)
        self.form = check_form(self.target, form)
        self.out = out or fresh_folder("treadle-bundle")
        self.force = force
        refuse_what_exists(self.out, force)


class BundleResult:
    """The bundle, where it lies, and the image beside it if the board takes one."""

    def __init__(self, request: BundleRequest, bundle: Bundle, image: bytes | None) -> None:
        """Keep what was made."""
        self.folder = request.out
        self.bundle = bundle
        self.image = image

    @property
    def image_path(self) -> Path | None:
        """Where the file for the boot loader lies; None where there is none."""
        return None if self.image is None else self.folder / self.bundle.uf2_name

    @property
    def wiring_path(self) -> Path | None:
        """Where the wiring sheet lies; None for the desk, which has no wires."""
        name = wiring_name(self.bundle.target)
        return None if name is None else self.folder / name

    def as_json(self) -> dict[str, Any]:
        """Return the manifest, the folder and the image, with the keys that the manual names."""
        image = None
        if self.image is not None:
            image = {
                "path": str(self.image_path),
                "size_bytes": len(self.image),
                "sha256": sha256(self.image),
            }
        wiring = None if self.wiring_path is None else str(self.wiring_path)
        return {
            "folder": str(self.folder),
            "image": image,
            "wiring": wiring,
            "manifest": self.bundle.manifest,
        }


def bundle(request: BundleRequest) -> BundleResult:
    """Make the bundle and write it, whole or not at all."""
    made = bundle_for(request.target, request.bike, request.form)
    image = made.uf2_image()
    files = dict(made.files)
    if image is not None:
        files[made.uf2_name] = image
    sheet = wiring_name(request.target)
    if sheet is not None:
        files[sheet] = wiring_sheet(request.bike, request.target).encode()
    write_folder(request.out, files, request.force)
    return BundleResult(request, made, image)
