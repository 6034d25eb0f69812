"""Noise of a reading: the numbers of CPython's own generator, and standard normal."""

from random import Random
from statistics import fmean, pstdev

import pytest

from host_sim.bench.noise import Noise


@pytest.mark.parametrize("seed", [0, 1, 4_294_967_295])
def test_the_numbers_are_those_of_cpythons_generator(seed):
    noise, generator = Noise(seed), Random(seed)
    assert [noise.next() for _ in range(1_001)] == [generator.gauss(0.0, 1.0) for _ in range(1_001)]


def test_they_are_standard_normal():
    noise = Noise(7)
    numbers = [noise.next() for _ in range(40_000)]
    assert abs(fmean(numbers)) < 0.02  # Four sigmas of the mean.
    assert abs(pstdev(numbers) - 1.0) < 0.015
    # 68.27 % lie within one sigma of a normal distribution.
    assert abs(sum(abs(number) < 1.0 for number in numbers) / 40_000 - 0.6827) < 0.01
