"""Builds the C form with whatever compiler there is, and replays vectors with it."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

STRICT = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Wpedantic", "-Werror")
CHIP = ("-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding", "-ffunction-sections", "-fdata-sections")
PARTS = ("assist.c", "check.c", "check_host.c")
CORTEX = Path(__file__).parent / "cortex"


def need(program: str) -> str:
    """Return a program's name, or skip the test because it is not here."""
    if shutil.which(program) is None:
        pytest.skip(f"there is no {program} here")
    return program


def compiled(command: list[str], folder: Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300, check=False)


def build(folder: Path, *flags: str, compiler: str = "gcc", parts: tuple[str, ...] = PARTS) -> Path:
    """Build the program that replays vectors; what the compiler says must be nothing."""
    done = compiled(
        [need(compiler), *STRICT, *flags, "-DASSIST_CHECKED", *parts, "-o", "check_assist"], folder
    )
    assert (done.returncode, done.stderr) == (0, "")
    return folder / "check_assist"


def replay(program: Path, *vectors: Path, patience_s: float = 300) -> "subprocess.CompletedProcess[str]":
    """Replay files of vectors."""
    environment = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}
    command = [str(program), *map(str, vectors)]
    return subprocess.run(
        command, capture_output=True, text=True, timeout=patience_s, env=environment, check=False
    )


def on_chip(folder: Path, vectors: Path, sources: tuple[str, ...] = ("assist.c", "check.c")) -> str:
    """Replay vectors on a Cortex-M0 under QEMU and return what it printed."""
    emulator = need("qemu-system-arm")
    library = ["-nostartfiles", f"-T{CORTEX / 'link.ld'}", "-Wl,--gc-sections", "-lgcc"]
    parts = [*sources, str(CORTEX / "semihosting.c")]
    chip = ["-mcpu=cortex-m0", *CHIP[1:]]
    compiler = need("arm-none-eabi-gcc")
    command = [
        compiler,
        "-std=gnu99",
        "-Os",
        *chip,
        "-I.",
        "-DASSIST_CHECKED",
        *parts,
        "-o",
        "chip.elf",
        *library,
    ]
    done = compiled(command, folder)
    assert done.returncode == 0, done.stderr
    shutil.copyfile(vectors, folder / "chip.vectors")
    machine = ["-M", "microbit", "-device", "loader,file=chip.elf", "-nographic", "-monitor", "none"]
    options = ["-serial", "none", "-semihosting-config", "enable=on,target=native"]
    return compiled([emulator, *machine, *options], folder).stderr  # Where semihosting prints to.


def digest_in(printed: str) -> int:
    """Return the one digest that the program printed for a file."""
    (found,) = re.findall(r"digest 0x([0-9a-f]+)", printed)
    return int(found, 16)
