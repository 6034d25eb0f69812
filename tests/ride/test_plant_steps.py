"""The edges of an evenly turning crank do not depend on how finely the plant is stepped."""

import pytest

from tests.benchmarks.measured import stepped


@pytest.mark.long
def test_edges_are_the_same_at_steps_of_5_ms_and_at_a_fixed_1_khz():
    _, driven, driven_j = stepped(5_000)
    _, fixed, fixed_j = stepped(1_000)
    # 6 rad/s for 50.8 s are 48.5 turns of 40 edges.
    assert len(driven) == 1_940
    assert len(driven) == len(fixed)
    assert all(one[1] == two[1] for one, two in zip(driven, fixed, strict=True))
    assert max(abs(one[0] - two[0]) for one, two in zip(driven, fixed, strict=True)) <= 1
    assert abs(fixed_j / driven_j - 1.0) < 0.01
