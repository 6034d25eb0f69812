"""The teacher's pack: complete, true, printable, and its worksheet gives no answer away."""

import re
from math import log10

import pytest

from host_sim.lab.call import answer
from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.loop import RISE_MV_PER_S
from host_sim.lab.riding import lesson_bike
from host_sim.lab.teacher_pack import teacher_page, worksheet_page
from host_sim.lab.teaching import own_loop, teaching
from host_sim.lab.thresholds import try_thresholds

NUMBERS = range(1, len(NAMES) + 1)


@pytest.fixture(scope="module")
def teachers():
    return teacher_page()


def _text(html):
    return re.sub(r"<[^>]+>", "", html).replace("&#x27;", "'").replace("&amp;", "&")


def test_it_has_aims_times_notes_and_what_each_ride_shows(teachers):
    text = _text(teachers)
    for number in NUMBERS:
        described, taught = lesson(number), teaching(number)
        for words in (described.question, described.task, described.prediction.question, *taught.aims):
            assert words in text
        assert f"about {taught.minutes} minutes" in text
        assert taught.notes in teachers
        for one in taught.questions:
            assert one.question in text
            assert one.answer in text
        shown = answer(
            {"lesson": number, "values": described.start_values(), "guess": described.prediction.options[0]}
        )
        assert f'class="answer">{shown["outcome"]}' in teachers
    assert own_loop.SOLUTION.replace("<", "&lt;").replace(">", "&gt;") in teachers
    assert teachers.count("✓ It") == 3


def test_every_solution_it_names_is_called_solved(teachers):
    solutions = sum(len(teaching(number).solutions) for number in NUMBERS)
    assert solutions >= 5
    assert teachers.count("The page then says: Solved.") == solutions


def test_the_worksheet_has_questions_and_no_answers():
    sheet = worksheet_page()
    text = _text(sheet)
    for number in NUMBERS:
        described, taught = lesson(number), teaching(number)
        assert described.prediction.question in text
        for option in described.prediction.options:
            assert f'<p class="box">{option}</p>' in sheet
        assert 3 <= len(taught.questions) <= 5
        for one in taught.questions:
            assert one.question.endswith("?")
            assert one.question in text
            assert one.answer not in text
        for secret in (*taught.aims, *re.findall("<(?:li|p)>(.{20,60})", taught.notes)):
            assert secret not in sheet
    assert "Solved" not in text
    assert "answer" not in sheet.split("</style>")[1]


def _answers(number):
    return " ".join(one.answer for one in teaching(number).questions)


def test_the_numbers_in_the_answers_are_those_of_the_lessons_and_of_arithmetic():
    ring = lesson_bike({}).wheel_sensor.pulses_per_rev, lesson_bike({}).bicycle.wheel_circumference_m
    assert ring == (6, 1.89)
    settings = lesson_bike({"place": "eu"}).firmware_settings
    assert settings.assist_power_w == 250
    assert settings.share_3_permille == 700
    assert RISE_MV_PER_S == 10_000
    told = {
        1: (8 * 4, "edges,"), 2: (round(1.4 * 60 / (32 * 16), 3), "s after the pulse"),
        3: (round(90 / 150 / 0.5, 1), "m/s³"), 4: (round(20 * log10(4)), "dB"),
        5: (round(25 / 3.6 / (ring[1] / ring[0])), "pulses per second"), 6: (6 * 5, "ms"),
    }  # fmt: skip
    for number, (value, unit) in told.items():
        assert f"{value} {unit}" in _answers(number)
    assert "22.5° = 90°" in _answers(2)
    tried = try_thresholds(16, 6, 140)
    assert 60 < tried.help_deg < 90 + 8  # A control period and the way to the command come on top.


def test_the_worksheet_prints_two_pages_a_lesson(tmp_path, chromium):
    pypdf = pytest.importorskip("pypdf")
    page = chromium.new_page()
    page.set_content(worksheet_page())
    page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
    page.close()
    printed = pypdf.PdfReader(tmp_path / "sheet.pdf").pages
    assert len(printed) == 2 * len(NAMES) + 1
    for at, one in enumerate(printed[:-1]):
        number, on_paper = at // 2 + 1, at % 2 == 1
        assert (f"Lesson {number}, on paper:" if on_paper else f"Lesson {number}:") in one.extract_text()
        width, height = (float(size) for size in one.mediabox[2:])
        assert (round(width / 72 * 25.4), round(height / 72 * 25.4)) == (210, 297)  # A4 in mm: ISO 216.


@pytest.mark.long
def test_it_writes_two_files_and_overwrites_nothing(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = treadle("lab", "--teacher")
    assert (code, err) == (0, "")
    assert "Open them and print" in out
    assert {path.name for path in (tmp_path / "lab-teacher").iterdir()} == {"teacher.html", "worksheet.html"}
    code, out, err = treadle("lab", "--teacher")
    assert (code, out) == (2, "")
    assert err == "treadle: lab-teacher exists, allowed is a new or an empty folder (--out DIR)\n"
    assert treadle("lab", "--teacher", "--out", "other")[0] == 0
