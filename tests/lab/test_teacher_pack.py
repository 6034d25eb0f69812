"""The teacher's pack: complete, true, printable, and its worksheet gives no answer away."""

import re

import pytest

from host_sim.lab.call import answer
from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.teacher_pack import teacher_page, worksheet_page
from host_sim.lab.teaching import own_loop, teaching

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
        assert f"some {taught.minutes} minutes" in text
        assert taught.notes in teachers
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
        for secret in (*taught.aims, *re.findall("<(?:li|p)>(.{20,60})", taught.notes)):
            assert secret not in sheet
    assert "Solved" not in text
    assert "answer" not in sheet.split("</style>")[1]


def test_the_worksheet_prints_a_page_a_lesson(tmp_path, chromium):
    pypdf = pytest.importorskip("pypdf")
    page = chromium.new_page()
    page.set_content(worksheet_page())
    page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
    page.close()
    printed = pypdf.PdfReader(tmp_path / "sheet.pdf").pages
    assert len(printed) == len(NAMES) + 1
    for number, one in enumerate(printed[:-1], start=1):
        assert f"Lesson {number}:" in one.extract_text()
        width, height = (float(size) for size in one.mediabox[2:])
        assert (round(width / 72 * 25.4), round(height / 72 * 25.4)) == (210, 297)  # A4 in mm: ISO 216.


def test_it_writes_two_files_and_overwrites_nothing(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = treadle("lab", "--teacher")
    assert (code, err) == (0, "")
    assert "open them and print" in out
    assert {path.name for path in (tmp_path / "lab-teacher").iterdir()} == {"teacher.html", "worksheet.html"}
    code, out, err = treadle("lab", "--teacher")
    assert (code, out) == (2, "")
    assert err == "treadle: lab-teacher exists, allowed is a new or an empty folder (--out DIR)\n"
    assert treadle("lab", "--teacher", "--out", "other")[0] == 0
