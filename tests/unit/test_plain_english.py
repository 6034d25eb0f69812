"""Plain English: phrases that a native engineer would not write are refused, with what to write instead.

Docstrings, comments, messages and pages are searched as text. The list has only phrases that were found here
more than once and are never right; a phrase that is sometimes right is left to the reader.
"""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SEARCHED = sorted(
    path
    for top in ("boards", "firmware", "host_sim", "tests")
    for suffix in ("*.py", "*.md", "*.toml")
    for path in (ROOT / top).rglob(suffix)
    if path != Path(__file__).resolve() and path.name != "EVIDENCE.md"
)
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *SEARCHED]

# Phrase: what to write instead.
REFUSED = {
    r"\bforetold\b": "predicted",
    r"\bwithout object\b": "not applicable",
    r"\bis no matter of\b": "say what is ignored",
    r"\bon the way of\b": "by",
    r"\bwhat came of\b": "the result of",
    r"\bkeys that the manual names\b": "documented keys",
    r"\bhow manieth\b": "number",
    r"\blest\b": "so that … not",
    r"\ba hair\b": "slightly",
    r"\bheld against\b": "compared with, or checked against",
    r"\b(?:can't|cannot|can not) be told\b(?! apart)": "is unknown, or can't be distinguished",
    r"\b(?:is|are|was) not told\b": "is not reported, or not given",
    r"\btells? nothing\b": "doesn't show",
    r"\bstands? in (?:the|a|an) (?:file|list|table|readme|row|settings|record|report)\b": "is in",
    r"\bstands? beside\b": "is next to",
    r"\bsits? on the (?:left|right|crank|other)\b": "is on",
    r"(?<!there )\bis no (?:number|list|time|level|edge|row|file|text|object|class|python|toml|bundle)\b": (
        "is not a …"
    ),
    r"\b(?:a|an|the) (?!number)\w+ (?:is|are) wanted\b": "allowed is …",
    r"\bstands? there twice\b": "appears twice",
    r"\bis there twice\b": "appears twice",
    r"\bground floor\b": "base modules",
    r"\bis no small integer\b": "overflows a small int",
    r"\bcommand that went out last\b": "the last command sent",
    r"\bwritten out where (?:it|its|they)\b": "inlined",
    r"\b(?:goes|go) its own way\b": "is independent",
    r"\b(?:is|are) to hear of\b": "gets",
    r"\bmay not live here\b": "does not belong here",
    r"\bthe very step\b": "the same step",
    r"\bafresh\b": "again, or from the beginning",
    r"\bthe one written order\b": "a fixed order",
    r"\btakes? no memory\b": "allocates no memory",
    r"\b(?:is|are) those to be (?:asked|looked at)\b": "are those that it reads",
}


def literal_of(phrase: str) -> str:
    """Return the longest text that every match contains: looking for it first takes a tenth of the time."""
    return max(re.findall(r"[a-z' ]+", re.sub(r"\([^)]*\)|\\b|\\w|\w\?", "|", phrase)), key=len)


LITERALS = {phrase: literal_of(phrase) for phrase in REFUSED}


def found_in(text: str) -> list[str]:
    """Return each refused phrase of a text, in small letters; line breaks and comment signs are spaces."""
    flat = re.sub(r"\s*\n\s*(?:#:? )?", " ", text).lower()
    return [
        f"{match.group()!r}: write {instead}"
        for phrase, instead in REFUSED.items()
        if LITERALS[phrase] in flat
        for match in re.finditer(phrase, flat)
    ]


def test_no_text_has_a_refused_phrase():
    assert len(SEARCHED) > 700
    found = {str(path.relative_to(ROOT)): found_in(path.read_text(encoding="utf-8")) for path in PAGES}
    assert {name: phrases for name, phrases in found.items() if phrases} == {}


@pytest.mark.parametrize(
    "text",
    [
        "The word is\n    # foretold here.",
        "Say what came of it.",
        "the direction is not told",
        "The number stands in a table.",
        "a file is wanted",
        "'x' is no number",
        "a product that\n        # is no small integer",
        "Start afresh from now.",
    ],
)
def test_a_refused_phrase_is_found_over_the_end_of_a_line_too(text):
    assert found_in(text)


@pytest.mark.parametrize(
    "text",
    [
        "The bicycle stands still.",
        "They can't be told apart.",
        "There is no number here.",
        "They stand in line.",
        "is no longer",
    ],
)
def test_a_phrase_that_is_right_is_left_alone(text):
    assert found_in(text) == []
