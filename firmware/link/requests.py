"""Parses a line of JSON, only as much of JSON as a request needs.

One object; its values are texts, whole numbers or one more object of whole numbers. Strict, and the same
on every runtime: MicroPython's own json module accepts lines that are not JSON (commas and colons missing
or doubled, leading zeros), and a request to a motor controller must not be guessed at.
"""

DIGITS_MAX = 9
TEXT_MAX = 40
_DIGITS = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9")


def parse(line: str) -> dict[str, object]:
    """Return the object that `line` holds; ValueError says in a sentence what is wrong, and where."""
    return _Reader(line).whole()


class _Reader:
    """A line, and the position up to which it has been read."""

    __slots__ = ("_at", "_line")

    def __init__(self, line: str) -> None:
        self._line = line
        self._at = 0

    def whole(self) -> dict[str, object]:
        """Read the object and make sure that nothing follows."""
        found = self._object(1)
        if self._peek() != "":
            raise self._wrong("the end of the line")
        return found

    def _object(self, level: int) -> dict[str, object]:
        self._expect("{")
        found: dict[str, object] = {}
        if self._next_is("}"):
            return found
        while True:
            name = self._text()
            if name in found:
                raise ValueError("the name " + name + " appears twice")
            self._expect(":")
            found[name] = self._value(level)
            if self._next_is("}"):
                return found
            self._expect(",")

    def _value(self, level: int) -> object:
        first = self._peek()
        if level == 1 and first == '"':
            return self._text()
        if level == 1 and first == "{":
            return self._object(2)
        return self._number()

    def _text(self) -> str:
        self._expect('"')
        end = self._line.find('"', self._at)
        if end < 0 or end - self._at > TEXT_MAX:
            raise self._wrong("a text of at most " + str(TEXT_MAX) + " characters")
        text = self._line[self._at : end]
        if "\\" in text:
            raise self._wrong("a text without a backslash")
        self._at = end + 1
        return text

    def _number(self) -> int:
        self._peek()
        start = self._at
        if self._line[start : start + 1] == "-":
            self._at += 1
        first = self._at
        while self._line[self._at : self._at + 1] in _DIGITS:
            self._at += 1
        digits = self._line[first : self._at]
        if not 1 <= len(digits) <= DIGITS_MAX or (digits[0] == "0" and len(digits) > 1):
            self._at = start
            raise self._wrong("a whole number of at most " + str(DIGITS_MAX) + " digits")
        return int(self._line[start : self._at])

    def _peek(self) -> str:
        """Return the next character that is not a space; an empty text at the end."""
        while self._line[self._at : self._at + 1] == " ":
            self._at += 1
        return self._line[self._at : self._at + 1]

    def _next_is(self, character: str) -> bool:
        if self._peek() != character:
            return False
        self._at += 1
        return True

    def _expect(self, character: str) -> None:
        if not self._next_is(character):
            raise self._wrong(character)

    def _wrong(self, expected: str) -> ValueError:
        return ValueError("at character " + str(self._at + 1) + " there must be " + expected)
