"""How many times faster than real time a ride is, and how flat its memory: ratios side by side.

`uv run python -m tests.benchmarks.ride_speed`. No test: a number of this kind belongs to a machine.
"""

import io
import time
import tracemalloc

from host_sim.bench.assemble import bench_for
from host_sim.bench.recording import read_recording
from host_sim.bench.script import RecordingScript
from host_sim.bench.trace import Trace
from host_sim.bikes.load import example_names, load_bike

SECONDS = (60, 300, 1500)


class Nowhere(io.StringIO):
    """A file that forgets, so that the trace costs its making and nothing else."""

    def write(self, text: str) -> int:
        """Forget the text."""
        return len(text)


def ride(name: str, seconds: int) -> None:
    """Ride the recorded road ride for so long, trace included."""
    bench = bench_for(load_bike(name), seed=1)
    bench.watch(Trace(Nowhere()))
    bench.ride(RecordingScript(read_recording("road_ride_a")), seconds)


def main() -> None:
    """Print one line for each bike: times real time, and peak memory as a share of the shortest ride's."""
    print("times real time, interpreted, trace included" + " " * 10 + "peak memory, shortest ride = 1")
    print(f"{'bike':<14}" + "".join(f"{seconds:>8} s" for seconds in SECONDS) * 2)
    for name in example_names():
        speeds, peaks = [], []
        for seconds in SECONDS:
            started_s = time.perf_counter()
            ride(name, seconds)
            speeds.append(seconds / (time.perf_counter() - started_s))
            tracemalloc.start()
            ride(name, min(seconds, 600))  # Traced memory is slow: ten minutes show it.
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
        line = "".join(f"{speed:>10.0f}" for speed in speeds)
        line += "".join(f"{peak / peaks[0]:>10.2f}" for peak in peaks)
        print(f"{name:<14}{line}")


if __name__ == "__main__":
    main()
