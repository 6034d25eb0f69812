"""Captures with a known sensor, and a short way to look at them."""

from pathlib import Path
from typing import Any

from host_sim.bench.faults import FaultSpec
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.findings import Inspection
from host_sim.capture.writers import CaptureWriter
from tests.capture.identification.truth import Recorded, Sensor, record, uneven_errors_deg

FORWARD_S = (2.0, 10.0)


def sensor(**keys: Any) -> Sensor:
    """Return a sensor with ten magnets placed by hand, within 4 % of a pitch, except for `keys`."""
    pulses = keys.get("pulses", 10)
    return Sensor(**{"errors_deg": uneven_errors_deg(pulses, 0.04, 3), **keys})


def look(
    turned: Sensor, turns: float | None = None, forward_s: tuple[float, float] | None = FORWARD_S
) -> Inspection:
    """Record and inspect."""
    return look_at(record(turned), turned, turns, forward_s)


def look_at(
    recorded: Recorded,
    turned: Sensor,
    turns: float | None = None,
    forward_s: tuple[float, float] | None = FORWARD_S,
) -> Inspection:
    """Inspect a recorded capture."""
    in_file = 2 if turned.kind == "two channels" else 1
    return inspect_edges(recorded.source, in_file, Told(forward_s, turns))


def write(recorded: Recorded, path: Path, channels: int = 2) -> Path:
    """Write a recorded capture as VCD or CSV."""
    with path.open("w", encoding="utf-8") as file:
        writer = CaptureWriter(file, path.suffix, int(recorded.chunks[0].levels[0]), channels)
        for chunk in recorded.chunks:
            for time_ns, levels in zip(chunk.times_ns.tolist(), chunk.levels.tolist(), strict=True):
                writer.edge(time_ns // 1000, levels)
        writer.end(time_ns // 1000)
    return path


def noise(per_s: float) -> FaultSpec:
    """Return a fault: noise pulses of up to 2 ms, so many per second."""
    return FaultSpec("noise", per_s=per_s)


def missing(magnet: int) -> FaultSpec:
    """Return a fault: a magnet, counted from 1, is missing."""
    return FaultSpec("magnet missing", magnet=magnet)


def weak(magnet: int, strength: float) -> FaultSpec:
    """Return a fault: the pulse of a magnet is reduced to `strength`."""
    return FaultSpec("magnet weak", magnet=magnet, strength=strength)
