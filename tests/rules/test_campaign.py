"""Ten thousand random rides with random faults on random legal bikes break no rule of safety.

A slow target of its own: `uv run pytest -m slow -s`. CAMPAIGN_RIDES and CAMPAIGN_SEED change how many
rides there are and where they begin; a ride is repeated by its number, see `ride_number`.
"""

import os

import pytest

from host_sim.rules.campaign import campaign, random_case, ride_number


def test_a_ride_of_the_campaign_is_repeated_by_its_number():
    one, other = random_case(17), random_case(17)
    assert one.settings.as_dict() == other.settings.as_dict()
    assert [stretch.at_s for stretch in one.course.stretches] == [
        stretch.at_s for stretch in other.course.stretches
    ]
    assert random_case(18).settings.as_dict() != one.settings.as_dict()


@pytest.mark.parametrize("first", [1, 101])
def test_a_hundred_rides_break_nothing(first):
    assert [str(broken) for number in range(first, first + 50) for broken in ride_number(number)] == []


@pytest.mark.slow
def test_ten_thousand_rides_break_nothing():
    rides = int(os.environ.get("CAMPAIGN_RIDES", "10000"))
    first = int(os.environ.get("CAMPAIGN_SEED", "1"))
    print(f"\ncampaign: rides {first} to {first + rides - 1}")  # noqa: T201
    broken = []
    done = 0
    for done, found in campaign(first, rides):
        broken += [str(violation) for violation in found]
        if done % 1000 == 0:
            print(f"{done} ridden, {len(broken)} violations")  # noqa: T201
    assert done == rides
    assert broken == []
