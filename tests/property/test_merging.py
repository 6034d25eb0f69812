"""What a merged lemma uses instead of min, max, abs and clamp comes to the same numbers, without a fork."""

from itertools import product

import pytest

from firmware import integers
from firmware.sense import motor_model, rotation
from host_sim.proof.explorer import Explorer
from host_sim.proof.merging import clamped, greatest, least, merging, size_of
from host_sim.proof.numbers import Failure

NUMBERS = (-7, -1, 0, 3, 7)


def proved_paths(claim):
    """Explore a claim about three symbols; return how many paths it has."""
    explorer = Explorer()

    def run(ex):
        claim(ex, *(ex.integer(name, -7, 7) for name in ("one", "two", "three")))

    explorer.explore(run)
    return explorer.paths


@pytest.mark.parametrize(("one", "two", "three"), list(product(NUMBERS, repeat=3)))
def test_on_numbers_they_are_min_max_abs_and_clamp(one, two, three):
    assert least(one, two, three) == min(one, two, three)
    assert greatest(one, two, three) == max(one, two, three)
    assert size_of(one) == abs(one)
    lowest, highest = min(two, three), max(two, three)
    assert clamped(one, lowest, highest) == integers.clamp(one, lowest, highest)


def test_on_symbols_they_come_to_the_same_as_forking_does():
    def claim(ex, one, two, three):
        ex.check(least(one, two, three) == min(one, two, three), "the least")
        ex.check(greatest(one, two, three) == max(one, two, three), "the greatest")
        ex.check(size_of(one) == abs(one), "the size")
        ex.check(clamped(one, -3, 5) == integers.clamp(one, -3, 5), "the clamped value")

    assert proved_paths(claim) > 1


def test_they_do_not_fork():
    def claim(ex, one, two, three):
        ex.check(least(one, two) <= greatest(two, three), "the order")

    assert proved_paths(claim) == 1


def test_the_range_of_what_they_return_is_as_narrow_as_it_can_be():
    def claim(ex, one, two, three):
        assert (least(one, 3).low, least(one, 3).high) == (-7, 3)
        assert (greatest(one, 3).low, greatest(one, 3).high) == (3, 7)
        assert (size_of(one).low, size_of(one).high) == (0, 7)
        assert (clamped(two, -3, 5).low, clamped(two, -3, 5).high) == (-3, 5)
        assert least(three, 7) is three
        assert greatest(three, -7) is three
        assert least(three, -7) == -7

    assert proved_paths(claim) == 1


def test_a_claim_that_does_not_hold_is_still_refuted():
    def claim(ex, one, two, three):
        ex.check(least(one, two) < two, "always lower")

    with pytest.raises(Failure, match="always lower"):
        proved_paths(claim)


def test_the_firmware_has_its_own_functions_back_afterwards():
    before = motor_model.clamp

    def fail_within():
        with merging():
            assert motor_model.clamp is clamped
            assert motor_model.min is least
            assert rotation.abs is size_of
            raise KeyError

    with pytest.raises(KeyError):
        fail_within()
    assert motor_model.clamp is before
    assert "min" not in vars(motor_model)
    assert "abs" not in vars(rotation)
