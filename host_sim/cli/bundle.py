"""`treadle bundle`: a folder with exactly what a board needs, the wiring sheet, and the Pico's image."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import Bundle, bundle_for
from host_sim.boardlink.forms import check_form
from host_sim.boardlink.manifest import sha256
from host_sim.boardlink.targets import FORM_NAMES, target_named
from host_sim.boardlink.whole_folder import refuse_what_exists, write_folder
from host_sim.cli.bundle_c import c_bundle
from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, JsonOption, OutOption
from host_sim.cli.printing import print_json, print_rows
from host_sim.errors import RequestError
from host_sim.outputs import fresh_folder
from host_sim.textfile import spoken
from host_sim.wiring.sheet import wiring_name, wiring_sheet

BoardOption = Annotated[str, typer.Option(help="rpi_pico, esp32_devkitc, pyboard or desk.")]
FormOption = Annotated[
    str | None,
    typer.Option(
        metavar="FORM",
        help="fused (fastest), native, bytecode (smallest) or source; or c, without a board. "
        "Default: fused for the Pico.",
    ),
]


class BundleRequest:
    """The board, the bike, the form and the output folder."""

    def __init__(self, board: str, bike: str, form: str | None, out: Path | None, force: bool) -> None:
        """Check and load everything before anything is made; RequestError says what is wrong."""
        self.target = target_named(board)
        self.bike = load_bike(bike)
        self.form = check_form(self.target, form)
        self.out = out or fresh_folder("treadle-bundle")
        self.force = force
        refuse_what_exists(self.out, force)


@dataclass(frozen=True, slots=True)
class BundleResult:
    """The bundle, its folder, and the image if the board takes one."""

    folder: Path
    bundle: Bundle
    image: bytes | None

    @property
    def image_path(self) -> Path | None:
        """The path of the file for the boot loader, or None if there is none."""
        return None if self.image is None else self.folder / self.bundle.uf2_name

    @property
    def wiring_path(self) -> Path | None:
        """The path of the wiring sheet; None for the desk board, which has no wires."""
        name = wiring_name(self.bundle.target)
        return None if name is None else self.folder / name

    def as_json(self) -> dict[str, Any]:
        """Return the manifest, the folder and the image under their documented keys."""
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
    """Make the bundle and write all of it, or nothing if writing fails."""
    made = bundle_for(request.target, request.bike, request.form)
    image = made.uf2_image()
    files = dict(made.files)
    if image is not None:
        files[made.uf2_name] = image
    sheet = wiring_name(request.target)
    if sheet is not None:
        files[sheet] = wiring_sheet(request.bike, request.target).encode()
    write_folder(request.out, files, request.force)
    return BundleResult(request.out, made, image)


def bundle_command(
    board: BoardOption = "",
    bike: BikeArgument = DEFAULT_BIKE,
    form: FormOption = None,
    out: OutOption = None,
    force: Annotated[bool, typer.Option("--force", help="Replace an older bundle in --out.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Make a folder with exactly what a board needs, the settings of a bike, and its wiring sheet.

    The Pico also gets a .uf2 file that contains the file system: drag MicroPython's file onto the board, then
    this one. The wiring sheet (an HTML page for A4) is for this bike on this board: parts, pins, a drawing,
    what to measure before you connect the motor, and a test of the motor controller. This command does not
    check the rules: `treadle verify` does, and `treadle flash` requires it.

    `--form c` takes no board: the folder holds the logic in C for any microcontroller, test vectors that show
    that the compiled code equals the Python code, and a page that explains how to call it.

    Example: `treadle bundle --board rpi_pico folding --out pico`
    """
    if form == "c":
        _c_bundle(board, bike, out, force, as_json)
        return
    if not board and form is not None and form not in FORM_NAMES:
        raise RequestError(f'--form is "{form[:60]}", allowed is c, {", ".join(FORM_NAMES)}')
    if not board:
        raise RequestError("Missing option '--board', allowed is a board, or --form c without one")
    result = bundle(BundleRequest(board, bike, form, out, force))
    if as_json:
        print_json(result.as_json())
    else:
        _print_bundle(result)


def _c_bundle(board: str, bike: str, out: Path | None, force: bool, as_json: bool) -> None:
    result = c_bundle(board, bike, out, force)
    if as_json:
        print_json(result.as_json())
        return
    manifest = result.made.manifest
    print(f"settings     {spoken(manifest['bike'])}, {manifest['place']}; not verified here")
    print(f"vectors      {result.made.vectors}")
    print(f"folder       {spoken(result.folder)}")
    print(f"next         make -C {spoken(result.folder)} check, then README.md there")


def _print_bundle(result: BundleResult) -> None:
    made = result.bundle
    manifest = made.manifest
    rows = [
        ("board", made.target.title),
        ("settings", f"{spoken(manifest['bike'])}, {manifest['place']}; not verified here"),
        ("MicroPython", f"{manifest['micropython_least']} or newer"),
        ("files", f"{len(made.files)} as {manifest['form']}, {made.size_bytes / 1024:.0f} KiB"),
        ("folder", spoken(result.folder)),
    ]
    if result.image_path is not None:
        rows.append(("image", spoken(result.image_path)))
    if result.wiring_path is not None:
        rows.append(("wiring", f"{spoken(result.wiring_path)}: print it, and measure before you connect"))
    rows.append(("next", _next(result)))
    print_rows(rows)


def _next(result: BundleResult) -> str:
    if result.bundle.target.name == "desk":
        return f"cd {spoken(result.folder)} && micropython main.py"
    if result.image_path is not None:
        return (
            "drag the image onto a Pico without radio that has MicroPython (replaces all files and settings\n"
            "on it; not for a Pico 2 or a board with radio), or use treadle flash"
        )
    return "copy the folder without the wiring sheet onto the board, main.py last, or use treadle flash"
