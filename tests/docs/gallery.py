"""Draws the pictures of the README again, with the program's own commands.

`uv run python -m tests.docs.gallery [FOLDER]` writes them into host_sim/report/pictures, or into FOLDER.
The last two are taken by a browser: without playwright and a browser they are left out, with a sentence.
"""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.cli.handover import HandoverRequest, handover
from host_sim.cli.ride import RideRequest, ride
from host_sim.cli.sweep import SweepRequest, sweep
from host_sim.cli.tune import TuneRequest, tune
from host_sim.cli.verify import VerifyRequest, verify
from host_sim.errors import RequestError
from host_sim.handover.browser import QUIET_OPTIONS, find_browser
from host_sim.inspecting.crank import InspectRequest, inspect_capture

if TYPE_CHECKING:
    from playwright.sync_api import Page

PICTURES = Path(__file__).resolve().parents[2] / "host_sim/report/pictures"
DRAWN = ("ride.png", "inspection.png", "thresholds.png", "power_loop.png", "sweep-heat.png")
PHOTOGRAPHED = ("handover.png", "lab.png")
LOADED_MS = 60_000
RIDES = 50  # Of each kind in the report on the handover sheet, as `treadle verify` rides by itself.


def draw_all(folder: Path) -> list[str]:
    """Draw all pictures into `folder`, which exists; return a sentence for each that can't be had here."""
    with tempfile.TemporaryDirectory(prefix="treadle-gallery-") as name:
        workshop = Path(name)
        ride(RideRequest("cargo_trike", out=workshop))
        _inspection(workshop)
        tune(TuneRequest("cargo_trike", out=workshop, force=True), _silently)
        _sweep(workshop)
        for picture in DRAWN:
            shutil.copyfile(workshop / picture, folder / picture)
        try:
            _photograph(workshop, folder)
        except (RequestError, ImportError) as missing:
            return [f"{' and '.join(PHOTOGRAPHED)} were not made: {missing}"]
    return []


def _silently(done: int, of_all: int) -> None:
    """Show no progress."""


def _say_nothing(sentence: str) -> None:
    """Take a notice."""


def _inspection(workshop: Path) -> None:
    """Inspect a crank that was turned by hand, with a magnet missing."""
    capture = workshop / "crank.vcd"
    ride(RideRequest("cargo_trike", course="turned_by_hand", out=workshop / "by_hand", capture=capture))
    inspect_capture(InspectRequest(capture, forward="5:28", out=workshop), _silently)


def _sweep(workshop: Path) -> None:
    axes = ["rise_mv_per_s=200:4000:16", "engage_rpm=15:45:7"]
    sweep(
        SweepRequest("cargo_trike", axes, None, 60.0, 1, None, None, workshop / "sweep.csv", True),
        _silently,
        _say_nothing,
    )


def _photograph(workshop: Path, folder: Path) -> None:
    from playwright.sync_api import sync_playwright

    browser = find_browser()
    page_path = workshop / "handover.html"
    # The folding bicycle: its report has rules that fail, and the sheet says so.
    verify(VerifyRequest("folding", None, 1, RIDES, workshop / "verify", True), _silently, _say_nothing)
    handover(HandoverRequest("folding", verify=workshop / "verify" / "verify.json", out=page_path))
    with sync_playwright() as driver, _lab() as url:
        window = driver.chromium.launch(executable_path=browser, args=list(QUIET_OPTIONS))
        page = window.new_page(viewport={"width": 900, "height": 1270})
        page.goto(page_path.as_uri())
        page.screenshot(path=folder / "handover.png")
        page = window.new_page(viewport={"width": 1280, "height": 720})
        page.goto(url)
        _let_it_wind_up(page)
        page.screenshot(path=folder / "lab.png")
        window.close()


def _let_it_wind_up(page: "Page") -> None:
    """State an answer in lesson 4, and move its sliders to gain 5000 and 50 ms, the anti-windup off."""
    lesson = page.locator("#lesson-4")
    lesson.get_by_role("radio").nth(1).check()
    lesson.get_by_role("button", name="Show what happens").click()
    lesson.locator(".lab-done").wait_for(timeout=LOADED_MS)
    for slider in ("gain", "integral time"):
        lesson.get_by_role("combobox", name=slider).press("ArrowUp")
        lesson.locator("figure[aria-busy=false]").wait_for(timeout=LOADED_MS)


@contextmanager
def _lab() -> Iterator[str]:
    """Give the address of a lab that runs as a program of its own."""
    code = "from host_sim.cli import main; main()"
    command = [sys.executable, "-c", code, "lab", "4", "--no-browser", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        try:
            yield program.stdout.readline().split(" until ")[0].removeprefix("The lab is at ")
        finally:
            program.terminate()


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES
    target.mkdir(parents=True, exist_ok=True)
    for sentence in draw_all(target):
        sys.stderr.write(sentence + "\n")
