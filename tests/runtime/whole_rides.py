"""Whole rides as text, for comparing processes: every period and every edge, to the last digit."""

import io
import os
from hashlib import sha256

from firmware import controller
from firmware.records import Outputs
from host_sim.bench import world
from host_sim.bench.assemble import bench_for
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import EdgeWatch
from host_sim.forms.golden_ride import GoldenRide
from tests.golden_rides import golden_rides


class Everything(StepWatch, EdgeWatch):
    """Writes down each period and each edge, the floats in full."""

    def __init__(self) -> None:
        self.text = io.StringIO()
        self.steps = 0
        self.edges = 0

    def begin(self, world, controller):
        self._world = world
        self._controller = controller

    def edge(self, time_us: int, levels: int) -> None:
        self.edges += 1
        self.text.write(f"{time_us} {levels}\n")

    def look(self, outputs: Outputs) -> None:
        self.steps += 1
        world, controller = self._world, self._controller
        self.text.write(
            f"{world.now_us} {outputs.command_mv} {outputs.fault_cause} {controller.engagement.state} "
            f"{controller.pedalling.cadence_rpm} {controller.wheel.speed_mm_per_s} "
            f"{controller.supply.power_w} "
            f"{world.bicycle.speed_m_per_s!r} {world.bicycle.distance_m!r} {world.rider.crank_rad!r} "
            f"{world.motor.power_w!r} {world.motor.temperature_celsius!r} {world.battery.voltage_v!r}\n"
        )

    def look_unpowered(self, world):
        self.text.write(f"{world.now_us} off {world.bicycle.distance_m!r}\n")


def golden(name: str) -> GoldenRide:
    """Return a golden ride by its name."""
    return next(ride for ride in golden_rides() if ride.name == name)


def written(name: str) -> tuple[int, int, str]:
    """Ride a golden ride; return its steps, its edges and a digest of everything written down."""
    ride = golden(name)
    watch = Everything()
    bench = bench_for(ride.bike, ride.seed, ride.clock_at_start_us)
    bench.watch(watch)
    bench.watch_edges(watch)
    bench.ride(ride.script(), ride.seconds)
    watch.text.write(f"{bench.meter.longest_run_on_s!r} {bench.meter.faults} {bench.counters.overruns}")
    return watch.steps, watch.edges, sha256(watch.text.getvalue().encode()).hexdigest()


def where_from(_: object) -> tuple[bool, bool]:
    """Tell whether controller and world of this process are compiled."""
    firmware, bench = (str(module.__file__).endswith((".so", ".pyd")) for module in (controller, world))
    return firmware, bench


def die_once(path: str) -> int:
    """End this process hard, unless `path` is there already; then return its own process number."""
    if not os.path.exists(path):
        with open(path, "w", encoding="utf-8") as file:
            file.write("died\n")
        os._exit(9)
    return os.getpid()


def die(_: object) -> None:
    """End this process hard."""
    os._exit(9)


def refuse(_: object) -> None:
    """Raise something that a user could have caused."""
    raise ValueError("not with this number")
