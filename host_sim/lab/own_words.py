"""What went wrong in a pupil's code, in words that a pupil can use, with the line."""

import traceback

FILE = "your code"
_HINTS: tuple[tuple[type[BaseException], str], ...] = (
    (IndentationError, "lines that belong together begin with the same number of spaces"),
    (SyntaxError, "this line can't be read: look for a missing colon, bracket or quotation mark"),
    (
        UnboundLocalError,
        "a name that step gives a value has to stand behind `global`, so that it lasts until the next step",
    ),
    (NameError, "this name is not known here: is it spelt as above, and set before it is used?"),
    (ZeroDivisionError, "something is divided by zero"),
    (TypeError, "two things don't go together here: a number and a text, or the wrong number of values"),
    (AttributeError, "what stands before the dot does not have what stands behind it"),
    (IndexError, "the list is shorter than that"),
    (KeyError, "the table has no such key"),
    (ImportError, "this module is not there"),
    (RecursionError, "a function calls itself without end"),
    (MemoryError, "more memory is wanted than is allowed"),
)


def explained(error: BaseException, code: str) -> str:
    """Return one sentence: the line and what stands in it, a hint, and what Python says."""
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
    """Return the line of the pupil's code that the error is about: the last one on the way to it."""
    if isinstance(error, SyntaxError) and error.filename == FILE:
        return error.lineno
    lines = [frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == FILE]
    return lines[-1] if lines else None
