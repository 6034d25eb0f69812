"""A lemma of one's own is proved, refuted with values, or said to show nothing; never passed by mistake."""

from typing import Any

import pytest

from host_sim.errors import RequestError
from host_sim.proof.explorer import Unknown
from host_sim.testing import Numbers, assert_proved

SMALL_MAX = 2**30 - 1


def test_every_path_of_a_true_lemma_is_counted() -> None:
    def clamp(numbers: Numbers) -> None:
        value = numbers.integer("value", -1_000, 1_000)
        numbers.check(0 <= min(max(value, 0), 100) <= 100, "it is within its range")

    assert assert_proved(clamp) == 3


def test_the_one_value_of_a_billion_for_which_it_fails_is_found() -> None:
    def never(numbers: Numbers) -> None:
        numbers.check(numbers.integer("value", 0, SMALL_MAX) != 123_456_789, "that one is not met")

    with pytest.raises(AssertionError, match=r"never: that one is not met fails for value = 123456789$"):
        assert_proved(never)


def test_a_result_beyond_31_bits_is_told() -> None:
    def square(numbers: Numbers) -> None:
        value = numbers.integer("value", 0, 32_768)
        numbers.check(value * value >= 0, "a square is not negative")

    with pytest.raises(AssertionError, match=r"fits 31 bits fails for value = 32768; on plain integers"):
        assert_proved(square)


def test_a_division_by_nothing_is_told_with_what_python_says_of_it() -> None:
    def share(numbers: Numbers) -> None:
        numbers.check(100 // numbers.integer("parts", 0, 9) >= 0, "a share is not negative")

    with pytest.raises(AssertionError, match=r"parts = 0.*ZeroDivisionError"):
        assert_proved(share)


def test_a_lemma_whose_assumptions_nothing_meets_shows_nothing() -> None:
    def impossible(numbers: Numbers) -> None:
        value = numbers.integer("value", 0, 3)
        numbers.assume(value > 5)
        numbers.check(value == 7, "anything")

    with pytest.raises(AssertionError, match="impossible: nothing is shown"):
        assert_proved(impossible)


def test_a_lemma_without_a_check_shows_nothing() -> None:
    def idle(numbers: Numbers) -> None:
        numbers.integer("value", 0, 3)

    with pytest.raises(AssertionError, match="idle: nothing is shown, it checks nothing"):
        assert_proved(idle)


def test_a_solver_that_gives_up_has_proved_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def undecided(explorer: Any, run: Any) -> None:
        raise Unknown("too hard")

    monkeypatch.setattr("host_sim.proof.explorer.Explorer.explore", undecided)
    with pytest.raises(AssertionError, match="not decided, the solver gave up: too hard"):
        assert_proved(lambda numbers: None)


def test_without_the_solver_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "host_sim.proof.explorer", None)
    with pytest.raises(RequestError, match=r"pip install 'treadle\[proof\]'"):
        assert_proved(lambda numbers: None)
