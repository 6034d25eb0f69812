"""`treadle bundle` on the command line: its options, and what it says."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.boardlink.targets import FORM_NAMES
from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, JsonOption, OutOption
from host_sim.commands.bundle import BundleRequest, BundleResult, bundle
from host_sim.commands.c_bundle import c_bundle
from host_sim.errors import RequestError
from host_sim.textfile import spoken

BoardOption = Annotated[str, typer.Option(help="rpi_pico, esp32_devkitc, pyboard or desk.")]
FormOption = Annotated[
    str | None,
    typer.Option(
        metavar="FORM",
        help="fused (fastest), native, bytecode (smallest) or source; or c, without a board. "
        "Default: fused for the Pico.",
    ),
]


def bundle_command(
    board: BoardOption = "",
    bike: BikeArgument = DEFAULT_BIKE,
    form: FormOption = None,
    out: OutOption = None,
    force: Annotated[bool, typer.Option("--force", help="Replace an older bundle in --out.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Make a folder with exactly what a board needs, the settings of a bike, and its wiring sheet.

    For the Pico also one .uf2 file with the file system in it: drag MicroPython's file onto the board, then
    this one. The wiring sheet (an HTML page for A4) has parts, pins, a drawing, what to measure before the
    motor is connected, and a test of the motor controller, for this bike on this board. The rules are not
    ridden here: `treadle verify` does that, and `treadle flash` insists on it.

    With `--form c` no board is named: the folder holds the logic in C for any microcontroller, vectors that
    show that a compiler does with it what Python does, and a page that tells how to call it.

    Example: `treadle bundle --board rpi_pico folding --out pico`
    """
    if form == "c":
        _c_bundle(board, bike, out, force, as_json)
        return
    if not board and form is not None and form not in FORM_NAMES:
        raise RequestError(f'--form is "{form[:60]}", allowed is c, {", ".join(FORM_NAMES)}')
    if not board:
        raise RequestError("Missing option '--board', allowed is a board, or --form c instead")
    result = bundle(BundleRequest(board, bike, form, out, force))
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_bundle(result)


def _c_bundle(board: str, bike: str, out: Path | None, force: bool, as_json: bool) -> None:
    result = c_bundle(board, bike, out, force)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
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
    for name, value in rows:
        print(f"{name:<13}{value}")


def _next(result: BundleResult) -> str:
    if result.bundle.target.name == "desk":
        return f"cd {spoken(result.folder)} && micropython main.py"
    if result.image_path is not None:
        return (
            "drag the image onto a Pico without radio that has MicroPython (replaces all files and settings\n"
            f"{'':<13}on it; not for a Pico 2 or a board with radio), or use treadle flash"
        )
    return "copy the folder but the wiring sheet onto the board, main.py last, or use treadle flash"
