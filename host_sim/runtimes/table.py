"""The results as a table for people, in Markdown."""

from host_sim.runtimes import fuel
from host_sim.runtimes.results import Results
from host_sim.runtimes.runners import Runtime, all_runtimes

FUEL_LINES = (
    ("riding", "step_mean", "one whole step of an ordinary ride, on average"),
    ("riding", "step_worst", "the worst whole step of that ride"),
    ("storm", "step_worst", "the worst step in a storm of 1000 noise edges a second, on a loop 0.1 s late"),
    ("storm", "edge_worst", "one edge recorded by the interrupt, at worst"),
)


def table(results: Results) -> str:
    """Return the tables, ready to be put into a page."""
    lines = [
        f"{len(results.traces) + 1} rides, {results.steps} control steps, {results.edges} edges; "
        "the outputs recorded on the bench against those of each runtime:",
        "",
        "| runtime | what was replayed | outputs that differ | steps and edges that took memory |",
        "|---|---|---|---|",
    ]
    lines += [_replayed(runtime, results) for runtime in all_runtimes()]
    lines += _kernels(results)
    lines += ["", "| cost on MicroPython, 32-bit | fuel | budget |", "|---|---|---|"]
    lines += _fuel(results)
    lines += ["", _compiled(results), "", _frames(results)]
    return "\n".join(lines)


def _replayed(runtime: Runtime, results: Results) -> str:
    result = results.replayed[runtime.title]
    if isinstance(result, str):
        return f"| {runtime.title} | not run: {result} | | |"
    steps = sum(one.steps for one in result)
    differences = sum(one.differences for one in result)
    memory = sum(one.allocations for one in result) if runtime.counts_memory else "not counted"
    return f"| {runtime.title} | all rides, {steps} steps | {differences} | {memory} |"


def _kernels(results: Results) -> list[str]:
    title = "Cortex-M0 under QEMU"
    if isinstance(results.kernels, str):
        return [f"| {title} | not run: {results.kernels} | | |"]
    return [
        f"| {title} | {room.name}, {room.calls} calls | {'none' if room.equal else 'yes'} | not counted |"
        for room in results.kernels
    ]


def _fuel(results: Results) -> list[str]:
    if isinstance(results.fuel, str):
        return [f"| not measured: {results.fuel} | | |"]
    budget = fuel.read_budget()
    spent = results.fuel
    return [
        f"| {words} | {getattr(spent[ride], name)} | {budget[ride][name]} |"
        for ride, name, words in FUEL_LINES
    ]


def _compiled(results: Results) -> str:
    if isinstance(results.compiled, str):
        return f"mpy-cross was not run: {results.compiled}."
    refused = [name for name, complaint in results.compiled.items() if complaint]
    return f"mpy-cross with 31-bit small integers compiles {len(results.compiled) - len(refused)} of " + (
        f"{len(results.compiled)} firmware files."
    )


def _frames(results: Results) -> str:
    if isinstance(results.frames, str):
        return f"The frames were not looked at: {results.frames}."
    names = ", ".join(str(frame) for frame in results.frames) or "none"
    return (
        f"Functions of a step whose frame is too large for the stack and is borrowed from the heap: {names}."
    )
