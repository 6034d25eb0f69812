"""Plain numbers instead of symbols: a lemma run on them is an ordinary test of the firmware.

Imports nothing and runs on every runtime, so that the same lemma can be run on a microcontroller.
Lemmas are written for `Numbers`; the Explorer has the same methods and returns symbols.
"""


class Failure(Exception):
    """A counterexample to a check. Read: `what`, `values` by the symbols' names."""

    def __init__(self, what: str, values: dict[str, int]) -> None:
        """Store what failed, and for which values."""
        super().__init__(what)
        self.what = what
        self.values = values


class Rejected(Exception):
    """The numbers do not meet the lemma's assumptions."""


class Numbers:
    """Replaces an Explorer to run a lemma on plain numbers. Read: `outcomes`."""

    def __init__(self, values: dict[str, int]) -> None:
        """Take the number of each symbol."""
        self._given = values
        self.outcomes: dict[str, int] = {}

    def integer(self, name: str, low: int, high: int) -> int:
        """Return the given number; Rejected if it is out of its range, KeyError if there is none."""
        value = self._given[name]
        if not low <= value <= high:
            raise Rejected(name)
        return value

    def boolean(self, name: str) -> bool:
        """Return the given boolean."""
        return self._given[name] == 1

    def wide(self, value: int) -> int:
        """Return `value`: plain integers are wide."""
        return value

    def assume(self, condition: bool) -> None:
        """Raise Rejected unless `condition` holds."""
        if not condition:
            raise Rejected("an assumption")

    def check(self, condition: bool, what: str) -> None:
        """Raise Failure unless `condition` holds."""
        if not condition:
            raise Failure(what, self._given)

    def show(self, condition: bool, what: str) -> None:
        """Raise Failure unless `condition` holds; an Explorer then uses it."""
        self.check(condition, what)

    def outcome(self, **values: int) -> None:
        """Record the result of the step; a bool as 0 or 1."""
        for name, value in values.items():
            self.outcomes[name] = int(value)
