"""Explains an error in a pupil's code, with its line, in words that help a pupil."""

import traceback

FILE = "your code"
_HINTS: tuple[tuple[type[BaseException], str], ...] = (
    (IndentationError, "lines of one block must begin with the same number of spaces"),
    (SyntaxError, "this line can't be read: look for a missing colon, bracket or quotation mark"),
    (
        UnboundLocalError,
        "a name that step changes must be listed after `global`, to keep its value until the next step",
    ),
    (NameError, "this name is unknown: is it spelt correctly, and set before it is used?"),
    (ZeroDivisionError, "something is divided by zero"),
    (TypeError, "these values can't be combined: a number and a text, or the wrong number of values"),
    (AttributeError, "the object before the dot has no attribute with this name"),
    (IndexError, "the list is shorter than that"),
    (KeyError, "the table has no such key"),
    (ImportError, "this module is not available"),
    (RecursionError, "a function calls itself without end"),
    (MemoryError, "the code needs more memory than is allowed"),
)


def explained(error: BaseException, code: str) -> str:
    """Return one sentence: the line and its text, a hint, and Python's message."""
    line = _line_of(error)
    hint = next((words for kind, words in _HINTS if isinstance(error, kind)), "this went wrong")
    said = error.msg if isinstance(error, SyntaxError) else " ".join(str(error).split())
    python = f"{type(error).__name__}: {said}" if said else type(error).__name__
    if line is None:
        return f"{hint} ({python[:200]})"
    lines = code.splitlines()
    text = lines[line - 1].strip()[:60] if 0 < line <= len(lines) else ""
    shown = f" (`{text}`)" if text else ""
    return f"line {line}{shown}: {hint} ({python[:200]})"


def line_in(sentence: str) -> int | None:
    """Return the line that a sentence of `explained` begins with."""
    first, _, rest = sentence.partition(" ")
    number = rest.split(" ")[0].rstrip(":")
    return int(number) if first == "line" and number.isdecimal() else None


def _line_of(error: BaseException) -> int | None:
    """Return the line of the pupil's code that the error is about: the innermost in the traceback."""
    if isinstance(error, SyntaxError) and error.filename == FILE:
        return error.lineno
    lines = [frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == FILE]
    return lines[-1] if lines else None
