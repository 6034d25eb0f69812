"""What a component of the firmware keeps to itself: proofs and `tests/paths` reach it here only.

The names are those of the firmware without the underscore: fields that its `__slots__` declare, and its
functions. What may change from step to step stands with its range in `whole/ranges.py`. Runs anywhere.
"""

TYPE_CHECKING = False  # True for a type checker; not every runtime has `typing`.
if TYPE_CHECKING:
    from typing import Any


class Inside:
    """The private fields and functions of a component: `Inside(crank).behind` is its `_behind`.

    AttributeError for a name that the component does not have.
    """

    def __init__(self, component: "Any") -> None:
        """Take the component."""
        super().__setattr__("_component", component)

    def __getattr__(self, name: str) -> "Any":
        """Return a field, or a function to call."""
        return getattr(self._component, "_" + name)

    def __setattr__(self, name: str, value: "Any") -> None:
        """Set a field."""
        setattr(self._component, "_" + name, value)
