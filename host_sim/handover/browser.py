"""Prints a page as PDF with an installed browser, without a window and without its user's profile."""

import shutil
import subprocess
import tempfile
from pathlib import Path

from host_sim.errors import RequestError

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
PRINTING_MAX_S = 90.0
QUIET_OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
)  # fmt: skip


def installed_browser() -> str | None:
    """Return the path of the first of BROWSERS that is installed; None if none is."""
    return next((found for name in BROWSERS if (found := shutil.which(name)) is not None), None)


def find_browser() -> str:
    """Return a browser that can print; RequestError if there is none."""
    found = installed_browser()
    if found is not None:
        return found
    raise RequestError(
        f"--pdf needs a browser to print, and none of {', '.join(BROWSERS)} was found; the page "
        "itself prints from any browser on two sides of A4"
    )


def print_pdf(browser: str, page: Path, pdf: Path) -> None:
    """Print `page` into `pdf`; RequestError if the browser wrote none."""
    with tempfile.TemporaryDirectory(prefix="treadle-print-") as profile:
        command = [
            browser, *QUIET_OPTIONS, f"--user-data-dir={profile}", "--no-pdf-header-footer",
            f"--print-to-pdf={pdf}", page.resolve().as_uri(),
        ]  # fmt: skip
        try:
            ended = subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, timeout=PRINTING_MAX_S, check=False
            )
        except subprocess.TimeoutExpired:
            raise RequestError(f"--pdf: {browser} did not print within {PRINTING_MAX_S:.0f} s") from None
    if ended.returncode != 0 or not pdf.is_file() or pdf.stat().st_size == 0:
        raise RequestError(f"--pdf: {browser} ended with {ended.returncode} and wrote no PDF")
