"""Rides a bike for a test: an example bike with some keys changed, stretches, and the result.

Nothing is judged here. `Sample` holds one control period as the plant had it; time in seconds.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from firmware.controller import Controller
from firmware.decide.engagement import STATE_NAMES
from firmware.records import Outputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.course import load_course
from host_sim.bench.recording import read_recording
from host_sim.bench.ride import Bench
from host_sim.bench.script import CourseScript, RecordingScript, Script
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.trace import Trace
from host_sim.bench.world import EdgeWatch, World
from host_sim.bikes.fit import check_fit
from host_sim.bikes.load import BIKES
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.places.limits import load_place
from host_sim.tomlfile import read_toml


def bike_with(name: str = "cargo_trike", **changes: Any) -> Bike:
    """Return an example bike; `changes` are sections of its file, each a dict of new values."""
    data = read_toml(BIKES / f"{name}.toml")
    for section, values in changes.items():
        data[section] = {**data.get(section, {}), **values} if isinstance(values, dict) else values
    bike = Bike.model_validate(data)
    place = load_place(bike.place)
    check_fit(bike, place)
    bike.complete(name, place, settings_from(bike, place))
    return bike


def course(tmp_path: Path, seconds: float, *stretches: str) -> CourseScript:
    """Write a course file of stretches, each in the file's own words, and return it ready to ride."""
    text = f'title = "A test"\nseconds = {seconds}\n'
    for stretch in stretches:
        lines = stretch.replace("; ", "\n")
        text += f"\n[[stretch]]\n{lines}\n"
    path = tmp_path / "test_course.toml"
    path.write_text(text, encoding="utf-8")
    return CourseScript(load_course(path))


def example(name: str) -> CourseScript:
    """Return a course that comes with the package."""
    return CourseScript(load_course(name))


def recorded(name: str) -> RecordingScript:
    """Return a recording that comes with the package."""
    return RecordingScript(read_recording(name))


class Sample:
    """One control period."""

    def __init__(self, world: World, controller: Controller, outputs: Outputs) -> None:
        self.time_s = world.now_us / 1e6
        self.command_mv = outputs.command_mv
        self.state = STATE_NAMES[controller.engagement.state]
        self.speed_km_per_h = world.bicycle.speed_m_per_s * 3.6
        self.crank_rpm = world.rider.crank_rad_per_s * 9.549296585513721
        self.driving = world.motor.assisting()
        self.power_w = world.motor.power_w
        self.wanted_w = controller.request.wanted_w
        self.current_ma = controller.supply.current_ma
        self.fault = outputs.fault_cause


class Log(StepWatch, EdgeWatch):
    """Keeps every control period and every crank edge of a ride."""

    def __init__(self) -> None:
        self.samples: list[Sample] = []
        self.edges: list[tuple[int, int]] = []
        self.unpowered_s: list[float] = []

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        self.samples.append(Sample(self._world, self._controller, outputs))

    def look_unpowered(self, world: World) -> None:
        self.unpowered_s.append(world.now_us / 1e6)

    def edge(self, time_us: int, levels: int) -> None:
        self.edges.append((time_us, levels))


class Ridden:
    """A ride that is over: the bench, its meter, every period, and the trace as text."""

    def __init__(self, bike: Bike, script: Script, seconds: float | None = None, seed: int = 1) -> None:
        self.bench: Bench = bench_for(bike, seed)
        self.meter = self.bench.meter
        self.log = Log()
        self.bench.watch(self.log)
        self.bench.watch_edges(self.log)
        file = io.StringIO()
        self.bench.watch(Trace(file))
        self.bench.ride(script, script.seconds if seconds is None else seconds)
        self.trace = file.getvalue()
        self.samples = self.log.samples

    def during(self, start_s: float, end_s: float) -> list[Sample]:
        """Return the periods of a span; a span without any fails, so that no empty test passes."""
        found = [sample for sample in self.samples if start_s <= sample.time_s <= end_s]
        assert found
        return found

    def drove(self, start_s: float, end_s: float) -> bool:
        """Whether the motor helped at any time of a span."""
        return any(sample.driving for sample in self.during(start_s, end_s))

    def commanded(self, start_s: float, end_s: float) -> bool:
        """Whether any command went out in a span."""
        return any(sample.command_mv > 0 for sample in self.during(start_s, end_s))

    def last_driven_s(self, start_s: float, end_s: float) -> float:
        """Return the last time in a span at which the motor helped."""
        return max(sample.time_s for sample in self.during(start_s, end_s) if sample.driving)
