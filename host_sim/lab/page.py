"""What every lesson's page is made of: heading, figure, controls, exercise, notes, and the way on."""

from html import escape

import marimo as mo

from host_sim.lab.catalogue import LESSONS
from host_sim.lab.checking import Check


def heading(number: int) -> mo.Html:
    """Return the lesson's title and its one question."""
    lesson = LESSONS[number - 1]
    return mo.Html(
        f'<header class="lab-head"><p>Lesson {number} of {len(LESSONS)}: {escape(lesson.title)}</p>'
        f"<h1>{escape(lesson.question)}</h1></header>"
    )


def picture(html: str) -> mo.Html:
    """Return a lesson's numbers and charts; on a phone a chart can be pushed aside."""
    return mo.Html(f'<figure class="lab-figure lab-scroll">{html}</figure>')


def controls(*elements: object) -> mo.Html:
    """Return sliders and switches side by side, below each other on a phone."""
    return mo.Html(
        f'<div class="lab-controls">{"".join(f"<div>{element}</div>" for element in elements)}</div>'
    )


def exercise(task: str, check: Check) -> mo.Html:
    """Return the exercise and what its check says now; read out to those who can't see it."""
    kind = "solved" if check.solved else "open"
    return mo.Html(
        '<section class="lab-exercise" aria-label="Exercise">'
        f"<p><strong>Exercise.</strong> {escape(task)}</p>"
        f'<p class="lab-{kind}" role="status" aria-live="polite">{escape(check.words)}</p></section>'
    )


def notes(markdown: str) -> mo.Html:
    """Return the teacher's notes, closed at first."""
    return mo.accordion({"Teacher's notes": mo.md(markdown)})


def links(number: int) -> mo.Html:
    """Return the way to the lessons before and after, and to all of them."""
    parts = []
    if number > 1:
        parts.append(f'<a href="../{number - 1}/">← lesson {number - 1}</a>')
    parts.append('<a href="../">all lessons</a>')
    if number < len(LESSONS):
        parts.append(f'<a href="../{number + 1}/">lesson {number + 1} →</a>')
    return mo.Html(f'<nav class="lab-links" aria-label="Lessons">{" ".join(parts)}</nav>')
