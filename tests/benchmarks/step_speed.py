"""Ratios of speed side by side, in one run. No test: such numbers belong to a machine.

    uv run --with simple-pid python -m tests.benchmarks.step_speed [--plot FILE.png]

Our whole controller step against one call of a plain PID library, which does a hundredth of the work; the
whole bench against scipy and python-control simulating a first-order lag; interpreted against compiled;
edge-driven against a plant stepped at a fixed 1 kHz; and, with --plot, cost and memory over 10 s to 10 h.
"""

import argparse
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from host_sim.compiled.workers import Workers
from tests.benchmarks.measured import LAG_S, best, long_ride, ride_s, step_ns, stepped, with_pulses

SIMULATED_S, PERIOD_S = 60.0, 0.005
LENGTHS_S = (10.0, 60.0, 600.0, 3600.0, 36_000.0)
PULSES = (4, 8, 16, 32, 64)


def pid_ns() -> float | None:
    """Return ns of one call of a plain PID, or None if the library is not here."""
    if find_spec("simple_pid") is None:
        return None
    pid = import_module("simple_pid").PID(1.0, 0.5, 0.0, setpoint=250.0, sample_time=None)
    pid.output_limits = (0, 3600)

    def calls() -> None:
        for _ in range(20_000):
            pid(200.0, dt=PERIOD_S)

    return best(calls) / 20_000 * 1e9


def linear_s() -> dict[str, float]:
    """Return processor time per simulated second of a first-order lag, in periods of 5 ms."""
    signal, control = import_module("scipy.signal"), import_module("control")
    times = np.arange(0.0, SIMULATED_S, PERIOD_S)
    inputs = np.where(times > 1.0, 1.0, 0.0)
    system = control.tf([1.0], [LAG_S, 1.0])
    return {
        "scipy lsim": best(lambda: signal.lsim(([1.0], [LAG_S, 1.0]), inputs, times)) / SIMULATED_S,
        "control forced_response": best(lambda: control.forced_response(system, times, inputs)) / SIMULATED_S,
    }


def print_ratios(workers: Workers) -> None:
    """Print everything that needs no picture."""
    (resting, riding), (slow_rest, slow_ride) = next(workers.map(step_ns, [100_000])), step_ns(2_000)
    pid = pid_ns()
    print("controller step with a first-order plant, ns      at rest    riding")
    print(f"  interpreted                                  {slow_rest:>10.0f}{slow_ride:>10.0f}")
    print(f"  compiled                                     {resting:>10.0f}{riding:>10.0f}")
    ratios = f"{slow_rest / resting:>10.1f}{slow_ride / riding:>10.1f}"
    print(f"  interpreted / compiled                       {ratios}")
    if pid is None:
        print("  one call of a plain PID: not measured, run with `uv run --with simple-pid`")
    else:
        print(f"  one call of a plain PID (interpreted)        {pid:>10.0f}")
        print(f"  our compiled step / that call                {resting / pid:>10.2f}{riding / pid:>10.2f}")
    compiled, interpreted = next(workers.map(ride_s, [SIMULATED_S])), ride_s(SIMULATED_S)
    print("\nper simulated second, us                                        times real time")
    rows = {
        "whole bench, compiled": compiled / SIMULATED_S,
        "whole bench, interpreted": interpreted / SIMULATED_S,
        **{f"{name}, first-order lag": value for name, value in linear_s().items()},
    }
    for name, value in rows.items():
        print(f"  {name:<44}{value * 1e6:>10.1f}{1.0 / value:>20.0f}")
    print_steps(workers)


def print_steps(workers: Workers) -> None:
    """Print what edge-driven steps of 5 ms save against a fixed 1 kHz, and whether the edges are the same."""
    driven, fixed = workers.map(stepped, [5_000, 1_000], batch=1)
    pairs = zip(driven[1], fixed[1], strict=False)
    apart_us = max(abs(one[0] - two[0]) if one[1] == two[1] else 10**9 for one, two in pairs)
    same = len(driven[1]) == len(fixed[1]) and apart_us <= 1
    print("\n60 s on a roller, compiled: edge-driven (steps of 5 ms) against fixed 1 kHz")
    print(f"  fixed / edge-driven {fixed[0] / driven[0]:.2f}")
    print(f"  {len(driven[1])} edges of the evenly turning crank, at most {apart_us} us apart")
    print(f"  claimed equal within 1 us, {'which holds' if same else 'WHICH DOES NOT HOLD'}")
    print(f"  battery energy, where the step counts (not claimed equal): {fixed[2] / driven[2] - 1.0:+.3%}")


def plot(workers: Workers, path: Path) -> None:
    """Draw cost over time, memory over time, and cost over edges."""
    from matplotlib.figure import Figure

    lengths = list(workers.map(long_ride, LENGTHS_S, batch=1))
    edges = list(workers.map(with_pulses, PULSES, batch=1))
    figure = Figure(figsize=(11, 3.6), layout="constrained")
    left, middle, right = figure.subplots(1, 3)
    left.loglog(LENGTHS_S, [cost for cost, _ in lengths], "o-", color="#1f5a8a")
    left.loglog(LENGTHS_S, [length / 10_000 for length in LENGTHS_S], "--", color="#c0392b", linewidth=1)
    left.set(title="cost grows with the time ridden", xlabel="simulated, s", ylabel="processor time, s")
    left.text(12, 0.3, "dashed: 10,000 times real time", color="#c0392b", fontsize=8)
    middle.semilogx(LENGTHS_S, [memory for _, memory in lengths], "o-", color="#1f5a8a")
    middle.set(title="memory does not", xlabel="simulated, s", ylabel="most memory of the process, MiB")
    middle.set_ylim(0, 1.3 * max(memory for _, memory in lengths))
    right.plot(
        [count for count, _ in edges], [cost / 120_000 * 1e9 for _, cost in edges], "o-", color="#1f5a8a"
    )
    right.set(
        title="an edge costs the same, few or many", xlabel="edges a second", ylabel="ns a control period"
    )
    right.set_ylim(0)
    for axes in (left, middle, right):
        axes.grid(alpha=0.3)
    figure.savefig(path, dpi=120)
    for length, (cost, memory) in zip(LENGTHS_S, lengths, strict=True):
        print(f"  {length:>8.0f} s {cost:>8.3f} s {length / cost:>8.0f} times {memory:>7.1f} MiB")
    for count, cost in edges:
        print(f"  {count:>8.0f} edges a second {cost / 120_000 * 1e9:>8.0f} ns a period")


def main() -> None:
    """Measure, print and, if asked, draw."""
    parser = argparse.ArgumentParser(description="Ratios of speed, side by side.")
    parser.add_argument("--plot", type=Path, help="also draw cost and memory over 10 s to 10 h (PNG)")
    arguments = parser.parse_args()
    with Workers(1) as workers:
        if workers.notice:
            print(workers.notice)
        print_ratios(workers)
        if arguments.plot:
            print("\nsimulated, processor time, speed, memory; then edges")
            plot(workers, arguments.plot)


if __name__ == "__main__":
    main()
