"""Noise of a reading: the numbers of CPython's own generator, and standard normal."""

from copy import deepcopy
from itertools import islice
from random import Random
from statistics import fmean, pstdev
from threading import Thread

import pytest

from host_sim.bench.noise import TAPE_NUMBERS, TAPES_KEPT, Noise


def drawn(noise: Noise, count: int) -> list[float]:
    return [noise.next() for _ in range(count)]


def expected(seed: int, count: int, after: int = 0) -> list[float]:
    generator = Random(seed)
    return list(islice((generator.gauss(0.0, 1.0) for _ in range(after + count)), after, None))


@pytest.mark.parametrize("seed", [0, 1, 4_294_967_295])
def test_the_numbers_are_those_of_cpythons_generator(seed):
    assert drawn(Noise(seed), 1_001) == expected(seed, 1_001)


def test_a_long_ride_goes_on_beyond_the_shared_numbers():
    count = 2 * TAPE_NUMBERS + 601
    assert drawn(Noise(3), count) == expected(3, count)


def test_rides_of_one_seed_at_the_same_time_each_get_all_numbers():
    first, second = Noise(5), Noise(5)
    found = [(first.next(), second.next(), second.next()) for _ in range(TAPE_NUMBERS)]
    assert [one for one, _, _ in found] == expected(5, TAPE_NUMBERS)
    assert [one for _, *two in found for one in two] == expected(5, 2 * TAPE_NUMBERS)


def test_more_seeds_than_are_kept_do_no_harm():
    noises = [Noise(seed) for seed in range(2 * TAPES_KEPT)]
    drawn_in_turn = [[noise.next() for noise in noises] for _ in range(300)]
    for seed in range(2 * TAPES_KEPT):
        assert [numbers[seed] for numbers in drawn_in_turn] == expected(seed, 300)
        assert drawn(Noise(seed), 5) == expected(seed, 5)


def test_threads_share_numbers_without_losing_any():
    found: dict[int, list[float]] = {}
    threads = [
        Thread(target=lambda name=name: found.update({name: drawn(Noise(77), 9_000)})) for name in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert list(found.values()) == [expected(77, 9_000)] * 4


@pytest.mark.parametrize("before", [0, 3, TAPE_NUMBERS, TAPE_NUMBERS + 1, 2 * TAPE_NUMBERS + 5])
def test_a_copy_goes_on_by_itself(before):
    noise = Noise(9)
    drawn(noise, before)
    twin = deepcopy(noise)
    assert drawn(twin, 700) == expected(9, 700, before)
    assert drawn(noise, 700) == expected(9, 700, before)


def test_they_are_standard_normal():
    numbers = drawn(Noise(7), 40_000)
    assert abs(fmean(numbers)) < 0.02  # Four sigmas of the mean.
    assert abs(pstdev(numbers) - 1.0) < 0.015
    # 68.27 % lie within one sigma of a normal distribution.
    assert abs(sum(abs(number) < 1.0 for number in numbers) / 40_000 - 0.6827) < 0.01
