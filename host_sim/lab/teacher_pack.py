"""The teacher's pack: a page with aims, times, answers and notes, and a worksheet to print for pupils.

Both files are separate from the pupils' pages. No answer is stored: the pack rides each question and each
solution and prints the result.
"""

from html import escape
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.lab.call import answer
from host_sim.lab.catalogue import NUMBERS, lesson
from host_sim.lab.description import Choice, Input, Lesson, Slider, Value, Values
from host_sim.lab.own_loop import ride_own
from host_sim.lab.page import CAUTION
from host_sim.lab.teaching import own_loop, teaching
from host_sim.lab.teaching.description import Question
from host_sim.textfile import spoken

TEACHER, WORKSHEET = "teacher.html", "worksheet.html"
DEFAULT_FOLDER = "lab-teacher"
_TRIES = 5
_ANSWER_LINES = 3
_STYLE = """
body { font: 11pt/1.4 system-ui, sans-serif; color: #1d2733; max-width: 48rem; margin: 1rem auto;
  padding: 0 1rem; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.25rem; margin: 0 0 .3rem; }
h3 { font-size: 1rem; margin: .8rem 0 .2rem; }
section { break-after: page; margin-top: 1.5rem; } section:last-of-type { break-after: auto; }
table { border-collapse: collapse; width: 100%; } th, td { border: 1px solid #8a949e; padding: .25rem .5rem;
  text-align: left; vertical-align: top; font-size: .95em; } .sheet td { height: 1.9rem; }
p, ul, ol { margin: .3rem 0; } .write { border-bottom: 1px solid #8a949e; height: 2rem; }
.box::before { content: "☐ "; } .answer { font-weight: 700; color: #00543f; }
pre { background: #f2f6f9; padding: .5rem; }
@page { size: A4; margin: 16mm; } @media print { body { margin: 0; padding: 0; max-width: none; } }
"""


def write_pack(folder: Path) -> list[Path]:
    """Write both files into a new or empty folder and return them; RequestError if that can't be done."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RequestError(f"{spoken(str(folder))} exists, allowed is a new or an empty folder (--out DIR)")
    pages = {TEACHER: teacher_page(), WORKSHEET: worksheet_page()}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in pages.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise RequestError(f"{spoken(str(folder))}: {error.strerror}") from None
    return [folder / name for name in pages]


def teacher_page() -> str:
    """Return the page for teachers, after riding every question and every solution."""
    minutes = sum(teaching(number).minutes for number in NUMBERS) + own_loop.MINUTES
    parts = [
        "<h1>Treadle lab: for teachers</h1>"
        f"<p>Six lessons and an editor, about {minutes} minutes in all; each can be used alone. Pupils "
        "choose an answer before a lesson shows its ride, and can save answers and results as a table "
        f"(CSV). The answers below are not on their pages.</p><p>{escape(CAUTION)}</p>",
        *(_taught(number, lesson(number)) for number in NUMBERS),
        _own_taught(),
    ]
    return _page("Treadle lab: for teachers", parts)


def _taught(number: int, described: Lesson) -> str:
    taught = teaching(number)
    solved = "".join(_solution(described, values) for values in taught.solutions)
    return (
        f"<section><h2>Lesson {number}: {escape(described.question)}</h2>"
        f"<p>{escape(described.title.capitalize())}, about {taught.minutes} minutes.</p>"
        f"<h3>Aims</h3><p>Pupils</p>{_list(taught.aims)}"
        f"<h3>Predict, then see</h3>{_predicted(number, described)}"
        f"<h3>Exercise</h3><p>{escape(described.task)}</p>{solved}<h3>Questions on paper</h3>"
        f"<ol>{_answered(taught.questions)}</ol><h3>Notes</h3>{taught.notes}</section>"
    )


def _answered(questions: tuple[Question, ...]) -> str:
    return "".join(
        f'<li>{escape(one.question)}<br><span class="answer">{escape(one.answer)}</span></li>'
        for one in questions
    )


def _predicted(number: int, described: Lesson) -> str:
    """Return the question and the result of the ride; one row per choice if the settings are free."""
    prediction = described.prediction
    first = described.inputs[0]
    asked = f"<p>{escape(prediction.question)}</p>"
    if prediction.values is not None or not isinstance(first, Choice):
        outcome = _outcome(number, described, described.start_values())
        return f'{asked}{_list(prediction.options)}<p class="answer">{escape(outcome)}</p>'
    starts = described.start_values()
    rows = "".join(
        f'<tr><td>{escape(words)}</td><td class="answer">'
        f"{escape(_outcome(number, described, {**starts, first.name: value}))}</td></tr>"
        for value, words in first.options
    )
    others = ", ".join(f"{one.label} {_told(one, starts[one.name])}" for one in described.inputs[1:])
    return f"{asked}<table><tr><th>{escape(first.label)}</th><th>{escape(others)}</th></tr>{rows}</table>"


def _outcome(number: int, described: Lesson, values: Values) -> str:
    guess = described.prediction.options[0]
    return str(answer({"lesson": number, "values": values, "guess": guess})["outcome"])


def _solution(described: Lesson, values: Values) -> str:
    words = described.check(described.attempt(**described.checked(values))).words
    told = ", ".join(f"{one.label} {_told(one, values[one.name])}" for one in described.inputs)
    return f'<p class="answer">For example: {escape(told)}.</p><p>The page then says: {escape(words)}</p>'


def _told(one: Input, value: Value) -> str:
    """Return a value as the page shows it."""
    if isinstance(one, Slider):
        return f"{value:g} {one.unit}"
    if isinstance(one, Choice):
        return next(words for option, words in one.options if option == value)
    return "on" if value else "off"


def _own_taught() -> str:
    held = "".join(
        f"<li>{'✓' if rule.held else '✗'} {escape(rule.name)}: {escape(rule.measured)}, wanted: "
        f"{escape(rule.allowed)}</li>"
        for rule in ride_own(own_loop.SOLUTION).rules
    )
    return (
        f"<section><h2>Own loop</h2><p>About {own_loop.MINUTES} minutes.</p><h3>Aims</h3><p>Pupils</p>"
        f"{_list(own_loop.AIMS)}<h3>Notes</h3>{own_loop.NOTES}<h3>A solution</h3>"
        f"<pre>{escape(own_loop.SOLUTION)}</pre><ul>{held}</ul></section>"
    )


def worksheet_page() -> str:
    """Return the pupils' sheet, two pages per lesson, without answers."""
    lessons = [_sheet(number, lesson(number)) + _paper_sheet(number, lesson(number)) for number in NUMBERS]
    own = (
        f"{_sheet_head('Own loop: can fifteen lines be a controller?')}"
        "<p>Ride the controller without changes. Which rules fail, and which line is the reason?</p>"
        f"{_lines(3)}<p>What did you change, and what was the result?</p>"
        f"{_tries(['what I changed', 'rules held'])}"
        f"<p>What does your controller not know?</p>{_lines(3)}</section>"
    )
    return _page("Treadle lab: worksheet", [*lessons, own])


def _sheet(number: int, described: Lesson) -> str:
    options = "".join(f'<p class="box">{escape(one)}</p>' for one in described.prediction.options)
    heads = [f"{one.label}, {one.unit}" if isinstance(one, Slider) else one.label for one in described.inputs]
    return (
        f"{_sheet_head(f'Lesson {number}: {described.question}')}<h3>1 Predict</h3>"
        f"<p>{escape(described.prediction.question)}</p>{options}<p>Why do you think so?</p>{_lines(1)}"
        f"<h3>2 See</h3><p>What did the ride show?</p>{_lines(1)}"
        f"<h3>3 Try</h3><p>{escape(described.task)}</p>{_tries([*heads, 'result'])}"
        f"<h3>4 Answer in one sentence: {escape(described.question)}</h3>{_lines(2)}</section>"
    )


def _paper_sheet(number: int, described: Lesson) -> str:
    """Return the page of questions that need no computer."""
    asked = "".join(
        f"<p>{place} {escape(one.question)}</p>{_lines(_ANSWER_LINES)}"
        for place, one in enumerate(teaching(number).questions, start=1)
    )
    return f"{_sheet_head(f'Lesson {number}, on paper: {described.title}')}{asked}</section>"


def _sheet_head(title: str) -> str:
    return f"<section><p>Name ____________________________ Date ______________</p><h2>{escape(title)}</h2>"


def _tries(heads: list[str]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    row = f"<tr>{'<td></td>' * len(heads)}</tr>"
    return f'<table class="sheet"><tr>{head}</tr>{row * _TRIES}</table>'


def _lines(count: int) -> str:
    return '<div class="write"></div>' * count


def _list(items: tuple[str, ...]) -> str:
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in items)}</ul>"


def _page(title: str, parts: list[str]) -> str:
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>{''.join(parts)}</body></html>\n"
    )
