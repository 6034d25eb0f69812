"""Names of local variables in a generated function: few, so they are reused."""


class Names:
    """Hands out names and takes them back."""

    def __init__(self, letter: str) -> None:
        """Start with none in use; names are the letter and a number."""
        self._letter = letter
        self._free: list[int] = []
        self._used = 0
        self._stack: list[str] = []

    def new(self) -> str:
        """Return a name that nothing uses."""
        if self._free:
            number = min(self._free)
            self._free.remove(number)
        else:
            number = self._used
            self._used += 1
        name = f"{self._letter}{number}"
        self._stack.append(name)
        return name

    def mark(self) -> int:
        """Return a mark for `release`."""
        return len(self._stack)

    def release(self, mark: int, kept: set[str]) -> None:
        """Release the names handed out since `mark`, except those in `kept`."""
        given = self._stack[mark:]
        self._stack = self._stack[:mark] + [name for name in given if name in kept]
        self._free += [int(name[len(self._letter) :]) for name in given if name not in kept]

    def given_since(self, name: str, mark: int) -> bool:
        """Return whether `name` was handed out since `mark`."""
        return name in self._stack[mark:]
