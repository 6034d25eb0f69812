"""The one call that every front end makes: it sends a lesson's number and values, and gets HTML and a check.

Over local HTTP it reaches CPython; in the export it reaches Python in a worker of the page. Request and
answer are JSON tables in both. `{"lesson": 4, "values": {…}}` shows a ride; `"guess": "…"` states the
prediction first, and then, where the question has settings of its own, the answer has them as `values`.
"""

from collections.abc import Mapping
from typing import Any

from host_sim.errors import RequestError
from host_sim.lab.catalogue import lesson
from host_sim.lab.checking import Check
from host_sim.lab.description import Lesson


def answer(request: Mapping[str, Any]) -> dict[str, Any]:
    """Return `figure`, `solved`, `words` and `values`, and after a guess `outcome` and `right` as well.

    RequestError says what is wrong with the request.
    """
    number, values, guess = request.get("lesson"), request.get("values"), request.get("guess")
    if not isinstance(number, int) or isinstance(number, bool):
        raise RequestError(f"lesson is {str(number)[:60]!r}, allowed is a whole number")
    described = lesson(number)
    if not isinstance(values, Mapping):
        raise RequestError("values is not a table, allowed is a value for each input by its name")
    if guess is not None and guess not in described.prediction.options:
        raise RequestError(
            f"guess is {str(guess)[:60]!r}, allowed is one of: {'; '.join(described.prediction.options)}"
        )
    checked = described.checked(values)
    if guess is not None:
        return _revealed(described, dict(described.prediction.values or checked), guess)
    tried = described.attempt(**checked)
    draw = described.draw if described.draw_hidden is None else described.draw_hidden
    return _shown(draw(tried), described.check(tried), checked)


def _revealed(described: Lesson, values: dict[str, Any], guess: str) -> dict[str, Any]:
    tried = described.attempt(**values)
    prediction = described.prediction
    outcome = prediction.outcome(tried)
    shown = _shown(described.draw(tried), described.check(tried), values)
    why = "" if prediction.words is None else prediction.words(tried)
    return {**shown, "outcome": outcome, "right": outcome == guess, "why": why}


def _shown(figure: str, check: Check, values: dict[str, Any]) -> dict[str, Any]:
    return {"figure": figure, "solved": check.solved, "words": check.words, "values": values}
