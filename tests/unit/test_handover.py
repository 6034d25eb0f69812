"""The handover sheet: what it says, that it loads nothing, and that it refuses what is of another bicycle."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from unicodedata import normalize

import pytest
from pypdf import PdfReader

from firmware.link.store import encode
from firmware.settings import Settings
from host_sim.bikes.load import BIKES, load_bike
from host_sim.boardlink.bundle import FIRST_SEQUENCE, SETTINGS_SLOT, CheckSums
from host_sim.boardlink.manifest import sha256
from host_sim.cli.handover import HandoverRequest, handover
from host_sim.errors import RequestError
from host_sim.handover.browser import BROWSERS, find_browser
from host_sim.handover.figures import _allowed_w
from host_sim.handover.first_ride import START_S, first_ride, push_m_per_s2
from host_sim.handover.owner_rules import MOST_URGENT, OWNER_WORDS, said
from host_sim.handover.reports import RuleHeld
from host_sim.places.limits import load_place, place_names
from host_sim.rules.catalogue import RULES
from tests.quick_first import quick_first

ROOT = Path(__file__).resolve().parents[2]
NO_BROWSER = all(shutil.which(name) is None for name in BROWSERS)
HEADINGS = ["Read this first", "What you will feel", "The first time you ride it"]


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


class Page(HTMLParser):
    """Tags with their attributes, and the text outside styles."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self._in_style = [], "", False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        self._in_style = tag == "style"
        self.words += " " if tag in ("td", "th", "li", "p", "h2") else ""

    def handle_endtag(self, tag):
        self._in_style = False

    def handle_data(self, data):
        if not self._in_style:
            self.words += data

    def named(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]


def _verify_report(path, bike_name, failing=()):
    """Write a report as `treadle verify` does, for all rules of a bike."""
    bike = load_bike(bike_name)
    rows = []
    for rule in RULES:
        limit = rule.limit(bike)
        if limit is not None:
            holds = rule.name not in failing
            measured = limit if holds else limit + 7.5
            rows.append(
                {"rule": rule.name, "holds": holds, "measured": measured, "limit": round(limit, 4),
                 "unit": rule.unit, "margin": limit - measured, "seed": 3, "source": rule.source}
            )  # fmt: skip
    path.write_text(json.dumps(rows))
    return path


def _inspect_report(path, **changes):
    report = {
        "channels": 2, "lead": "A", "pulses_per_rev": 10, "confidence": 0.97, "duty": [0.48, 0.49],
        "phase_deg": 84.0, "missing": [], "weak": [7], "noise_per_s": 0.0, "invalid_per_s": 0.0,
        "reversals": 1,
        "cadence_rpm": {"min": 20.0, "median": 61.0, "max": 90.0},
        "advice": ["Magnet 7 is weak: turn the crank until the lamp is weakest, then press it in.", "More."],
    }  # fmt: skip
    path.write_text(json.dumps({**report, **changes}))
    return path


def _manifest(path, bike_name, **settings):
    bike = load_bike(bike_name)
    values = {**bike.firmware_settings.as_dict(), **settings}
    slot = encode(Settings(values), FIRST_SEQUENCE, CheckSums())
    files = [
        {
            "file": f"firmware/room_{number % 6}/module_{number}.mpy",
            "sha256": f"{number:064x}",
        }
        for number in range(41)
    ]
    files.append({"file": SETTINGS_SLOT, "sha256": sha256(slot)})
    path.write_text(
        json.dumps(
            {"heading": "treadle bundle 1", "treadle": "0.1.0", "board": "rpi_pico", "bike": bike_name,
             "place": "eu", "files": files}
        )
    )  # fmt: skip
    return path


def _page(bike="cargo_trike", **options):
    return handover(HandoverRequest(bike, **options)).files[0].read_text(encoding="utf-8")


@pytest.mark.parametrize("bike", ["cargo_trike", "tandem", "folding"])
def test_the_page_loads_nothing_and_runs_nothing(here, bike):
    text = _page(bike)
    page = Page(text)
    assert "default-src 'none'" in text
    assert not page.named("script") + page.named("link") + page.named("img") + page.named("iframe")
    assert not any({"src", "href", "srcset", "onload"} & attributes.keys() for _, attributes in page.tags)
    assert "url(" not in text
    assert "@import" not in text


def test_a_title_with_markup_is_shown_as_it_is_written(here):
    hostile = "Bike <script>alert('x')</script> & \\\"co\\\""
    original = (BIKES / "folding.toml").read_text().replace("Folding bicycle of a commuter", hostile)
    Path("mine.toml").write_text(original)
    page = Page(_page("mine.toml"))
    assert not page.named("script")
    assert "Bike <script>alert('x')</script> & \"co\"" in page.words


def test_a_sensor_that_is_not_fit_stands_in_the_red_box_with_its_reasons(here):
    why = ["a magnet is weak", "edges are counted backward or refused in every turn"]
    capture = _inspect_report(here / "i.json", fit=False, why=why)
    verify = _verify_report(here / "v.json", "cargo_trike")
    words = Page(_page("cargo_trike", verify=verify, capture=capture)).words
    box = words[words.index("Failed, or not shown") : words.index("What you will feel")]
    assert "The pedal sensor is not fit for use: a magnet is weak; edges are counted backward" in box
    assert "rules tried" not in box  # None failed, and none was left out.


@pytest.mark.parametrize("fit", [True, None])
def test_a_sensor_that_is_fit_or_of_an_older_report_is_not_in_the_red_box(here, fit):
    capture = _inspect_report(here / "i.json", fit=fit, why=[])
    verify = _verify_report(here / "v.json", "cargo_trike")
    assert "Failed, or not shown" not in Page(_page("cargo_trike", verify=verify, capture=capture)).words


def test_a_sensor_that_is_not_fit_is_told_beside_rules_that_failed_and_without_any(here):
    capture = _inspect_report(here / "i.json", fit=False, why=[])
    failing = _verify_report(here / "v.json", "cargo_trike", failing=("stop time",))
    for verify, also in ((failing, "Failed: "), (None, "No timing or safety rule was tried")):
        words = Page(_page("cargo_trike", verify=verify, capture=capture, force=True)).words
        assert "The pedal sensor is not fit for use: the capture shows too little" in words
        assert also in words


def test_reports_with_markup_are_shown_as_they_are_written(here):
    capture = _inspect_report(here / "i.json", lead="<b>A</b>", advice=["<img src=x> `code` & more"])
    page = Page(_page("cargo_trike", capture=capture))
    assert not page.named("img") + page.named("b")
    assert "<img src=x> code & more" in page.words
    assert "lead: <b>A</b>" in page.words


def test_headings_go_down_step_by_step_and_every_figure_is_told_in_words(here):
    page = Page(_page())
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert set(levels[1:]) == {2}
    assert page.named("html")[0]["lang"] == "en"
    assert len(page.named("main")) == 1
    figures = page.named("svg")
    assert len(figures) == 3
    assert all(figure["role"] == "img" and len(figure["aria-label"]) > 20 for figure in figures)
    assert all(head.get("scope") in ("row", "col") for head in page.named("th"))


def _luminance(colour):
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_every_colour_of_words_has_the_contrast_that_wcag_asks_for(here):
    # WCAG 2.2, 1.4.3 and its definitions of contrast ratio and relative luminance: 4.5 to 1 for text.
    text = _page()
    words = set(re.findall(r'<text [^>]*fill="(#[0-9a-f]{6})"', text))
    words |= set(re.findall(r"--(?:ink|quiet|warn): (#[0-9a-f]{6})", text))
    assert len(words) >= 5
    for colour in words:
        assert 1.05 / (_luminance(colour) + 0.05) >= 4.5, colour


def test_without_reports_the_page_says_that_nothing_was_shown(here):
    words = Page(_page()).words
    red, _ = words.split("What you will feel")
    assert "No timing or safety rule was tried for this bicycle" in " ".join(red.split())
    assert "the worst case was not measured" in words
    assert "this sheet does not show that the rules hold" in words
    assert "has not been measured" in words
    assert "No list of the files on the board was given" in words


def test_what_the_reports_say_stands_on_the_page(here):
    words = " ".join(
        Page(
            _page(
                "cargo_trike",
                verify=_verify_report(here / "v.json", "cargo_trike"),
                capture=_inspect_report(here / "i.json"),
                manifest=_manifest(here / "m.json", "cargo_trike"),
            )
        ).words.split()
    )
    assert "41 of 41 timing and safety rules held" in words
    assert "None failed." in words
    assert "Failed, or not shown" not in words
    assert "worst simulated stop 5.0 m, limit 5.0 m" in words
    assert "10 pulses a turn; lead: A; noise 0 a second; missing magnets: none; weak magnets: 7" in words
    assert "Magnet 7 is weak" in words
    assert "42 files" in words
    assert "0" * 62 + "28" in words  # The hash of the last of the modules, 40 in hexadecimal.


def _red_box(words):
    return words[words.index("Failed, or not shown") : words.index("What you will feel")]


def test_rules_that_fail_stand_in_the_red_box_in_plain_words_with_their_numbers(here):
    report = _verify_report(here / "v.json", "folding", failing=("steady help", "cut-off distance"))
    words = " ".join(Page(_page("folding", verify=report)).words.split())
    red = _red_box(words)
    assert "Of 29 rules tried in simulated rides 2 failed." in red
    assert (
        "Failed: When you stop pedalling, help ends within 2 m. In the worst ride it went on for 9.5 m."
        in red
    )
    assert red.index("When you stop pedalling") < red.index("Help stays while you pedal steadily")
    assert "not shown, because" not in red


def test_page_1_takes_the_worst_case_of_the_report_and_not_the_easy_ride(here):
    worst = _verify_report(here / "v.json", "folding", failing=("cut-off distance",))
    front = Page(_page("folding", verify=worst)).words.split("When something feels wrong")[0]
    assert "worst simulated stop 9.5 m, limit 2.0 m" in front
    assert "can push on after you stop pedalling" in front
    assert "lets go" not in front
    easy = Page(_page("folding", verify=_verify_report(here / "w.json", "folding"))).words
    assert "worst simulated stop 2.0 m, limit 2.0 m" in easy
    assert "the motor stops" in easy
    trike = _verify_report(
        here / "t.json", "cargo_trike", failing=("brake cut", "start-up speed", "cut-off speed")
    )
    front = Page(_page("cargo_trike", verify=trike)).words.split("When something feels wrong")[0]
    assert "Pulling a brake lever did not end help in time" in front
    assert "The throttle alone drives faster than its set speed" in front
    assert "Help goes on above the top speed" in front
    assert "and the motor stops. the signal" not in " ".join(front.split())


def test_a_rule_that_no_ride_tested_is_neither_counted_as_held_nor_called_failed(treadle, here):
    report = _verify_report(here / "v.json", "folding", failing=("steady help",))
    rows = json.loads(report.read_text())
    old, new = (row for row in rows if row["rule"] in ("cut-off distance", "brake cut"))
    old |= {"measured": None, "margin": None, "holds": False}  # As reports said it before there was a word.
    new |= {"measured": None, "margin": None, "holds": None, "verdict": "not shown"}
    report.write_text(json.dumps(rows))
    words = " ".join(Page(_page("folding", verify=report)).words.split())
    red = _red_box(words)
    assert "1 failed and 2 were not shown, because no ride tested them" in red
    assert "Not shown: When you stop pedalling, help ends within 2 m. A brake lever with a switch ends" in red
    assert red.count("Failed: ") == 1
    assert "26 of 29 timing and safety rules held" in words
    assert "the worst case was not measured" in words
    assert "the time was not measured" in words
    code, out, _ = treadle("handover", "folding", "--verify", "v.json", "--out", "a.html")
    assert code == 0
    assert "26 of 29 held; failed, as the sheet says: steady help; not shown, no ride tested" in out
    assert "in one easy ride; the worst case was not measured" in out
    numbers = json.loads(treadle("handover", "folding", "--verify", "v.json", "--out", "b.html", "--json")[1])
    assert (numbers["rules_failing"], numbers["rules_untested"], numbers["run_on_worst_m"]) == (
        ["steady help"],
        ["cut-off distance", "brake cut"],
        None,
    )


def test_every_rule_has_words_for_the_owner_that_take_its_numbers():
    assert set(OWNER_WORDS) == {rule.name for rule in RULES}
    assert set(MOST_URGENT) <= set(OWNER_WORDS)
    for rule in RULES:
        row = RuleHeld(rule=rule.name, holds=False, measured=1234.5678, limit=0.25, unit=rule.unit)
        text = " ".join(said(row))
        assert "{" not in text
        assert not re.search(r"\b(command|edges?|latch|shunt|integral|taper|release gap|lapses)\b", text), (
            text
        )


def _paper(text):
    """Return the page without what is shown on a screen only."""
    return re.sub(r"<details>.*?</details>", "", text, flags=re.DOTALL)


def test_what_the_owner_reads_on_paper_has_no_internal_words_on_any_bike_in_any_place(here):
    for name in ("cargo_trike", "tandem", "folding", "step_through"):
        report = _verify_report(here / "v.json", name, failing=[rule.name for rule in RULES][::5])
        text = _page(name, verify=report, out=here / f"{name}.html")
        words = Page(_paper(text)).words
        assert not re.search(r"\b[a-z]+_[a-z_]+\b", words.replace("rpi_pico", "")), name
        for internal in ("memory", "latched", "engage", "edges", "integral", "cadence", "mV"):
            assert not re.search(rf"\b{internal}\b", words), (name, internal)
    assert all("memory" not in load_place(place).source + load_place(place).note for place in place_names())


def _bike_with(here, original, *changes):
    text = (BIKES / f"{original}.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (here / "mine.toml").write_text(text)
    return " ".join(Page(_paper(_page("mine.toml", out=here / "mine.html", force=True))).words.split())


def test_steps_for_brakes_and_throttle_follow_the_bike_file(here):
    some = _bike_with(here, "folding")
    assert "pull the brake lever that has a switch" in some
    none = _bike_with(here, "folding", ('switches = "some"', 'switches = "none"'))
    assert "No brake lever ends the push: practise stopping pedalling first" in none
    for gone in ("pull the brake lever", "pull one brake lever", "lever snap back", "brake switch that"):
        assert gone not in none
    assert "throttle" not in none.replace("throttle alone: below", "").replace("no throttle", "").lower()
    trike = _bike_with(here, "cargo_trike")
    assert "pull one brake lever: the push must end. Repeat with the other lever." in trike
    assert "The throttle drives alone at walking pace only" in trike


def test_the_report_of_an_interrupted_verify_is_refused(here):
    report = _verify_report(here / "v.json", "folding")
    rows = [row | {"interrupted": True} for row in json.loads(report.read_text())]
    report.write_text(json.dumps(rows))
    with pytest.raises(RequestError, match=r"v.json is of an interrupted verify, allowed is the report of a"):
        HandoverRequest("folding", verify=report)


def test_what_the_rider_feels_follows_from_what_is_fitted(here):
    trike, tandem, folding = (
        " ".join(Page(_page(bike)).words.split()) for bike in ("cargo_trike", "tandem", "folding")
    )
    assert "fades from 22.0 km/h, set to end at 25.0 km/h" in trike
    assert "positions 1 to 4: 0, 87, 175, 250 W" in trike
    assert "drives at walking pace; above that you must pedal. set to end at 5.7 km/h" in trike
    assert "once the bicycle rolls" in tandem  # 3 km/h in British Columbia.
    assert "The throttle drives without pedalling" in tandem
    assert "British Columbia, Canada: starting point only, check your local code" in tandem
    assert "can't tell forward from backward" in folding
    assert "One brake lever stops the motor, the other does not" in folding
    assert "throttle at rest" not in folding


def test_the_first_ride_is_measured_on_the_bench():
    ride = first_ride(load_bike("cargo_trike"))
    # Felt is a push of 0.05 m/s2 on 183 kg: 9 N, at 1.2 Nm/A and a wheel of 0.33 m some 2.5 A of the motor.
    samples = ride.samples
    felt = next(at for at, push in enumerate(push_m_per_s2(load_bike("cargo_trike"), samples)) if push > 0.05)
    assert ride.help_after_s == pytest.approx(samples.time_s[felt] - START_S)
    assert samples.power_w[felt] > 5.0
    commanded_s = samples.first(samples.command_v, 0.0) - START_S
    assert commanded_s == pytest.approx(0.57, abs=0.1)
    assert ride.help_after_s > commanded_s + 0.2  # The command has to climb through the dead band first.
    assert 0.3 <= ride.help_after_turns <= 0.7
    assert ride.help_w == pytest.approx(250, abs=10)
    assert 0.05 < ride.run_on_s < 0.3
    assert ride.run_on_m < 2.0


def test_the_curve_of_help_is_the_firmwares_own():
    settings = load_bike("cargo_trike").firmware_settings
    assert _allowed_w(settings, 2, 10.0, 250) == 250
    assert 100 < _allowed_w(settings, 2, 23.5, 250) < 150  # Half way down from 22 to 25 km/h.
    assert _allowed_w(settings, 2, 25.0, 250) == 0
    assert _allowed_w(settings, 3, 5.8, 250) == 0  # The throttle alone.


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "this is not JSON"),
        ("{", "this is not JSON"),
        ("[1, 2]", "0 does not fit"),
        ("{}", "its content does not fit"),
        ("[]", "holds no rule"),
        (
            '[{"rule": "brake cut", "holds": true, "measured": NaN, "limit": 5, "unit": "ms", "margin": 1}]',
            "not JSON",
        ),
        (
            '[{"rule": "brake cut", "holds": "yes", "measured": 1, "limit": 5, "unit": "ms", "margin": 1}]',
            "0.holds",
        ),
        (
            '[{"rule": "of thumb", "holds": true, "measured": 1, "limit": 5, "unit": "ms", "margin": 1}]',
            "of thumb",
        ),
        (
            '[{"rule": "brake cut", "holds": true, "measured": 1, "limit": 9, "unit": "ms", "margin": 1}]',
            "9 ms there",
        ),
        ("[" * 100_000, "this is not JSON"),
    ],
)
def test_a_verify_report_that_is_none_is_refused_in_one_sentence(treadle, here, content, words):
    (here / "v.json").write_text(content)
    code, out, err = treadle("handover", "--verify", "v.json")
    assert (code, out) == (2, "")
    assert "v.json" in err
    assert words in err
    assert err.count("\n") == 1
    assert [path.name for path in here.iterdir()] == ["v.json"]


def test_the_report_of_another_bike_is_refused(here):
    report = _verify_report(here / "v.json", "tandem")
    with pytest.raises(RequestError, match=r"for cargo_trike as it is now|does not apply to cargo_trike"):
        HandoverRequest("cargo_trike", verify=report)


def test_a_manifest_with_other_settings_is_refused(here):
    manifest = _manifest(here / "m.json", "cargo_trike", rise_mv_per_s=900)
    with pytest.raises(RequestError, match=r"m\.json was made with other settings than cargo_trike has now"):
        HandoverRequest("cargo_trike", manifest=manifest)


def test_the_capture_of_another_ring_is_refused(here):
    with pytest.raises(RequestError, match="pulses_per_rev is 12 there and 10 for cargo_trike"):
        HandoverRequest("cargo_trike", capture=_inspect_report(here / "i.json", pulses_per_rev=12))
    with pytest.raises(RequestError, match="channels is 1 there and 2 for cargo_trike"):
        HandoverRequest("cargo_trike", capture=_inspect_report(here / "i.json", channels=1))


def test_what_a_capture_could_not_tell_is_left_out(here):
    report = _inspect_report(here / "i.json", pulses_per_rev=None, lead=None, cadence_rpm=None, weak=None)
    words = " ".join(Page(_page(capture=report)).words.split())
    assert "as measured: noise 0 a second; missing magnets: none." in words


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--out", "sheet.pdf"), "--out is sheet.pdf, allowed is a file name that ends with .html"),
        (("--verify", "none.json"), "none.json: there is no such file"),
        (("--capture", "."), "this is a directory"),
        (("nobike",), "no bike is called 'nobike'"),
        (("--out", "there.html"), "there.html exists already"),
        (("--out", "there.html/x.html"), "can't be written"),
    ],
)
def test_a_wrong_request_leaves_everything_as_it_was(treadle, here, arguments, words):
    (here / "there.html").write_text("mine")
    code, out, err = treadle("handover", *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert [path.name for path in here.iterdir()] == ["there.html"]
    assert (here / "there.html").read_text() == "mine"


def test_json_has_the_numbers_of_the_sheet_and_nothing_else_is_printed(treadle, here):
    code, out, err = treadle("handover", "folding", "--json")
    numbers = json.loads(out)
    assert (code, err) == (0, "")
    assert list(numbers) == [
        "bike", "rules", "rules_failing", "rules_untested", "sensor_captured", "sensor_fit",
        "manifest_sha256", "records", "stand_failed", "stand_not_tried",
        "help_after_s", "help_after_turns", "help_w", "run_on_s", "run_on_m", "run_on_worst_m",
        "files",
    ]  # fmt: skip
    assert numbers["files"] == ["handover-folding.html"]
    assert treadle("handover", "folding", "--json")[1].count("handover-folding-2.html") == 1


def test_without_a_browser_the_pdf_is_refused_with_a_way_out(treadle, here, monkeypatch):
    monkeypatch.setattr("host_sim.handover.browser.shutil.which", lambda name: None)
    code, _, err = treadle("handover", "--pdf")
    assert code == 2
    assert "the page itself prints from any browser" in err
    assert list(here.iterdir()) == []


def test_an_interrupted_handover_leaves_nothing(here):
    program = (
        "import os, signal, host_sim.cli.handover as h\n"
        "h.first_ride = lambda bike: os.kill(os.getpid(), signal.SIGINT)\n"
        "from host_sim.cli import main; main()"
    )
    ended = subprocess.run(
        [sys.executable, "-c", program, "handover"],
        capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert ended.returncode == 128 + signal.SIGINT
    assert ended.stderr == "treadle: interrupted, nothing was written\n"
    assert list(here.iterdir()) == []


def _smallest_pt(sides):
    """Return the size of the smallest words outside the drawings, in pt: those of the style sheet."""
    sizes = []

    def look(text, transform, matrix, font, size):
        if len(text.strip()) > 30:  # Words of a drawing are shorter.
            sizes.append(abs(size * matrix[3] * transform[3]))

    for side in sides:
        side.extract_text(visitor_text=look)
    return round(min(sizes), 2)


@pytest.mark.skipif(NO_BROWSER, reason="no browser that prints: install chromium")
@pytest.mark.parametrize(
    ("bike", "every"), quick_first(1, [("cargo_trike", 2), ("tandem", 7), ("folding", 2)])
)
def test_it_prints_on_two_sides_of_a4_with_every_report_and_failing_rules(here, bike, every):
    report = _verify_report(here / "v.json", bike, [rule.name for rule in RULES[::every]])
    rows = json.loads(report.read_text())
    for row in rows[1::every]:
        row |= {"measured": None, "margin": None, "holds": None}
    report.write_text(json.dumps(rows))
    request = HandoverRequest(
        bike,
        verify=report,
        capture=_inspect_report(here / "i.json", pulses_per_rev=None, channels=None),
        manifest=_manifest(here / "m.json", bike),
        pdf=True,
    )
    assert request.browser == find_browser()
    page, printed = handover(request).files
    assert (page.suffix, printed.suffix) == (".html", ".pdf")
    sides = PdfReader(printed).pages
    assert len(sides) == 2
    # A4 is 210 by 297 mm, ISO 216.
    assert float(sides[0].mediabox.width) == pytest.approx(210 / 25.4 * 72, abs=1)
    assert float(sides[0].mediabox.height) == pytest.approx(297 / 25.4 * 72, abs=1)
    # The browser prints "fi" as one letter.
    front, back = (" ".join(normalize("NFKC", side.extract_text()).split()) for side in sides)
    assert all(heading in front for heading in HEADINGS)
    assert "Failed, or not shown" in front
    assert "Received and explained to me" in back
    assert "When something feels wrong" in back
    assert "The control board, and who measured and tried" in back
    assert _smallest_pt(sides) >= 10.0
