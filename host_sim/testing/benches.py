"""Puts your own controller on a bench with a whole bicycle, or on a rig without physics."""

from random import Random

from firmware.settings import Settings
from host_sim.bench import assemble
from host_sim.bench.foreign import Build, hosted
from host_sim.bench.ride import Bench
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import settings_with
from host_sim.rules.case import with_scatter


def bike_of(bike: Bike | str) -> Bike:
    """Return the bike itself, or load it from a path or the name of an example."""
    return load_bike(bike) if isinstance(bike, str) else bike


def example_bike(name: str, scatter: int) -> Bike:
    """Return an example bike; every `scatter` above 0 has slightly different parts, load and charge."""
    bike = load_bike(name)
    return bike if scatter == 0 else with_scatter(bike, Random(scatter))


def bench_for(bike: Bike | str, seed: int, controller: Build | None = None) -> Bench:
    """Return the bicycle at a standstill on a bench; `bike` is a Bike, a path or the name of an example.

    `controller` is a class with `step(inputs, now_us) -> outputs`, built from settings; None for the
    firmware's own. `seed` is the random seed. Ride it with `bench.ride(CourseScript(course), seconds)`, then
    read `bench.meter` and `bench.world`.
    """
    return assemble.bench_for(bike_of(bike), seed, build=hosted(controller))


def rig_for(controller: Build | None = None, settings: Settings | None = None, **values: int) -> Rig:
    """Return a rig at standstill: a crank and a wheel without physics, and every number a SmallInt.

    `settings` None is the defaults changed by `values`, such as `pulses_per_rev=24`. Run it with
    `rig.run(milliseconds, rpm=60, wheel_mm_per_s=3_000)`, then read `rig.command_mv` and `rig.outputs`.
    """
    if settings is not None and values:
        raise TypeError("settings and single values are both given, only one of them is allowed")
    return Rig(settings_with(**values) if settings is None else settings, build=hosted(controller))
