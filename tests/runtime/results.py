"""Everything that is found out about the runtimes, in one object and in one table."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from host_sim.forms.golden import GoldenTrace
from host_sim.testing import wasm
from tests.golden_rides import golden_rides, record_all
from tests.runtime import bytecode, cortex, fuel, kernel_runs, path_vectors
from tests.runtime.calls import Calls
from tests.runtime.frames import Frame, heap_frames, why_missing
from tests.runtime.runners import Replayed, ReplayedVectors, ReplayFailed, Runtime, all_runtimes
from tests.runtime.wild import WildTrace

KERNEL_RIDE = "cargo_trike-thresholds"
WORKERS = 3


class Results:
    """Golden traces and path vectors replayed everywhere.

    Read: `traces`, `wild`; `replayed` and `vectors` (by the runtime's title: what it replayed, or why it
    can't); `kernels`, `fuel`, `periods`, `calls`, `compiled` and `frames` (what they are, or why they
    can't be).
    """

    def __init__(self, folder: Path) -> None:
        """Record all traces into `folder` and run everything; takes about a minute.

        The path vectors take another one if they are not kept; path_vectors.NotProved if there are none.
        """
        self.vector_file: Path | str = path_vectors.why_missing() or path_vectors.place_vectors(folder)
        self.traces: list[GoldenTrace] = record_all(golden_rides(), folder)
        self.wild = WildTrace(folder)
        paths = [trace.path for trace in self.traces] + [self.wild.path]
        by_name = {path.name: path for path in paths}
        runtimes = all_runtimes()
        with ThreadPoolExecutor(WORKERS) as pool:
            replays = {runtime.title: pool.submit(_replay, runtime, paths) for runtime in reversed(runtimes)}
            vectors = {
                runtime.title: pool.submit(_replay_vectors, runtime, self.vector_file) for runtime in runtimes
            }
            kernels_run = pool.submit(_kernels, by_name[KERNEL_RIDE], self.vector_file)
            calls_made = pool.submit(_calls, by_name[fuel.RIDES["riding"]])
            periods_run = pool.submit(_periods, by_name[fuel.RIDES["riding"]])
            fuel_used = pool.submit(_fuel, {ride: by_name[name] for ride, name in fuel.RIDES.items()})
            self.replayed: dict[str, list[Replayed] | str] = {
                runtime.title: replays[runtime.title].result() for runtime in runtimes
            }
            self.vectors: dict[str, ReplayedVectors | str] = {
                runtime.title: vectors[runtime.title].result() for runtime in runtimes
            }
            self.kernels: list[kernel_runs.KernelResult] | str = kernels_run.result()
            self.fuel: dict[str, fuel.Fuel] | str = fuel_used.result()
            self.periods: fuel.Spread | str = periods_run.result()
            self.calls: Calls | str = calls_made.result()
        self.compiled: dict[str, str] | str = bytecode.why_missing() or bytecode.compile_all()
        self.frames: list[Frame] | str = _frames()

    @property
    def steps(self) -> int:
        """Steps in all traces."""
        return sum(trace.steps for trace in self.traces) + self.wild.steps

    @property
    def edges(self) -> int:
        """Edges in all traces."""
        return sum(trace.edges for trace in self.traces) + self.wild.edges

    def holds(self) -> bool:
        """Tell whether all that could be run is equal, allocates no memory, compiles and keeps its budget."""
        replays = [one for result in self.replayed.values() if isinstance(result, list) for one in result]
        vectors = [one for one in self.vectors.values() if isinstance(one, ReplayedVectors)]
        components = self.kernels if isinstance(self.kernels, list) else []
        compiled = self.compiled if isinstance(self.compiled, dict) else {}
        return (
            all(one.differences == 0 and one.allocations == 0 for one in replays)
            and all(one.differences == 0 for one in vectors)
            and len({(one.vectors, one.digest) for one in vectors}) <= 1
            and all(component.equal and component.vectors_equal for component in components)
            and not any(compiled.values())
            and (
                isinstance(self.fuel, str)
                or isinstance(self.periods, str)
                or not fuel.beyond_budget({**self.fuel, "period": self.periods})
            )
        )

    def as_dict(self) -> dict[str, Any]:
        """Return everything as plain values, with the reason where something could not be run."""
        replayed: dict[str, Any] = {}
        for title, result in self.replayed.items():
            replayed[title] = result if isinstance(result, str) else _sums(result)
        vectors: dict[str, Any] = {}
        for title, one in self.vectors.items():
            vectors[title] = one if isinstance(one, str) else vars(one)
        components, spent, frames, calls = self.kernels, self.fuel, self.frames, self.calls
        return {
            "rides": len(self.traces) + 1,
            "steps": self.steps,
            "edges": self.edges,
            "replayed": replayed,
            "path_vectors": vectors,
            "cortex_m0": components
            if isinstance(components, str)
            else {one.name: vars(one) for one in components},
            "fuel": spent if isinstance(spent, str) else {ride: one.as_dict() for ride, one in spent.items()},
            "fuel_budget": fuel.read_budget(),
            "fuel_of_a_period": self.periods if isinstance(self.periods, str) else vars(self.periods),
            "calls": calls if isinstance(calls, str) else vars(calls),
            "mpy_cross": self.compiled,
            "frames_on_the_heap": frames if isinstance(frames, str) else [str(frame) for frame in frames],
            "holds": self.holds(),
        }


def _sums(result: list[Replayed]) -> dict[str, int]:
    names = ("steps", "edges", "differences", "allocations")
    return {name: sum(getattr(one, name) for one in result) for name in names}


def _replay(runtime: Runtime, paths: list[Path]) -> list[Replayed] | str:
    reason = runtime.why_missing()
    if reason:
        return reason
    try:
        return runtime.replay(paths)
    except ReplayFailed as failure:
        raise ReplayFailed(f"{runtime.title}: {failure}") from None


def _replay_vectors(runtime: Runtime, vectors: Path | str) -> ReplayedVectors | str:
    if isinstance(vectors, str):
        return vectors
    reason = runtime.why_missing()
    if reason:
        return reason
    try:
        return runtime.replay_vectors(vectors)
    except ReplayFailed as failure:
        raise ReplayFailed(f"{runtime.title}: {failure}") from None


def _kernels(path: Path, vectors: Path | str) -> list[kernel_runs.KernelResult] | str:
    return cortex.why_missing() or kernel_runs.run_kernels(path, vectors)


def _fuel(paths: dict[str, Path]) -> dict[str, fuel.Fuel] | str:
    return wasm.why_missing() or {ride: fuel.measure([path]) for ride, path in paths.items()}


def _periods(path: Path) -> fuel.Spread | str:
    return wasm.why_missing() or fuel.measure_periods(path)


def _calls(path: Path) -> Calls | str:
    return wasm.why_missing() or Calls(path)


def _frames() -> list[Frame] | str:
    return why_missing() or heap_frames()
