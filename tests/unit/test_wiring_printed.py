"""The wiring sheet on paper: it prints on three sides of A4, and nothing is wider than the paper."""

import json
import re
import subprocess

import pytest
from pypdf import PdfReader

from host_sim.bikes.load import load_bike
from host_sim.boardlink.targets import target_named
from host_sim.errors import RequestError
from host_sim.handover.browser import QUIET_OPTIONS, find_browser, print_pdf
from host_sim.wiring.sheet import wiring_sheet

# A4 is 210 by 297 mm (ISO 216). A PDF counts 72 points an inch, a style sheet 96 pixels (CSS Values 3).
WIDTH_MM, HEIGHT_MM, MARGIN_MM = 210.0, 297.0, 13.0
POINTS_A_MM, PIXELS_A_MM = 72 / 25.4, 96 / 25.4
# The bike with the most wires: throttle, selector, shunt, motor temperature.
FULL = "cargo_trike"
LOOK = """
<script>
const wide = [], right = (e) => e.getBoundingClientRect().right;
const page = document.documentElement;
for (const e of document.querySelectorAll('body *')) {
  if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0) wide.push(e.tagName + ' ' + e.textContent.slice(0, 40));
  if (right(e) > page.clientWidth + 1) wide.push(e.tagName + ' beyond ' + e.textContent.slice(0, 40));
}
const drawing = document.querySelector('svg').getBoundingClientRect();
for (const e of document.querySelectorAll('svg text')) {
  const place = e.getBoundingClientRect();
  if (place.left < drawing.left || place.right > drawing.right || place.bottom > drawing.bottom) wide.push(e.textContent);
}
document.body.innerHTML = '';
document.title = JSON.stringify({width: page.clientWidth, wide: wide});
</script>
"""  # noqa: E501


@pytest.fixture(scope="module")
def browser():
    try:
        return find_browser()
    except RequestError as missing:
        pytest.skip(str(missing))


def as_printed_on_a_screen(page: str) -> str:
    """Return the page with the style of its print, and a script that looks for what is cut off."""
    page = re.sub(r"<meta http-equiv[^>]*>", "", page)
    assert page.count("@media print") == 1
    return page.replace("@media print", "@media all").replace("</body>", LOOK + "</body>")


def too_wide(browser: str, page: str, folder) -> dict[str, object]:
    """Have a browser lay the page out as wide as the paper between its margins; return what it told."""
    place = folder / "look.html"
    place.write_text(as_printed_on_a_screen(page), encoding="utf-8")
    width = int((WIDTH_MM - 2 * MARGIN_MM) * PIXELS_A_MM)
    command = [
        *(browser, *QUIET_OPTIONS, f"--user-data-dir={folder / 'profile'}", "--hide-scrollbars"),
        *(f"--window-size={width},1000", "--dump-dom", place.as_uri()),
    ]
    told = subprocess.run(command, capture_output=True, text=True, timeout=90, check=True).stdout
    title = re.search(r"<title>(.*?)</title>", told)
    assert title is not None
    return dict(json.loads(title.group(1).replace("&quot;", '"').replace("&amp;", "&")))


@pytest.mark.parametrize(
    "board",
    [
        pytest.param("rpi_pico", marks=pytest.mark.long),
        pytest.param("esp32_devkitc", marks=pytest.mark.slow),
        pytest.param("pyboard", marks=pytest.mark.slow),
    ],
)
def test_the_sheet_of_a_full_bike_prints_on_three_sides_of_a4_with_nothing_cut_off(browser, board, tmp_path):
    page = wiring_sheet(load_bike(FULL), target_named(board))
    (tmp_path / "wiring.html").write_text(page, encoding="utf-8")
    print_pdf(browser, tmp_path / "wiring.html", tmp_path / "wiring.pdf")
    sides = PdfReader(tmp_path / "wiring.pdf").pages
    assert len(sides) == 3
    for side in sides:
        assert float(side.mediabox.width) == pytest.approx(WIDTH_MM * POINTS_A_MM, abs=1)
        assert float(side.mediabox.height) == pytest.approx(HEIGHT_MM * POINTS_A_MM, abs=1)
    printed = ["".join(side.extract_text().split()) for side in sides]
    for side, heading in enumerate(("Drawing", "Parts", "Does the motor controller")):
        assert "".join(heading.split()) in printed[side]
    told = too_wide(browser, page, tmp_path)
    assert told["width"] == int((WIDTH_MM - 2 * MARGIN_MM) * PIXELS_A_MM)
    assert told["wide"] == []


@pytest.mark.slow
def test_a_word_that_is_wider_than_the_paper_would_be_found(browser, tmp_path):
    page = wiring_sheet(load_bike(FULL), target_named("rpi_pico"))
    wide = page.replace("Fuse at the pack", "<nobr>" + "fuse and " * 60 + "</nobr>")
    assert wide != page
    assert too_wide(browser, wide, tmp_path)["wide"] != []
