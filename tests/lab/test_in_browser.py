"""The page in a real browser, served and exported: it loads, fits, moves, works by keyboard and by ear."""

import csv
import io
import json
import re
from pathlib import Path

import pytest

from host_sim.lab.call import answer
from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.description import Choice, Slider
from tests.lab.serving import until

# One worker for all tests that want the export, which takes some seconds to make.
pytestmark = [pytest.mark.long, pytest.mark.xdist_group("lab in a browser")]
NUMBERS = range(1, len(NAMES) + 1)
SIZES = {1920: 1080, 1280: 720, 390: 844}


def _lesson(page, number):
    """Go to a lesson and return it once its first figure is there."""
    page.evaluate("number => { location.hash = `#${number}`; }", number)
    section = page.locator(f"#lesson-{number}")
    section.locator("figure svg").first.wait_for()
    return section


def _predict(section, option):
    section.get_by_role("radio", name=option, exact=True).check()
    section.get_by_role("button", name="Show what happens").click()
    section.locator(".lab-done").wait_for()


def _settled(page, section):
    until(page, "id => document.querySelector(`#${id} figure`).getAttribute('aria-busy') === 'false'",
          section.get_attribute("id"))  # fmt: skip


def _is_on_screen(page, section, height):
    """Question, controls, figure and answer lie on the screen as it opens."""
    for what in ("h1", ".lab-predict", ".lab-inputs", "figure svg", ".lab-check"):
        for part in section.locator(what).all():
            place = part.bounding_box()
            if place is not None:  # What is hidden has none.
                assert place["y"] >= 0
                assert place["y"] + place["height"] <= height, what
    assert page.evaluate("document.documentElement.scrollHeight") <= height


def _is_not_cut(page, section, width):
    """Nothing reaches beyond the right edge, and nothing has to be pushed aside."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    cut = section.evaluate(
        """(section, width) => [...section.querySelectorAll(":not(svg *)")].filter((one) => {
          const place = one.getBoundingClientRect();
          const scrolls = getComputedStyle(one).overflowX !== "visible" && one.clientWidth > 0;
          const pushed = scrolls && one.scrollWidth > one.clientWidth + 1;
          return place.width > 0 && (place.right > width + 1 || place.left < -1 || pushed);
        }).map((one) => one.outerHTML.slice(0, 200))""",
        width,
    )
    assert cut == []


def _words_can_be_read(section):
    """Words of a chart are not small, lie inside it and do not cover each other."""
    drawn = section.evaluate(
        """(section) => [...section.querySelectorAll("figure svg")].flatMap((chart) => {
          const frame = chart.getBoundingClientRect();
          const scale = chart.getScreenCTM().a;
          return [...chart.querySelectorAll("text")].map((text) => {
            const place = text.getBoundingClientRect();
            const size = parseFloat(text.getAttribute("font-size")) * scale;
            return [text.textContent, size, place.left - frame.left, place.right - frame.left, place.top,
              place.bottom, frame.width];
          }).filter(([, , left, right, , , wide]) => right > 0 && left < wide);
        })"""
    )
    assert len(drawn) > 5
    for words, size, left, right, _, _, wide in drawn:
        assert size >= 11, words
        assert left >= -1, words
        assert right <= wide + 1, words
    return drawn


def _covered(drawn):
    """Return pairs of words that lie on each other by more than the white edge around them."""
    found = []
    for at, (words, _, left, right, top, bottom, _) in enumerate(drawn):
        for other, _, other_left, other_right, other_top, other_bottom, _ in drawn[:at]:
            across = min(right, other_right) - max(left, other_left)
            along = min(bottom, other_bottom) - max(top, other_top)
            if across > 1 and along > 6:
                found.append((words, other))
    return found


@pytest.mark.parametrize("width", SIZES)
def test_every_lesson_fits_the_screen_before_and_after_the_answer(opened, width):
    page = opened(width, SIZES[width])
    for number in NUMBERS:
        section = _lesson(page, number)
        described = lesson(number)
        assert section.locator("h1").inner_text() == described.question
        for _ in range(2):
            _is_not_cut(page, section, width)
            if width > 1000:
                _is_on_screen(page, section, SIZES[width])
            else:
                assert _covered(_words_can_be_read(section)) == []
                below = section.locator(".lab-key li").all_inner_texts()
                assert [words for words in below if re.fullmatch(r"[-−\d.]+", words)] == []  # noqa: RUF001
            if section.locator(".lab-done").count() == 0:
                _predict(section, described.prediction.options[0])


def test_the_page_shows_what_python_computes_here(opened):
    page = opened(1280, 720)
    for number in NUMBERS:
        described = lesson(number)
        section = _lesson(page, number)
        _settled(page, section)
        option = described.prediction.options[-1]
        expected = answer({"lesson": number, "values": described.start_values()})
        _same_html(page, section, expected["figure"])
        _predict(section, option)
        expected = answer({"lesson": number, "values": described.start_values(), "guess": option})
        _same_html(page, section, expected["figure"])
        assert expected["outcome"] in section.locator(".lab-outcome").inner_text()
        assert ("✓" in section.locator(".lab-outcome").inner_text()) == expected["right"]


def _same_html(page, section, html):
    """The figure is the one that CPython draws, byte for byte, once a browser has read both."""
    shown, expected = section.locator("figure").evaluate(
        "(figure, html) => { const other = figure.cloneNode(); other.innerHTML = html; "
        "return [figure.innerHTML, other.innerHTML]; }",
        html,
    )
    assert shown == expected


def _role(one):
    if isinstance(one, Slider):
        return "slider" if one.even else "combobox"
    return "combobox" if isinstance(one, Choice) else "switch"


def test_names_and_values_are_there_for_screen_readers(opened):
    page = opened(1280, 720)
    session = page.context.new_cdp_session(page)
    for number in NUMBERS:
        section = _lesson(page, number)
        described = lesson(number)
        _predict(section, described.prediction.options[0])
        shown = described.checked(described.prediction.values or described.start_values())
        tree = session.send("Accessibility.getFullAXTree")["nodes"]
        nodes = [node for node in tree if not node["ignored"]]
        named = {
            (node["role"]["value"], node.get("name", {}).get("value", "")): node
            for node in nodes
            if node["role"]["value"]
            in ("slider", "switch", "combobox", "radio", "button", "heading", "image", "status")
        }
        for role, name in named:
            assert name or role == "status", role
        for one in described.inputs:
            node = named[_role(one), one.label]
            if isinstance(one, Slider):
                value = shown[one.name]
                # The control's own value is the number, whatever is said beside it.
                native = section.get_by_role(_role(one), name=one.label).input_value()
                assert float(native) == value
                told = node["value"]["value"]
                assert told == (value if one.even else f"{value:g} {one.unit}")
                if one.even:
                    said = section.get_by_role("slider", name=one.label).get_attribute("aria-valuetext")
                    assert said == f"{value:g} {one.unit}"
        assert ("heading", described.question) in named
        assert any(role == "image" and len(name) > 20 for role, name in named)


def test_the_exercise_of_lesson_1_is_solved_with_the_keyboard_alone(opened):
    page = opened(1280, 720)
    section = _lesson(page, 1)
    page.locator("body").press("Tab")
    for _ in range(40):
        if page.evaluate("document.activeElement.type") == "radio":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    section.locator(".lab-done").wait_for()
    while page.evaluate("document.activeElement.dataset.name") != "angle_deg":
        page.keyboard.press("Tab")
    page.keyboard.press("End")
    page.keyboard.press("Tab")
    page.keyboard.press("End")  # Every 45 degrees: nothing is seen any more.
    for _ in range(11):
        page.keyboard.press("ArrowLeft")
    section.locator(".lab-solved").wait_for()
    section.locator(".lab-strip", has_text=re.compile(r"✗ -\d+ edges")).wait_for()
    slider = section.get_by_role("slider").nth(1)
    assert slider.get_attribute("aria-valuetext") == "34 degrees"


def test_settings_stay_locked_until_an_answer_is_stated(opened):
    page = opened(1280, 720)
    section = _lesson(page, 3)
    sliders = section.locator(".lab-inputs [data-name]")
    assert [one.is_disabled() for one in sliders.all()] == [True, True]
    assert section.get_by_role("button", name="Show what happens").is_disabled()
    _predict(section, lesson(3).prediction.options[0])
    assert [one.is_disabled() for one in sliders.all()] == [False, False]
    assert sliders.first.input_value() == "200"  # What the question was about.
    page.reload()
    assert not _lesson(page, 3).get_by_role("combobox").first.is_disabled()


def test_lesson_6_shows_nothing_before_the_answer_and_wants_a_new_one_for_a_new_fault(opened):
    page = opened(1280, 720)
    section = _lesson(page, 6)
    _settled(page, section)
    for fault, outcome in (
        ("a throttle wire breaks", "stops at once"),
        ("one magnet falls off", "goes on helping"),
    ):
        section.get_by_role("combobox", name="what breaks").select_option(label=fault)
        _settled(page, section)
        hidden = section.inner_text() + section.locator("figure").inner_html()
        assert "latch says" not in hidden
        assert "?" in section.locator(".lab-strip").inner_text()
        assert section.locator(".lab-outcome").inner_text() == ""
        _predict(section, outcome)
        assert "✓ Right" in section.locator(".lab-outcome").inner_text()
        assert outcome in section.locator(".lab-strip").inner_text()


def test_a_slider_drawn_quickly_ends_at_its_last_value_and_never_shows_an_older_one_after_a_newer(opened):
    page = opened(1280, 720)
    section = _lesson(page, 4)
    _predict(section, lesson(4).prediction.options[0])
    _settled(page, section)
    page.evaluate(
        """() => {
          const section = document.querySelector("#lesson-4");
          window.shown = [];
          section.querySelector("figure").addEventListener("drawn", () => {
            const told = section.querySelector("svg").getAttribute("aria-label");
            window.shown.push(Number(/Gain (\\d+)/.exec(told)[1]));
          });
          const slider = section.querySelector("[data-name=gain_uv_per_w]");
          for (const step of slider.options) {
            slider.value = step.value;
            slider.dispatchEvent(new Event("input"));
          }
        }"""
    )
    until(page, "() => window.shown.at(-1) === 50000")
    _settled(page, section)
    shown = page.evaluate("() => window.shown")
    assert shown[-1] == 50_000
    assert shown == sorted(shown)
    assert len(shown) <= 3  # The first, and the last; what was between is dropped.


def test_attempts_and_results_are_saved_as_a_table(opened):
    page = opened(1280, 720)
    section = _lesson(page, 3)
    _predict(section, lesson(3).prediction.options[0])
    section.get_by_role("combobox", name="rise rate").press("End")
    _settled(page, section)
    for role, name, key, steps in (
        ("combobox", "rise rate", "ArrowUp", 4),
        ("slider", "load in the box", "ArrowLeft", 6),
    ):
        for _ in range(steps):
            section.get_by_role(role, name=name).press(key)
    section.locator(".lab-solved").wait_for()
    # Not even what somebody has planted becomes a formula in a table program.
    page.evaluate("() => noteAttempt('=1+1', '@x', {a: 1}, '+cmd', 'a \"quoted\", word', false)")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save my answers").click()
    assert saved.value.suggested_filename == "lab-answers.csv"
    text = Path(saved.value.path()).read_bytes().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["kind"] for row in rows] == ["prediction", "exercise", "'@x"]
    assert rows[0]["stated"] == lesson(3).prediction.options[0]
    assert rows[0]["settings"] == "rise_mv_per_s=200; load_kg=60"
    assert (rows[0]["right"], rows[1]["right"]) == ("no", "yes")
    assert (
        rows[0]["shown"]
        == answer(
            {"lesson": 3, "values": lesson(3).start_values(), "guess": lesson(3).prediction.options[0]}
        )["outcome"]
    )
    assert (rows[2]["lesson"], rows[2]["stated"], rows[2]["shown"]) == ("'=1+1", "'+cmd", 'a "quoted", word')


def test_links_lead_to_lessons_and_move_the_focus_to_the_question(opened):
    page = opened(1280, 720)
    _lesson(page, 2)
    page.get_by_role("link", name="3", exact=True).press("Enter")
    section = page.locator("#lesson-3")
    section.locator("figure svg").first.wait_for()
    assert page.evaluate("document.activeElement.textContent") == lesson(3).question
    assert page.locator("section:visible").count() == 1
    assert page.get_by_role("link", name="3", exact=True).get_attribute("aria-current") == "page"
    assert lesson(3).question in page.title()


def test_a_wrong_answer_of_the_engine_is_shown_as_a_sentence(opened):
    page = opened(1280, 720)
    section = _lesson(page, 3)
    _predict(section, lesson(3).prediction.options[0])
    page.evaluate("() => { document.querySelector('#lesson-3 [data-name=load_kg]').dataset.name = 'mass'; }")
    section.get_by_role("slider").first.press("ArrowRight")
    section.locator(".lab-check", has_text="'mass' is not an input of this lesson").wait_for()
    assert json.dumps("mass") not in section.locator("figure").inner_html()
