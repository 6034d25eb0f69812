"""How long a lesson takes from the key to the new figure: `uv run python -m tests.benchmarks.lab_speed`.

Prints, for each lesson, the time to compute and draw alone, and the time from pressing an arrow key on a
slider until the browser has another figure, measured inside the page. The wish: 200 ms on two free cores.
"""

import statistics
import time
from collections.abc import Callable

from playwright.sync_api import Page, sync_playwright

from host_sim.lab.direction import turn_crank
from host_sim.lab.direction_figure import draw_direction
from host_sim.lab.faults import try_fault
from host_sim.lab.faults_figure import draw_fault
from host_sim.lab.levers import try_levers
from host_sim.lab.levers_figure import draw_levers
from host_sim.lab.loop import try_loop
from host_sim.lab.loop_figure import draw_loop
from host_sim.lab.slew import try_slew
from host_sim.lab.slew_figure import draw_slew
from host_sim.lab.thresholds import try_thresholds
from host_sim.lab.thresholds_figure import draw_thresholds
from tests.lab.serving import CHROMIUM, QUIET, lab_program

PRESSES = 9
COMPUTED: tuple[Callable[[], str], ...] = (
    lambda: draw_direction(turn_crank(200, 34)),
    lambda: draw_thresholds(try_thresholds(12, 4, 130)),
    lambda: draw_slew(try_slew(1000, 0)),
    lambda: draw_loop(try_loop(3000, 120, True)),
    lambda: draw_levers(try_levers("eu", 3, 50, True)),
    lambda: draw_fault(try_fault("one magnet falls off", 3.0, 60)),
)
WATCH = """() => {
  window.painted = null;
  const figure = document.querySelector('figure.lab-figure');
  const before = figure.innerHTML;
  const press = () => { window.pressed = performance.now(); };
  window.addEventListener('keydown', press, {capture: true, once: true});
  const look = () => {
    const now = document.querySelector('figure.lab-figure')?.innerHTML;
    if (now !== undefined && now !== before) { window.painted = performance.now() - window.pressed; }
    else { requestAnimationFrame(look); }
  };
  requestAnimationFrame(look);
}"""


def compute_ms(lesson: Callable[[], str]) -> tuple[float, float]:
    """Return the least wall time and the least processor time of some tries."""
    walls, processor = [], []
    for _ in range(5):
        wall_s, cpu_s = time.perf_counter(), time.process_time()
        lesson()
        walls.append((time.perf_counter() - wall_s) * 1e3)
        processor.append((time.process_time() - cpu_s) * 1e3)
    return min(walls), min(processor)


def press_ms(page: Page) -> list[float]:
    """Return the times from key to figure, there and back on the first slider."""
    slider = page.get_by_role("slider").first
    times = []
    for press in range(PRESSES):
        slider.focus()
        page.evaluate(WATCH)
        page.keyboard.press("ArrowLeft" if press % 2 else "ArrowRight")
        page.wait_for_function("window.painted !== null")
        times.append(page.evaluate("window.painted"))
    return times


def main() -> None:
    """Print the table."""
    print("lesson  compute and draw, ms (processor)   key to screen, ms: median (least, most)")
    with lab_program("--port", "0") as (_, url), sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        window = browser.new_context(viewport={"width": 1280, "height": 720})
        window.set_default_timeout(60_000)
        for number, lesson in enumerate(COMPUTED, start=1):
            wall_ms, cpu_ms = compute_ms(lesson)
            page = window.new_page()
            page.goto(f"{url}{number}/")
            page.wait_for_selector(".lab-links")
            if number == 6:
                page.locator("select").nth(2).select_option(label="goes on helping")
                page.wait_for_function("!document.querySelector('.lab-strip').innerText.includes('guess')")
            times = press_ms(page)
            page.close()
            middle = statistics.median(times)
            print(
                f"{number:<8}{wall_ms:>5.0f} ({cpu_ms:.0f}){'':<27}{middle:>5.0f} "
                f"({min(times):.0f}, {max(times):.0f})"
            )
        browser.close()


if __name__ == "__main__":
    main()
