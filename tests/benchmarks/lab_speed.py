"""How long the lab takes to start and to follow a slider: `uv run python -m tests.benchmarks.lab_speed`.

For the served lab and for an export opened from the disk it prints the time from opening the page in a new
profile until the first figure is painted (the wish: 4 s), and for each lesson the time from a key on a slider
until the browser has painted another figure, measured inside the page (the wish: 150 ms in the median).
"""

import statistics
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.description import Slider
from host_sim.lab.export import Export
from tests.lab.serving import CHROMIUM, QUIET, lab_program, until

STARTS, PRESSES = 5, 11
FIRST = """() => {
  window.first = null;
  document.addEventListener("DOMContentLoaded", () => {
    const look = () => {
      if (document.querySelector("figure svg")) {
        requestAnimationFrame(() => setTimeout(() => { window.first = performance.now(); }));
      } else { requestAnimationFrame(look); }
    };
    look();
  });
}"""
WATCH = """(number) => {
  window.painted = null;
  const figure = document.querySelector(`#lesson-${number} figure`);
  const press = () => { window.pressed = performance.now(); };
  window.addEventListener("keydown", press, {capture: true, once: true});
  figure.addEventListener("drawn", () => requestAnimationFrame(() => setTimeout(() => {
    window.painted = performance.now() - window.pressed;
  })), {once: true});
}"""


def start_ms(browser: Browser, address: str) -> float:
    """Return the time until the first figure, in a window that has seen nothing yet."""
    window = browser.new_context(viewport={"width": 1280, "height": 720})
    page = window.new_page()
    page.add_init_script(f"({FIRST})()")
    page.goto(address)
    taken = until(page, "() => window.first")
    window.close()
    return float(taken)


def press_ms(page: Page, number: int) -> list[float]:
    """Return the times from key to paint, there and back on the first slider of a lesson."""
    page.evaluate("number => { location.hash = `#${number}`; }", number)
    section = page.locator(f"#lesson-{number}")
    section.locator("figure svg").first.wait_for()
    described = lesson(number)
    if described.prediction.values is not None:
        section.get_by_role("radio").first.check()
        section.get_by_role("button", name="Show what happens").click()
        section.locator(".lab-done").wait_for()
    first = next(one for one in described.inputs if isinstance(one, Slider))
    slider = section.get_by_role("slider" if first.even else "combobox", name=first.label)
    times = []
    for press in range(PRESSES):
        until(page, "n => document.querySelector(`#lesson-${n} figure`).ariaBusy === 'false'", number)
        slider.focus()
        page.evaluate(WATCH, number)
        page.keyboard.press("ArrowUp" if press % 2 else "ArrowDown")
        times.append(float(until(page, "() => window.painted")))
    return times


def _told(times: list[float]) -> str:
    return f"{statistics.median(times):>6.0f} ({min(times):.0f}, {max(times):.0f})"


def measure(browser: Browser, name: str, address: str) -> None:
    """Print the table of one way."""
    print(f"{name}: first figure, ms: median (least, most)")
    print(f"{'':<9}{_told([start_ms(browser, address) for _ in range(STARTS)])}")
    print("lesson   key to paint, ms")
    window = browser.new_context(viewport={"width": 1280, "height": 720})
    page = window.new_page()
    page.goto(address)
    for number in range(1, len(NAMES) + 1):
        print(f"{number:<9}{_told(press_ms(page, number))}", flush=True)
    window.close()


def main() -> None:
    """Print both tables, or that of the export in a folder that is given."""
    with sync_playwright() as driver, tempfile.TemporaryDirectory(prefix="treadle-speed-") as name:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(name) / "lab"
        if len(sys.argv) == 1:
            print(Export(folder, None).write() or "exported")
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        measure(browser, "exported", (folder / "index.html").resolve().as_uri())
        with lab_program("--port", "0") as (_, url):
            measure(browser, "served", url)
        browser.close()


if __name__ == "__main__":
    main()
