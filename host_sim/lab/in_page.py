"""The interface between a page's script and the lessons: JSON in, JSON out, and no exceptions."""

import json
from collections.abc import Callable, Mapping
from typing import Any

from host_sim.errors import RequestError
from host_sim.lab.call import answer
from host_sim.lab.own_loop import ride_own
from host_sim.lab.own_loop_figure import draw_own
from host_sim.lab.own_words import line_in

NO_JSON = "a request is JSON, a table"


def answered(text: str) -> str:
    """Return the answer to a lesson's request; if it is wrong, `refused` is a sentence that says why."""
    return _told(answer, text)


def own_answered(text: str) -> str:
    """Ride a pupil's controller: `{"code": "…"}` gives `rules`, `svg` and `said`.

    Only for a process or a worker that was started for this one ride.
    """
    return _told(_own, text)


def _own(request: Mapping[str, Any]) -> dict[str, Any]:
    code = request.get("code")
    if not isinstance(code, str):
        raise RequestError("code is not a text, allowed is Python")
    owned = ride_own(code)
    rules = [
        {"name": rule.name, "measured": rule.measured, "allowed": rule.allowed, "held": rule.held}
        for rule in owned.rules
    ]
    return {"rules": rules, "svg": draw_own(owned), "said": list(owned.said)}


def table_in(text: str | bytes) -> dict[str, Any] | None:
    """Return the table that a text in JSON holds; None if it is something else."""
    try:
        read = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return read if isinstance(read, dict) else None


def _told(call: Callable[[Mapping[str, Any]], dict[str, Any]], text: str) -> str:
    request = table_in(text)
    if request is None:
        return json.dumps({"refused": NO_JSON})
    try:
        return json.dumps(call(request))
    except RequestError as error:
        return json.dumps({"refused": str(error), "line": line_in(str(error))})
