"""The kinds of bicycles that the rides are tried on show every pair of values of two properties."""

from itertools import combinations

import pytest
from hypothesis import settings as hypothesis_settings

from tests.property.pairs import (
    AXES,
    EXAMPLES_A_KIND,
    KINDS,
    RUNS_A_KIND,
    RUNS_OF_ANY,
    all_pairs,
    pairs_of,
    pairwise,
)

LEAST_SHARE = 0.6  # Of the examples of a property that is tried on every kind, those that must drive.


@pytest.mark.parametrize(("one", "other"), list(combinations(AXES, 2)))
def test_every_pair_of_values_of_two_properties_is_ridden(one: str, other: str):
    shown = {(kind[one], kind[other]) for kind in KINDS}
    assert shown == {(low, high) for low in AXES[one] for high in AXES[other]}


def test_a_missing_pair_would_be_noticed():
    # 15 pairs of five numbers of pulses with three kinds of sensor need 15 kinds at least.
    assert 15 <= len(KINDS) <= 24
    assert set().union(*map(pairs_of, KINDS)) == all_pairs()
    for kind in KINDS:
        others = [other for other in KINDS if other is not kind]
        assert set().union(*map(pairs_of, others)) != all_pairs()


def test_the_kinds_are_the_same_each_time():
    assert pairwise() == KINDS


def test_most_examples_of_the_rides_must_drive():
    """Each test on every kind fails if an example does not drive; beside it stands one with any settings."""
    driving = len(KINDS) * EXAMPLES_A_KIND
    with_any_settings = hypothesis_settings.default.max_examples
    assert driving / (driving + with_any_settings) >= LEAST_SHARE


def test_most_stateful_runs_must_drive():
    driving = len(KINDS) * RUNS_A_KIND
    assert driving / (driving + RUNS_OF_ANY) >= LEAST_SHARE
