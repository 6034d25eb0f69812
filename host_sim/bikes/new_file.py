"""Writes a bike file with explanations: every key with meaning, unit, range, typical value and source.

A guess is marked, with how to measure it. A key that this bicycle does not need is a comment.
"""

from textwrap import wrap

from host_sim.bikes.guesses import Answers, Value, values_for
from host_sim.bikes.key_notes import NOTES
from host_sim.bikes.keys import default_of, dotted, keys_of_model, range_of
from host_sim.places.limits import Place

_WIDTH = 110
_NOT_HERE = "not needed here"
_HEAD = """\
Made by `treadle new`. It loads and rides on the bench at once; it does not describe your bicycle yet. Lines
with GUESS have numbers that nobody has measured, and say how to measure them. Replace them one by one, and
delete the word. Numbers that only the bench uses change what a simulated ride looks like, never the board.
Limits of places are a starting point only, check your local code. A bike file that loads is not a bicycle
that is safe: brakes, battery and wiring are checked by a licensed workshop where your code asks."""


def new_text(answers: Answers, place: Place) -> str:
    """Return the text of the new file."""
    values = values_for(answers, place)
    guesses = sum(value.guessed for value in values.values())
    lines = [f"# {line}" for line in _HEAD.splitlines()]
    lines.append(f"# {guesses} of {len(values)} numbers and words are guesses.")
    section = ""
    for in_section, key in keys_of_model():
        if key == "settings" and not in_section:
            continue  # A separate table, at the end.
        if in_section != section:
            section = in_section
            lines += ["", f"[{section}]"]
        lines += ["", *_key_lines(section, key, values.get(dotted(section, key)))]
    return "\n".join([*lines, "", *_settings_lines()]) + "\n"


def guessed_keys(answers: Answers, place: Place) -> list[str]:
    """Return the dotted names of what is guessed, in the order of the file."""
    values = values_for(answers, place)
    names = [dotted(section, key) for section, key in keys_of_model()]
    return [name for name in names if name in values and values[name].guessed]


def written(value: float | str | bool | list[int]) -> str:
    """Return a value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, list):
        return "[" + ", ".join(str(one) for one in value) + "]"
    return f"{value:.10g}"


def _key_lines(section: str, key: str, value: Value | None) -> list[str]:
    note = NOTES[dotted(section, key)]
    text = f"{note.meaning} Allowed: {range_of(section, key)}. Typical: {note.typical} ({note.source})."
    lines = _commented(text)
    if value is None:
        default = default_of(section, key)
        return [*lines, f"# {key} is {_NOT_HERE}" + (f"; left out it is {default}" if default else "")]
    if value.guessed:
        lines += _commented(f"GUESS. {note.measure}")
    return [*lines, f"{key} = {written(value.value)}"]


def _settings_lines() -> list[str]:
    note = NOTES["settings"]
    return [
        "[settings]",
        *_commented(f"{note.meaning} Allowed: {range_of('', 'settings')}. {note.measure} For example:"),
        "# rise_mv_per_s = 400",
    ]


def _commented(text: str) -> list[str]:
    return wrap(text, _WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False)
