"""The tutorial as a script: runs its commands in their order, and says where the page shows other output.

`uv run python -m tests.docs.tutorial FOLDER` runs all of it in the new folder FOLDER, prints what came out,
and draws the pictures again. On the page a line `…` stands for lines that are left out, and `…` in a line for
what differs from run to run; every other line is shown as it was printed.
"""

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from host_sim.bikes.load import load_bike
from host_sim.boardlink.targets import target_named
from host_sim.wiring.board_pins import pins_of
from host_sim.wiring.circuits import circuits_for
from host_sim.wiring.drawing import draw_wiring

HOST_SIM = Path(__file__).resolve().parents[2] / "host_sim"
PAGE = HOST_SIM / "TUTORIAL.md"
PICTURES = HOST_SIM / "tutorial"
# Picture: the file in the folder of the run that it is a copy of; the drawing is made from the bike file.
DRAWN = {
    "ride.png": "bench/ride.png",
    "inspection.png": "sensor/inspection.png",
    "again.png": "again/ride.png",
}
WIRING = "wiring.svg"
_PAIR = re.compile(r"```sh\n(?P<commands>.*?)```\n\n```text\n(?P<shown>.*?)```", re.S)


@dataclass(frozen=True, slots=True)
class Part:
    """A few commands of the page, one a line, and the lines that it shows below them."""

    commands: tuple[str, ...]
    shown: tuple[str, ...]


def parts_of(page: str) -> list[Part]:
    """Return the page's commands with what it shows; every block of commands must have its output."""
    parts = [
        Part(tuple(found["commands"].splitlines()), tuple(found["shown"].splitlines()))
        for found in _PAIR.finditer(page)
    ]
    if len(parts) != page.count("```sh\n"):
        raise ValueError("a block of commands has no block of output below it")
    return parts


def run(part: Part, folder: Path) -> list[str]:
    """Run the commands of a part one after the other; return the lines of their output.

    RuntimeError if a command fails, with all that it said.
    """
    programs = str(Path(sys.executable).parent)
    environment = {**os.environ, "PATH": programs + os.pathsep + os.environ["PATH"], "COLUMNS": "100"}
    lines: list[str] = []
    for command in part.commands:
        ran = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", command],
            cwd=folder,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        if ran.returncode != 0:
            raise RuntimeError(f"{command}\n{ran.stdout[-2000:]}{ran.stderr[-2000:]}")
        lines += ran.stdout.splitlines()
    return lines


def not_printed(shown: tuple[str, ...], printed: list[str]) -> str | None:
    """Return the first shown line that is not where it must be in what was printed; None if all are."""
    at = 0
    anywhere = False
    for line in shown:
        if line == "…":
            anywhere = True
            continue
        pattern = re.compile(".*".join(re.escape(piece) for piece in line.split("…")))
        found = next((n for n in range(at, len(printed)) if pattern.fullmatch(printed[n].rstrip())), None)
        if found is None or (found > at and not anywhere):
            return line
        at, anywhere = found + 1, False
    return None if anywhere or at == len(printed) else "(the end)"


def wiring_of(bike_file: Path) -> str:
    """Return the drawing of the wiring sheet for the Pico."""
    bike = load_bike(bike_file)
    return draw_wiring(circuits_for(bike, pins_of("rpi_pico")), target_named("rpi_pico").title)


def draw(folder: Path) -> None:
    """Take the pictures of a whole run."""
    for name, made in DRAWN.items():
        shutil.copyfile(folder / made, PICTURES / name)
    (PICTURES / WIRING).write_text(wiring_of(folder / "longtail.toml"), encoding="utf-8")


def main(folder: Path) -> int:
    """Run all of it; the exit code says whether the page shows what was printed."""
    folder.mkdir()
    wrong = 0
    for part in parts_of(PAGE.read_text(encoding="utf-8")):
        printed = run(part, folder)
        sys.stdout.write("\n".join(["$ " + command for command in part.commands] + printed + [""]))
        sys.stdout.flush()
        missing = not_printed(part.shown, printed)
        if missing is not None:
            wrong += 1
            sys.stdout.write(f"THE PAGE SHOWS ANOTHER LINE: {missing}\n")
    draw(folder)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
