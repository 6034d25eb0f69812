"""The export in Firefox, opened by double-click: it starts, follows a slider, and lets no code out."""

import json

import pytest

from host_sim.lab.call import answer
from host_sim.lab.catalogue import NAMES, lesson
from tests.lab.firefox import FIREFOX, Firefox
from tests.lab.test_own_loop_in_browser import ATTACK, elsewhere  # noqa: F401 - a fixture

pytestmark = [
    pytest.mark.long,
    pytest.mark.xdist_group("lab in a browser"),
    pytest.mark.skipif(FIREFOX is None, reason="no firefox: apt-get install firefox-esr"),
]
ENDLESS = "while True:\n    pass"
ERRORS = """
window.complaints = [];
window.addEventListener("error", (event) => window.complaints.push(String(event.message)));
window.addEventListener("securitypolicyviolation", (event) => window.complaints.push(event.blockedURI));
"""


@pytest.fixture(scope="module")
def firefox(exported):
    with Firefox() as started:
        started.go((exported / "index.html").as_uri())
        started.run(ERRORS)
        yield started


def test_every_lesson_shows_in_firefox_what_cpython_draws(firefox):
    for number in range(1, len(NAMES) + 1):
        described = lesson(number)
        section = f'document.querySelector("#lesson-{number}")'
        firefox.run(f'location.hash = "#{number}";')
        firefox.until(f'return {section}.querySelector("figure svg") !== null;')
        firefox.run(f'{section}.querySelector("input[type=radio]").click();')
        firefox.run(f'{section}.querySelector(".lab-reveal").click();')
        firefox.until(f'return {section}.querySelector(".lab-done") !== null;')
        guess = described.prediction.options[0]
        expected = answer({"lesson": number, "values": described.start_values(), "guess": guess})
        told = firefox.run(f'return {section}.querySelector("figure svg").getAttribute("aria-label");')
        assert f'aria-label="{told}"' in expected["figure"].replace("&#x27;", "'").replace("&amp;", "&")
    assert firefox.run("return window.complaints;") == []


def test_a_slider_moves_the_figure_in_firefox(firefox):
    firefox.run('location.hash = "#4";')
    firefox.run(
        """const slider = document.querySelector("#lesson-4 [data-name=gain_uv_per_w]");
        slider.value = "1200"; slider.dispatchEvent(new Event("input"));"""
    )
    firefox.until(
        'return document.querySelector("#lesson-4 svg").getAttribute("aria-label").includes("Gain 1200");'
    )


def test_code_is_ridden_and_ended_in_firefox_and_reaches_no_other_server(firefox, elsewhere):  # noqa: F811
    address = f"http://127.0.0.1:{elsewhere.server_address[1]}"
    firefox.run('location.hash = "#7";')
    ride = """document.getElementById("own-said").textContent = "";
        document.getElementById("own-ride").click();"""
    said = """return document.getElementById("own-ride").disabled ? ""
        : document.getElementById("own-said").textContent;"""
    firefox.run(ride)
    assert firefox.until(said) == "1 of 3 rules held."
    firefox.run(f'document.getElementById("own-code").value = {json.dumps(ENDLESS)};' + ride)
    assert "within 3 s" in firefox.until(said)
    for ways in ("ways", "slow_ways"):
        code = ATTACK.replace("WAYS", ways).replace("URL/", f"{address}/").replace('"URL"', f'"{address}"')
        firefox.run(f'document.getElementById("own-code").value = {json.dumps(code)};' + ride)
        firefox.until(said)
    assert elsewhere.asked == []
