"""Puts a bicycle on the bench with your own controller."""

from host_sim.bench import assemble
from host_sim.bench.foreign import Build, hosted
from host_sim.bench.ride import Bench
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike


def bike_of(bike: Bike | str) -> Bike:
    """Return the bike itself, or load it from a path or the name of an example."""
    return load_bike(bike) if isinstance(bike, str) else bike


def bench_for(bike: Bike | str, seed: int, controller: Build | None = None) -> Bench:
    """Return the bicycle at a standstill on a bench; `bike` is a Bike, a path or the name of an example.

    `controller` is a class with `step(inputs, now_us) -> outputs`, built from settings; None for the
    firmware's own. `seed` is the random seed. Ride it with `bench.ride(CourseScript(course), seconds)`, then
    read `bench.meter` and `bench.world`.
    """
    return assemble.bench_for(bike_of(bike), seed, build=hosted(controller))
