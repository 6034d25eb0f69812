"""The pupils' page: one HTML page with all lessons, made from their descriptions.

The same page is served by `treadle lab` and written by the export; only the way to Python differs. Nothing of
`host_sim/lab/teaching` is in it.
"""

import json
from html import escape
from pathlib import Path

from host_sim.lab.catalogue import NAMES, NUMBERS, lesson
from host_sim.lab.description import Choice, Input, Lesson, Prediction, Slider, Switch
from host_sim.lab.own_loop import START_CODE

WEB = Path(__file__).resolve().parent / "web"
SCRIPTS = ("engine.js", "chart.js", "page.js")
OWN = len(NAMES) + 1
"""The number of the own loop, after the lessons."""
CAUTION = "Simulation is not approval: what works here may fail on a real bicycle. Try it carefully there."


def policy(nonce: str, connect: str) -> str:
    """Return the page's content security policy: scripts with this nonce, and connections to `connect`.

    Styles may be in elements, since charts have them. Workers start from blobs only: those inherit this
    policy.
    """
    return (
        f"default-src 'none'; script-src 'nonce-{nonce}' blob: 'wasm-unsafe-eval'; worker-src blob:; "
        f"style-src 'unsafe-inline'; img-src data:; connect-src {connect}; form-action 'none'; "
        "base-uri 'none'"
    )


def page(nonce: str, connect: str, settings: dict[str, object], scripts: tuple[str, ...] = ()) -> str:
    """Return the whole page. `settings` is data for its scripts; files in `scripts` come first."""
    told = json.dumps(settings).replace("<", "\\u003c")
    inline = "\n".join((WEB / name).read_text(encoding="utf-8") for name in SCRIPTS)
    files = "".join(f'<script nonce="{nonce}" src="{escape(name)}"></script>' for name in scripts)
    style = (WEB / "lab.css").read_text(encoding="utf-8")
    sections = "".join(_section(number, lesson(number)) for number in NUMBERS)
    links = "".join(f'<a href="#{number}">{number}</a>' for number in NUMBERS)
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{escape(policy(nonce, connect))}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Treadle lab</title><link rel="icon" href="data:,"><style>{style}</style></head>
<body><header class="lab-top"><nav aria-label="Lessons">{links}<a href="#{OWN}">own loop</a></nav>
<p id="lab-state" role="status">Python is starting …</p>
<button type="button" id="lab-save">Save my answers (CSV)</button></header>
<main>{sections}{_own()}</main><footer>{escape(CAUTION)}</footer>
<noscript>This page needs JavaScript.</noscript>
<script type="application/json" id="lab-settings">{told}</script>{files}
<script nonce="{nonce}">
{inline}</script></body></html>
"""


def _section(number: int, described: Lesson) -> str:
    """Return one lesson, hidden until it is chosen."""
    inputs = "".join(_input(number, one) for one in described.inputs)
    starts = escape(json.dumps(described.start_values()))
    return (
        f'<section id="lesson-{number}" class="lab-lesson" data-lesson="{number}" data-start="{starts}" '
        f'data-parts="{json.dumps(described.parts)}" aria-labelledby="title-{number}" hidden>'
        f"<header><p>Lesson {number} of {len(NAMES)}: {escape(described.title)}</p>"
        f'<h1 id="title-{number}" tabindex="-1">{escape(described.question)}</h1></header>'
        f'<div class="lab-side">{_prediction(number, described.prediction)}'
        f'<fieldset class="lab-inputs"><legend>Settings</legend>{inputs}</fieldset>'
        f'<div class="lab-exercise"><p><strong>Exercise.</strong> {escape(described.task)}</p>'
        '<p class="lab-check lab-open" role="status"></p></div></div>'
        '<figure class="lab-figure" aria-busy="true"><p>The first ride is running …</p></figure></section>'
    )


def _prediction(number: int, prediction: Prediction) -> str:
    fixed = "as they stand" if prediction.values is None else "given"
    options = "".join(
        f'<label><input type="radio" name="predict-{number}" value="{escape(option)}">'
        f"{escape(option)}</label>"
        for option in prediction.options
    )
    return (
        f'<fieldset class="lab-predict" data-settings="{fixed}"><legend>Predict, then see</legend>'
        f"<p>{escape(prediction.question)}</p>{options}"
        '<button type="button" class="lab-reveal" disabled>Show what happens</button>'
        '<p class="lab-outcome" role="status"></p></fieldset>'
    )


def _input(number: int, one: Input) -> str:
    """Return a native control with its label; a slider shows its value beside it."""
    name = f"input-{number}-{one.name}"
    label = f'<label for="{name}">{escape(one.label)}</label>'
    if isinstance(one, Slider):
        return f'<div class="lab-input">{label}{_slider(name, one) if one.even else _list(name, one)}</div>'
    if isinstance(one, Choice):
        options = "".join(
            f'<option value="{escape(value)}"{" selected" if value == one.start else ""}>{escape(words)}'
            "</option>"
            for value, words in one.options
        )
        control = f'<select id="{name}" data-name="{one.name}">{options}</select>'
        return f'<div class="lab-input">{label}{control}</div>'
    return f'<div class="lab-input lab-switch">{_switch(name, one)}{label}</div>'


def _slider(name: str, one: Slider) -> str:
    """Return a range input over even steps, with its value and unit beside it."""
    said = f"{one.start:g} {one.unit}"
    return (
        f'<output for="{name}" aria-hidden="true">{escape(said)}</output>'
        f'<input type="range" id="{name}" data-name="{one.name}" data-unit="{escape(one.unit)}" '
        f'min="{one.steps[0]:g}" max="{one.steps[-1]:g}" step="{round(one.steps[1] - one.steps[0], 9):g}" '
        f'value="{one.start:g}" aria-valuetext="{escape(said)}">'
    )


def _list(name: str, one: Slider) -> str:
    """Return a list of uneven steps, each with its unit."""
    options = "".join(
        f'<option value="{step}"{" selected" if step == one.start else ""}>{step} {escape(one.unit)}</option>'
        for step in one.steps
    )
    return f'<select id="{name}" data-name="{one.name}" data-number>{options}</select>'


def _switch(name: str, one: Switch) -> str:
    checked = " checked" if one.start else ""
    return f'<input type="checkbox" role="switch" id="{name}" data-name="{one.name}"{checked}>'


def _own() -> str:
    """Return the section with the editor."""
    return (
        f'<section id="lesson-{OWN}" class="lab-own" data-lesson="{OWN}" '
        f'aria-labelledby="title-{OWN}" hidden><header><p>Own loop</p>'
        f'<h1 id="title-{OWN}" tabindex="-1">Can fifteen lines be a controller?</h1></header>'
        '<div class="lab-side">'
        '<label for="own-code">Your controller, in Python. It is called every 5 ms and returns mV, '
        "3600 at most.</label>"
        '<textarea id="own-code" rows="17" spellcheck="false" autocapitalize="off" autocomplete="off" '
        f'aria-describedby="own-said">{escape(START_CODE)}</textarea>'
        '<p class="lab-buttons"><button type="button" id="own-ride">Ride it (Ctrl+Enter)</button>'
        '<button type="button" id="own-reset">Start again</button></p></div>'
        '<div class="lab-result"><ul id="own-rules" aria-label="Three rules"></ul>'
        '<p id="own-said" role="status">Ride it without changes: two of three rules fail. Then fix it.</p>'
        '<img id="own-figure" alt="" hidden><pre id="own-printed" hidden></pre></div></section>'
    )
