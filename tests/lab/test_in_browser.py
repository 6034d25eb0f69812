"""Every lesson in a real browser: it loads, sliders move the figure, nothing complains or is from outside."""

import pytest

from host_sim.lab.catalogue import LESSONS
from tests.lab.serving import CHROMIUM, QUIET, lab_program

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium: apt-get install chromium")
PROJECTOR = {"width": 1280, "height": 720}
PHONE = {"width": 390, "height": 844}
LOADED_MS = 300_000  # On a busy computer; alone it takes some seconds.


@pytest.fixture(scope="module")
def lab():
    with lab_program("--port", "0") as (_, url):
        yield url


@pytest.fixture(scope="module")
def browser():
    """One window for all lessons, so that what they share is loaded once."""
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        window = started.new_context(viewport=PROJECTOR)
        window.set_default_timeout(LOADED_MS)
        yield window
        started.close()


@pytest.fixture
def lesson(lab, browser):
    """Open a lesson. Afterwards nothing may have complained, and nothing may have been asked of others."""
    pages, complaints, strangers = [], [], []

    def is_strange(url):
        return not url.startswith((lab, "data:", "blob:", lab.replace("http:", "ws:")))

    def block(route):
        if is_strange(route.request.url):
            strangers.append(route.request.url)
            route.abort()
        else:
            route.continue_()

    def open_lesson(number):
        page = browser.new_page()
        pages.append(page)
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("websocket", lambda made: strangers.append(made.url) if is_strange(made.url) else None)
        page.route(is_strange, block)
        page.goto(f"{lab}{number}/")
        page.wait_for_selector("figure.lab-figure svg")
        page.wait_for_selector(".lab-exercise")
        page.wait_for_selector(".lab-links")
        return page

    yield open_lesson
    for page in pages:
        page.close()
    assert complaints == []
    assert strangers == []


def _press(page, key, slider):
    """Press a key on a slider and wait until the figure has followed."""
    figure = page.locator("figure.lab-figure").inner_html()
    page.get_by_role("slider").nth(slider).focus()
    page.keyboard.press(key)
    page.wait_for_function(
        "before => document.querySelector('figure.lab-figure')?.innerHTML !== before", arg=figure
    )


def _guess(page, outcome):
    """Choose an answer of lesson 6."""
    page.locator("select").nth(2).select_option(label=outcome)


def _fits_a_projector(page):
    """Question, figure and the first row of controls are seen without scrolling."""
    for what in ("h1", "figure.lab-figure svg", ".lab-controls > div"):
        place = page.locator(what).first.bounding_box()
        assert place["y"] >= 0
        assert place["y"] + place["height"] <= PROJECTOR["height"], what


def _fits_a_phone(page):
    """The page is no wider than the screen, and its words are no smaller than 13 px."""
    page.set_viewport_size(PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    sizes = page.evaluate(
        "[...document.querySelectorAll('.lab-strip dd, .lab-exercise p, h1')].map("
        "e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 13


@pytest.mark.parametrize("number", [2, 3, 4, 5])
def test_a_lesson_loads_and_its_sliders_move_the_figure(lesson, number):
    page = lesson(number)
    assert page.locator("h1").inner_text() == LESSONS[number - 1].question
    assert page.locator(".lab-open").count() == 1  # The exercise is not solved at first.
    assert page.get_by_text("Teacher's notes").count() == 1
    told = page.locator("figure.lab-figure svg").get_attribute("aria-label")
    _fits_a_projector(page)
    _press(page, "ArrowRight", slider=0)
    _press(page, "ArrowRight", slider=1)
    assert page.locator("figure.lab-figure svg").get_attribute("aria-label") != told
    _fits_a_phone(page)


def test_the_exercise_of_lesson_1_is_solved_with_the_keyboard_alone(lesson):
    page = lesson(1)
    assert page.locator(".lab-open").count() == 1
    _fits_a_projector(page)
    _press(page, "End", slider=0)
    assert page.locator(".lab-solved").count() == 0
    _press(page, "End", slider=1)  # Every 45 degrees: nothing is seen any more.
    for _ in range(11):
        page.keyboard.press("ArrowLeft")  # The slider has kept the focus.
    page.locator(".lab-strip", has_text="-10 edges").wait_for()  # 360 degrees: ten looks, three states each.
    page.wait_for_selector(".lab-solved")
    _fits_a_phone(page)


def test_lesson_6_shows_nothing_before_the_guess_and_a_new_fault_wants_a_new_one(lesson):
    page = lesson(6)
    assert "guess below" in page.locator(".lab-strip").inner_text()
    _fits_a_projector(page)
    _guess(page, "goes on helping")
    page.wait_for_function("document.querySelector('.lab-exercise').innerText.includes('Not so')")
    place = page.locator("select").nth(2).bounding_box()
    assert place["y"] + place["height"] <= PROJECTOR["height"]
    assert "stops at once" in page.locator(".lab-strip").inner_text()
    _guess(page, "stops at once")
    page.wait_for_selector(".lab-solved")
    page.locator("select").first.select_option(label="one magnet falls off")
    page.wait_for_function("document.querySelector('.lab-strip').innerText.includes('guess below')")
    _guess(page, "goes on helping")
    page.wait_for_selector(".lab-solved")
    _fits_a_phone(page)


def test_the_notes_open_by_keyboard_and_the_links_lead_on(lesson):
    page = lesson(2)
    page.get_by_role("button", name="Teacher's notes").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Teacher's notes", expanded=True).wait_for()
    page.get_by_role("link", name="lesson 3").click()
    page.wait_for_function("document.querySelector('h1')?.innerText === 'How fast may the push come?'")
    page.wait_for_selector("figure.lab-figure svg")
