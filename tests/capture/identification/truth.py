"""Captures of a known sensor: the bench turns the crank, with faults, and records the edges."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import pi
from random import Random

import numpy as np

from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.assemble import bench_for
from host_sim.bench.faults import FaultSpec, set_faults
from host_sim.bench.world import EdgeWatch, World
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.edges import EdgeChunk
from host_sim.plant.rider import FOLLOW

RAD_PER_S_PER_RPM = pi / 30.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """A pedal sensor and how it is turned.

    `kind` as in bike files. `errors_deg` one for each magnet, or none. `rpm` (below 0 backward) is the mean;
    it wanders slowly by `wander` (share). `ripple` is the swing of crank speed, twice a turn. `backward_s` at
    the end are turned the other way. `faults` hold from the start; `later` are pairs of a time in seconds and
    the faults that hold from then on instead.
    """

    kind: str = "two channels"
    pulses: int = 10
    a_leads: bool = True
    duty_percent: float = 50.0
    phase_deg: float = 90.0
    errors_deg: tuple[float, ...] = ()
    rpm: float = 60.0
    ripple: float = 0.1
    wander: float = 0.1
    seconds: float = 30.0
    backward_s: float = 0.0
    seed: int = 1
    faults: tuple[FaultSpec, ...] = field(default=())
    later: tuple[tuple[float, tuple[FaultSpec, ...]], ...] = ()


class _Recorder(EdgeWatch):
    def __init__(self) -> None:
        self.times_us: list[int] = []
        self.levels: list[int] = []

    def edge(self, time_us: int, levels: int) -> None:
        self.times_us.append(time_us)
        self.levels.append(levels)


def uneven_errors_deg(pulses: int, uneven: float, seed: int) -> tuple[float, ...]:
    """Return random errors of magnets glued by hand, up to `uneven` of a pitch to either side."""
    random = Random(seed)
    pitch_deg = 360.0 / pulses
    return tuple(round(random.uniform(-uneven, uneven) * pitch_deg, 4) for _ in range(pulses))


@dataclass(frozen=True, slots=True)
class Recorded:
    """A capture made on the bench: its edges in chunks, and the turns forward at its end."""

    chunks: list[EdgeChunk]
    turns: float

    def source(self) -> Iterator[EdgeChunk]:
        """Yield the edges from the start."""
        return iter(self.chunks)


def record(sensor: Sensor) -> Recorded:
    """Turn the crank of the cargo trike with this sensor on it, the wheel on a roller; return its edges."""
    world = bench_for(_bike(sensor), sensor.seed).world
    recorder = _Recorder()
    world.watch_edges(recorder)
    first_levels = world.pedal_sensor.levels
    set_faults(world, list(sensor.faults))
    _turn(world, sensor)
    times_ns = np.array([0, *recorder.times_us], np.int64) * 1000
    levels = np.array([first_levels, *recorder.levels], np.uint8)
    # As in file readers, the last level at a time counts, and only changes are edges.
    last = np.append(times_ns[1:] != times_ns[:-1], True)
    times_ns, levels = times_ns[last], levels[last]
    changed = np.append(True, levels[1:] != levels[:-1])
    chunk = EdgeChunk(times_ns[changed], levels[changed])
    return Recorded(list(_split(chunk)), world.rider.crank_rad / (2.0 * pi))


def _split(chunk: EdgeChunk, most: int = 4096) -> Iterator[EdgeChunk]:
    for first in range(0, len(chunk.times_ns), most):
        yield EdgeChunk(chunk.times_ns[first : first + most], chunk.levels[first : first + most])


def _bike(sensor: Sensor) -> Bike:
    bike = load_bike("cargo_trike")
    part = bike.pedal_sensor.model_copy(
        update={
            "kind": sensor.kind,
            "pulses_per_rev": sensor.pulses,
            "side": "right",
            "leads_on_the_right": "A" if sensor.a_leads else "B",
            "duty_percent": sensor.duty_percent,
            "phase_deg": sensor.phase_deg,
            "angle_errors_deg": list(sensor.errors_deg),
            "uneven_deg": 0.0,
            "hysteresis_deg": 0.3,
        }
    )
    rider = bike.rider.model_copy(update={"cadence_ripple": sensor.ripple})
    changed = bike.model_copy(update={"pedal_sensor": part, "rider": rider})
    changed.complete(bike.name, bike.place_profile, bike.firmware_settings)
    return changed


def _turn(world: World, sensor: Sensor) -> None:
    random = Random(sensor.seed)
    world.rider.mode = FOLLOW
    world.roller_m_per_s = 3.0
    drift = 0.0
    later = list(sensor.later)
    for step in range(round(sensor.seconds * 1e6 / CONTROL_PERIOD_US)):
        now_s = step * CONTROL_PERIOD_US * 1e-6
        if later and now_s >= later[0][0]:
            set_faults(world, list(later.pop(0)[1]))
        # A slow random walk with a restoring force: a cadence like that of a rider, not of a machine.
        drift += -drift * 0.002 + random.gauss(0.0, 1.0) * sensor.wander * 0.045
        backward = now_s >= sensor.seconds - sensor.backward_s
        rpm = sensor.rpm * min(max(1.0 + drift, 0.5), 1.5) * (-1.0 if backward else 1.0)
        world.rider.target_rad_per_s = rpm * RAD_PER_S_PER_RPM
        world.advance((step + 1) * CONTROL_PERIOD_US)
