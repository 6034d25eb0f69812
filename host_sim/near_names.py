"""The known name that somebody may have meant."""

import difflib
from collections.abc import Iterable


def nearest(name: str, known: Iterable[str]) -> str:
    """Return the known name that is most like `name`, or "": one that begins like it before all others."""
    names = list(known)
    beginning = [one for one in names if one and name and (name.startswith(one) or one.startswith(name))]
    near = beginning or difflib.get_close_matches(name, names, n=1)
    return max(near, key=len, default="")
