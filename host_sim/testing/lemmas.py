"""Proves your own lemma for all values of its numbers, or finds values for which it fails."""

from collections.abc import Callable
from typing import Any

from host_sim.errors import RequestError
from host_sim.proof.numbers import Failure, Numbers


def assert_proved(lemma: Callable[[Any], None]) -> int:
    """Show that every check in `lemma` holds for all values; return the number of paths.

    `lemma` takes one argument with the methods of Numbers: `integer(name, low, high)` and `boolean(name)`
    return any value, `assume` excludes values, `check(condition, what)` states what must hold. The lemma runs
    once for every path its code can take; the result of each operation on such a value is also checked to fit
    31 bits. Use plain integers, comparisons, branches and lists only: no floats, no `int()`, no text
    made of the values, and only loops with a fixed number of iterations.

    AssertionError names the check and values for which it fails, confirmed with plain integers, or says that
    no value meets the assumptions, that nothing is checked, or that the solver can't decide. RequestError if
    z3 is missing.
    """
    try:
        from host_sim.proof.explorer import Explorer, Unknown
    except ImportError:
        raise RequestError("assert_proved needs z3, get it with: pip install 'treadle[proof]'") from None
    explorer = Explorer()
    try:
        explorer.explore(lemma)
    except Failure as failure:
        raise AssertionError(_told(lemma, failure)) from None
    except Unknown as unknown:
        raise AssertionError(f"{_name(lemma)}: not decided, the solver gave up: {unknown}") from None
    if explorer.paths == 0:
        raise AssertionError(f"{_name(lemma)}: nothing is shown, no values meet what is assumed")
    if explorer.checks == 0:
        raise AssertionError(f"{_name(lemma)}: nothing is shown, it checks nothing")
    return explorer.paths


def _told(lemma: Callable[[Any], None], failure: Failure) -> str:
    """Say what fails, and for which values, after another try with plain integers."""
    values = ", ".join(f"{name} = {value}" for name, value in failure.values.items())
    sentence = f"{_name(lemma)}: {failure.what} fails for {values or 'every value'}"
    try:
        lemma(Numbers(failure.values))
    except Failure:
        return sentence
    except Exception as error:
        return f"{sentence}; on plain integers they raise {type(error).__name__}: {error}"
    return f"{sentence}; on plain integers nothing fails but the limit of 31 bits"


def _name(lemma: Callable[[Any], None]) -> str:
    return getattr(lemma, "__name__", "the lemma")
