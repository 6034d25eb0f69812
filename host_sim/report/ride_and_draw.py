"""Rides a script on a bench, records its trace, and draws the picture."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from firmware.decide.engagement import ASSISTING
from host_sim.bench.ride import Bench
from host_sim.bench.script import Script
from host_sim.bench.trace import EdgeWindow, Trace
from host_sim.bikes.model import Bike
from host_sim.rules.worst_moment import MomentWindow, whole_second


@dataclass(frozen=True, slots=True)
class Worst:
    """When a rule's worst case happened, and its label."""

    moment_us: int
    words: str


def ride_and_draw(
    bench: Bench,
    bike: Bike,
    script: Script,
    seconds: float,
    title: str,
    trace_path: Path,
    picture_path: Path,
    worst: Worst | None = None,
    estimated: Sequence[str] = (),
) -> tuple[EdgeWindow, float]:
    """Ride, write trace and picture; return the edges of the second that is enlarged, and wall time.

    That is the second of the first engagement, or of `worst` where there is one. `estimated` names what a
    recording did not hold: trace and picture say so.
    """
    # Not at the top: drawing takes a second to load, and a wrong request is refused at once.
    from host_sim.report.ride_facts import RideFacts
    from host_sim.report.ride_figure import draw_ride

    levels = bench.world.pedal_sensor.levels
    window = EdgeWindow(ASSISTING, levels)
    if worst is not None:
        window = MomentWindow(whole_second(worst.moment_us, seconds), levels)
    with trace_path.open("w", encoding="utf-8") as file:
        bench.watch(Trace(file, "rider power" in estimated))
        bench.watch(window)
        bench.watch_edges(window)
        started_s = time.perf_counter()
        bench.ride(script, seconds)
        wall_s = time.perf_counter() - started_s
    facts = RideFacts(
        bike=bike.title,
        ride=title,
        seconds=seconds,
        settings=bike.firmware_settings,
        events=bench.meter.events,
        edges=window.edges,
        edges_before=window.before,
        edges_centre_us=window.centre_us,
        lowest_gear_m=bike.bicycle.development_low_m,
        worst=None if worst is None else (worst.moment_us, worst.words),
        estimated=estimated,
    )
    draw_ride(trace_path, facts, picture_path)
    return window, wall_s
