"""A bundle on an emulated Raspberry Pi Pico: what a real one would take, as far as an emulator can tell.

Emulated is the RP2040 at 125 MHz by the npm package rp2040js; the time of a flash cache miss is fitted to one
published benchmark. It is no silicon: converters and the USB host are ideal. Named by the environment:

    TREADLE_PICO_IMAGE    MicroPython for RPI_PICO as a .bin file, from its public sources
    TREADLE_PICO_BOOTROM  the RP2040's boot ROM as the emulator's public repository carries it, bootrom.mjs

Node.js and npm must be there; the package is installed once, into the user's cache.
"""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from host_sim.boardlink.frames import Frame, Wire
from host_sim.boardlink.image import filesystem_image
from host_sim.boardlink.targets import target_named
from host_sim.boardlink.uf2 import uf2
from host_sim.compiled.cache import cache_folder

HERE = Path(__file__).parent
IMAGE, BOOTROM = "TREADLE_PICO_IMAGE", "TREADLE_PICO_BOOTROM"
PACKAGE = "rp2040js@1.4.1"
CYCLES_A_MISS = 22  # Fits MicroPython's bm_chaos, published as 324 ms on an RP2040.


@cache
def why_missing() -> str:
    """Return why there is no emulated Pico here; nothing if there is one."""
    for name in (IMAGE, BOOTROM):
        if not Path(os.environ.get(name, "")).is_file():
            return f"no emulated Pico: the environment variable {name} names no file"
    if shutil.which("node") is None or shutil.which("npm") is None:
        return "no emulated Pico: it needs Node.js with npm"
    folder = _folder()
    if not (folder / "node_modules" / "rp2040js").is_dir():
        install = ["npm", "install", "--silent", "--no-save", PACKAGE]
        done = subprocess.run(install, cwd=folder, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            shutil.rmtree(folder / "node_modules", ignore_errors=True)
            return f"no emulated Pico: npm can't install {PACKAGE}"
        subprocess.run(
            [sys.executable, str(HERE / "faster_core.py")], cwd=folder, check=True, capture_output=True
        )
    return ""


def _folder() -> Path:
    folder = cache_folder() / "emulated-pico"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def emulator_folder(script: str) -> Path:
    """Return the folder that has the emulator's package, with a script of this folder put into it."""
    for name in (script, "chip.mjs", "flash_cache.mjs"):
        shutil.copy(HERE / name, _folder())
    return _folder()


@dataclass(frozen=True, slots=True)
class Heard:
    """What came out: bytes with their times in us, and (time_us, what, value) of enable and lamp.

    `loops` has beginning and length in us of each loop with a step, from reading to reading.
    """

    serial: list[tuple[float, bytes]]
    events: list[tuple[float, str, int]]
    loops: list[tuple[float, float]]

    @property
    def frames(self) -> list[Frame]:
        """All frames."""
        return [item for item in self._items if isinstance(item, Frame)]

    @property
    def lines(self) -> list[str]:
        """All lines of text."""
        return [item for item in self._items if isinstance(item, str)]

    @property
    def _items(self) -> "list[Frame | str]":
        return list(Wire().feed(b"".join(content for _, content in self.serial)))

    @property
    def text(self) -> str:
        """Everything, as text."""
        return b"".join(content for _, content in self.serial).decode("latin1")

    def first(self, what: str, value: int, after_us: float = 0) -> float:
        """Return when an output first got a value after a time."""
        return min(
            time for time, name, now in self.events if (name, now) == (what, value) and time > after_us
        )


def emulate(
    files: dict[str, bytes],
    folder: Path,
    edges: list[tuple[float, int, int]] | None = None,
    typed: list[tuple[float, str]] | None = None,
    milliseconds: int = 20_000,
    stop_at: str = "",
    analog: dict[str, float] | None = None,
) -> Heard:
    """Run a Pico that has these files in its file system; `folder` takes what is written on the way.

    `analog` says what is at its converters, by the names in emulate.mjs, where that is not the cargo trike.
    """
    assert not why_missing()
    layout = target_named("rpi_pico").layout
    assert layout is not None
    (folder / "pico.uf2").write_bytes(uf2(filesystem_image(files, layout), layout.address, layout.uf2_family))
    job = {
        "image": str(Path(os.environ[IMAGE]).resolve()),
        "bootrom": str(Path(os.environ[BOOTROM]).resolve()),
        "uf2": str(folder / "pico.uf2"),
        "out": str(folder / "out.json"),
        "miss": CYCLES_A_MISS,
        "edges": edges or [],
        "typed": typed or [],
        "milliseconds": milliseconds,
        "stop_at": stop_at,
        "analog": analog or {},
    }
    (folder / "job.json").write_text(json.dumps(job))
    here = emulator_folder("emulate.mjs")
    subprocess.run(["node", "emulate.mjs", str(folder / "job.json")], cwd=here, check=True)
    out = json.loads((folder / "out.json").read_text())
    serial = [(time, bytes.fromhex(text)) for time, text in out["serial"]]
    loops = [(time, took) for time, took in out["loops"]]
    return Heard(serial, [(time, name, value) for time, name, value in out["events"]], loops)
