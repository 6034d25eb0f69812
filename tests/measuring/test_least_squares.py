"""The search runs from several starts, and is refused if they disagree on the best point."""

import numpy as np
import pytest

from host_sim.measuring.estimate import NotEnoughError
from host_sim.measuring.least_squares import Search, line_search

VALLEYS = Search([-10.0], [10.0], [1.0])


def two_valleys(unknowns):
    """A deep valley at 3, where it is 0, and a shallow one near -3."""
    x = unknowns[0]
    return np.array([0.2 * (x - 3.0) * (x + 3.0), 0.3 * (x - 3.0)])


def test_the_deeper_of_two_valleys_is_taken():
    found = VALLEYS.from_starts(two_valleys, [[-6.0], [5.0], [8.0]], "two valleys")
    assert found[0] == pytest.approx(3.0, abs=1e-4)
    shallow = VALLEYS.run(two_valleys, [-6.0])[1]
    assert shallow[0] < -2.0


def test_a_best_point_that_only_one_start_reaches_is_refused():
    with pytest.raises(NotEnoughError, match="no unique result: two valleys"):
        VALLEYS.from_starts(two_valleys, [[-6.0], [-5.0], [8.0]], "two valleys")


def test_a_flat_valley_is_refused():
    flat = Search([-10.0, -10.0], [10.0, 10.0], [1.0, 1.0])
    with pytest.raises(NotEnoughError, match="only their sum counts"):
        flat.from_starts(
            lambda unknowns: np.array([unknowns[0] + unknowns[1] - 1.0]),
            [[0.0, 0.0], [5.0, -1.0], [-4.0, 0.0]],
            "only their sum counts",
        )


def test_a_plane_is_found_as_linear_algebra_finds_it():
    random = np.random.default_rng(4)
    table, truth = random.normal(size=(40, 3)), np.array([40.0, 0.5, 0.12])
    values = table @ truth + 0.1 * random.normal(size=40)
    outside = np.linalg.lstsq(table, values, rcond=None)[0]
    starts = [[40.0, 0.5, 0.1], [60.0, -1.0, 0.0], [20.0, 2.0, 0.5]]
    found = line_search(3).from_starts(lambda unknowns: values - table @ unknowns, starts, "a plane")
    assert found == pytest.approx(outside, rel=1e-6)


def test_a_robust_search_is_hardly_moved_by_an_outlier():
    values = np.array([1.0, 1.1, 0.9, 1.0, 50.0])
    robust = Search([-100.0], [100.0], [1.0], robust=True)
    starts = [[0.0], [20.0]]
    assert robust.from_starts(lambda x: values - x[0], starts, "x")[0] < 2.0
    plain = Search([-100.0], [100.0], [1.0])
    assert plain.from_starts(lambda x: values - x[0], starts, "x")[0] == pytest.approx(10.8)


def test_an_end_at_a_bound_is_refused_unless_that_unknown_does_not_count():
    bounded = Search([0.0, 0.0], [1.0, 5.0], [1.0, 1.0])
    starts = [[0.5, 0.5], [0.9, 3.0], [0.1, 4.0]]
    pulled = lambda unknowns: unknowns - np.array([0.4, 9.0])  # noqa: E731
    with pytest.raises(NotEnoughError, match="at a limit of what is possible: two numbers"):
        bounded.from_starts(pulled, starts, "two numbers")
    assert bounded.from_starts(pulled, starts, "two numbers", first=1) == pytest.approx([0.4, 5.0])
