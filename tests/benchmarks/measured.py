"""What `step_speed` measures: functions that run alike interpreted here and compiled in a worker.

Each takes its best of several tries in processor time, which other programs on the machine disturb least.
"""

import gc
import resource
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.world import EdgeWatch
from host_sim.bikes.load import load_bike
from host_sim.sweeping.metrics import ride_metrics
from tests.benchmarks.first_order import FirstOrderLoop
from tests.ride.riding import bike_with

W_PER_V, LAG_S, EDGE_US, WHEEL_US = 200.0, 0.05, 25_000, 300_000  # 60 rpm on 10 magnets; 1.05 m/s.
TRIES = 7
RPM_OF_6_RAD_PER_S = 57.29577951308232  # Legs gather 0.3 rad/s in 5 ms: twenty whole steps.


class Edges(EdgeWatch):
    """Keeps every edge."""

    def __init__(self) -> None:
        self.seen: list[tuple[int, int]] = []

    def edge(self, time_us: int, levels: int) -> None:
        self.seen.append((time_us, levels))


def best(work: Callable[[], object], tries: int = TRIES) -> float:
    """Return the least processor time in seconds that `work` took."""
    times = []
    for _ in range(tries):
        gc.collect()
        started_s = time.process_time()
        work()
        times.append(time.process_time() - started_s)
    return min(times)


def step_ns(steps: int) -> tuple[float, float]:
    """Return ns a controller step with a first-order plant: at rest, and riding with edges."""
    settings = load_bike("cargo_trike").firmware_settings
    results = []
    for edge_us, wheel_us in ((0, 0), (EDGE_US, WHEEL_US)):
        loop = FirstOrderLoop(settings, W_PER_V, LAG_S, edge_us, wheel_us)
        loop.run(2_000)
        results.append(best(partial(loop.run, steps)) / steps * 1e9)
    return results[0], results[1]


def ride_s(seconds: float) -> float:
    """Return the processor time of one ride of a sweep, full plant, edges and measures."""
    bike = load_bike("cargo_trike")
    return best(lambda: ride_metrics(bike, seconds))


def stepped(plant_step_us: int) -> tuple[float, list[tuple[int, int]], float]:
    """Ride a roller with plant steps of at most so long; return time, edges, and the battery's energy.

    Of the edges those of the evenly turning crank: it is exact in any step, so there they must be the same.
    While the legs gather speed, an edge within a step is placed as if the step were even.
    """
    lines: list[dict[str, Any]] = [
        {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 12},
        {"at_s": 4, "cadence_rpm": RPM_OF_6_RAD_PER_S},
        {"at_s": 55, "cadence_rpm": 0},
    ]
    bike = bike_with(rider={"cadence_ripple": 0.0})
    seen: list[tuple[list[tuple[int, int]], float]] = []

    def ride() -> None:
        edges = Edges()
        bench = bench_for(bike, 1)
        bench.world.plant_step_us = plant_step_us
        bench.watch_edges(edges)
        bench.ride(CourseScript(course_from("roller", "Even", 60.0, lines)), 60.0)
        even = [edge for edge in edges.seen if 4_200_000 < edge[0] < 55_000_000]
        seen.append((even, bench.world.assist_j))

    return best(ride, 3), *seen[0]


def long_ride(seconds: float) -> tuple[float, float]:
    """Ride once for so long; return the processor time and the most memory this process ever had, MiB."""
    bike = load_bike("cargo_trike")
    started_s = time.process_time()
    lines = [{"at_s": 0, "cadence_rpm": 0}, {"at_s": 4, "cadence_rpm": 65}]
    bench = bench_for(bike, 1)
    bench.ride(CourseScript(course_from("long", "On and on", seconds, lines)), seconds)
    unit = 1024.0 if sys.platform == "darwin" else 1.0
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit / 1024.0
    return time.process_time() - started_s, memory


def with_pulses(pulses: int) -> tuple[float, float]:
    """Ride 600 s on a ring of so many pulses; return edges a second and the processor time."""
    bike = bike_with(
        "tandem", pedal_sensor={"pulses_per_rev": pulses, "uneven_deg": 0.0, "hysteresis_deg": 0.2}
    )
    lines = [{"at_s": 0, "cadence_rpm": 0}, {"at_s": 4, "cadence_rpm": 60}]

    def ride() -> None:
        bench_for(bike, 1).ride(CourseScript(course_from("even", "Even", 600.0, lines)), 600.0)

    return pulses * 4 * 1.0, best(ride, 3)
