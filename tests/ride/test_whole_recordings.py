"""A recording on another bicycle: where it stands the bench stands, and the gears bind the crank."""

import pytest

from host_sim.bikes.load import BIKES, load_bike
from host_sim.compiled.build import missing_tools
from host_sim.compiled.workers import Workers
from tests.ride.whole_recordings import ALL, NO_METER, SPEED_ALONE, random_recording, reduced, ridden

BIKE_NAMES = sorted(path.stem for path in BIKES.glob("*.toml"))
RANDOM_RIDES = 12


@pytest.fixture(scope="module")
def rides(tmp_path_factory):
    """Every bike over both recorded rides and over random ones; with a power meter, without, speed alone."""
    folder = tmp_path_factory.mktemp("recordings")
    names = [reduced(name, columns, folder) for name in ("road_ride_a", "road_ride_b") for columns in
             (ALL, NO_METER, SPEED_ALONE)]  # fmt: skip
    for seed in range(RANDOM_RIDES):
        names.append(random_recording(seed, (ALL, NO_METER, SPEED_ALONE)[seed % 3], folder))
    jobs = [(bike, name) for bike in BIKE_NAMES for name in names]
    with Workers(2, compiled=not missing_tools()) as workers:
        yield dict(zip(jobs, workers.map(ridden, jobs, batch=1), strict=True))


@pytest.mark.long
def test_where_the_recording_stands_the_bench_stands(rides):
    assert len(rides) == len(BIKE_NAMES) * (6 + RANDOM_RIDES) >= 72
    rolling = {job: ride.rolling_at_rest for job, ride in rides.items() if ride.rolling_at_rest}
    assert rolling == {}


@pytest.mark.long
def test_a_ride_that_ends_at_rest_ends_at_rest(rides):
    # road_ride_b ends rolling; its stops are in the test above.
    ending = {job: ride.end_m_per_s for job, ride in rides.items() if "road_ride_b" not in job[1]}
    assert {job: speed for job, speed in ending.items() if speed > 0.0} == {}


@pytest.mark.long
def test_no_crank_turns_faster_than_the_wheel_lets_it_in_the_lowest_gear(rides):
    # The wheel slows by at most 12 m/s2 after the crank was moved: 0.06 m/s in a step of 5 ms.
    assert max(ride.crank_too_fast_m_per_s for ride in rides.values()) < 0.06
    assert max(ride.slack_force_n for ride in rides.values()) < 0.0


@pytest.mark.long
def test_the_rides_are_ridden_and_helped(rides):
    for (bike, name), ride in rides.items():
        if "road_ride" in name:
            assert ride.distance_m > 9_000.0, (bike, name)
            assert ride.engagements > 20, (bike, name)
            assert ride.faults == [], (bike, name)
            assert ride.turned_rev > 1_500.0, (bike, name)


@pytest.mark.long
def test_a_short_unkind_ride_ends_at_rest_too(tmp_path):
    for seed, columns in ((100, ALL), (101, SPEED_ALONE)):
        ride = ridden(("tandem", random_recording(seed, columns, tmp_path)))
        assert ride.end_m_per_s == 0.0
        assert ride.rolling_at_rest == []
        assert ride.crank_too_fast_m_per_s < 0.06


def test_a_tandem_has_two_riders_and_the_others_one():
    assert {name: load_bike(name).rider.riders for name in BIKE_NAMES} == {
        name: 2 if name == "tandem" else 1 for name in BIKE_NAMES
    }
