"""The results as tables for people, in Markdown, and the block of EVIDENCE.md that holds them."""

from pathlib import Path
from textwrap import fill

from host_sim.compiled.build import ROOT
from tests.runtime import fuel
from tests.runtime.kernel_runs import KernelResult
from tests.runtime.results import Results
from tests.runtime.runners import ReplayedVectors, Runtime, all_runtimes

WIDTH = 130
EVIDENCE = ROOT / "tests/EVIDENCE.md"
BEGIN = "<!-- runtimes: written by `uv run python -m tests.runtime --readme`, do not edit -->\n"
END = "<!-- end of the runtimes -->\n"
RUNTIME_COLUMNS = (
    "runtime",
    "what was replayed",
    "outputs that differ",
    "steps and edges that took memory",
    "path vectors",
    "of these otherwise",
)
BUDGET_LINES = (
    ("riding", "step_mean", "a whole step of an ordinary ride, the mean"),
    ("riding", "step_worst", "a whole step of that ride, the worst"),
    (
        "storm",
        "step_worst",
        "a whole step in a storm of 1000 noise edges a second, on a loop 0.1 s late, the worst",
    ),
    ("storm", "edge_worst", "one edge recorded by the interrupt, the worst"),
    ("period", "mean", "a whole period of the ordinary ride (loop, edges, step, link), the mean"),
    ("period", "worst", "a whole period of that ride, the worst"),
)
SPREAD_LINES = (
    ("riding", "at rest", "a step at rest"),
    ("riding", "driving", "a step that drives, in an ordinary ride"),
    ("riding", "any", "any step of that ride"),
    ("storm", "any", "any step in the storm"),
)
NOT_SHOWN = (
    "None of this shows the timing of a real board, its converters or its interrupts: those are measured on "
    "the board."
)


def table(results: Results) -> str:
    """Return the tables, ready to be put into a page."""
    lines = [
        _wrapped(
            "**The same firmware on every runtime.** "
            f"{len(results.traces) + 1} rides, {results.steps:,} control steps, {results.edges:,} edges: "
            "the outputs of each runtime against those recorded on the bench. Path vectors: for every path "
            "that the proofs found, numbers that lead down it, against what the solver predicts."
        ),
        "",
        _row(*RUNTIME_COLUMNS),
        "|" + "---|" * len(RUNTIME_COLUMNS),
    ]
    lines += [_replayed(runtime, results) for runtime in all_runtimes()]
    lines += _kernels(results)
    lines += ["", *_spreads(results), "", *_budget(results), "", _wrapped(_calls(results))]
    lines += ["", _wrapped(_compiled(results)), "", _wrapped(_frames(results)), "", NOT_SHOWN]
    return "\n".join(lines)


def with_table(text: str, results: Results) -> str:
    """Return the text of EVIDENCE.md with the present tables between its two marks."""
    before, rest = text.split(BEGIN)
    after = rest.split(END)[1]
    return f"{before}{BEGIN}{table(results)}\n{END}{after}"


def rewrite_evidence(results: Results, evidence: Path = EVIDENCE) -> None:
    """Put the present tables into EVIDENCE.md."""
    evidence.write_text(
        with_table(evidence.read_text(encoding="utf-8"), results), encoding="utf-8", newline="\n"
    )


def _wrapped(text: str) -> str:
    return fill(text, WIDTH, break_long_words=False, break_on_hyphens=False)


def _row(*cells: object) -> str:
    """Return one row of a table with as many columns as RUNTIME_COLUMNS, the last ones empty if necessary."""
    filled = [f" {cell} " for cell in cells] + [" "] * (len(RUNTIME_COLUMNS) - len(cells))
    return f"|{'|'.join(filled)}|"


def _replayed(runtime: Runtime, results: Results) -> str:
    result = results.replayed[runtime.title]
    vectors = results.vectors[runtime.title]
    if isinstance(result, str):
        return _row(runtime.title, f"not run: {result}")
    steps = sum(one.steps for one in result)
    differences = sum(one.differences for one in result)
    memory = sum(one.allocations for one in result) if runtime.counts_memory else "not counted"
    paths = [f"not run: {vectors}"]
    if isinstance(vectors, ReplayedVectors):
        paths = [f"all {vectors.vectors:,}", str(vectors.differences)]
    return _row(runtime.title, f"all rides, {steps:,} steps", differences, memory, *paths)


def _kernels(results: Results) -> list[str]:
    title = "Cortex-M0 under QEMU"
    if isinstance(results.kernels, str):
        return [_row(title, f"not run: {results.kernels}")]
    return [_kernel(title, room) for room in results.kernels]


def _kernel(title: str, room: KernelResult) -> str:
    paths = [f"not run: {room.vectors}"]
    if isinstance(room.vectors, int):
        paths = [f"its {room.vectors:,}", _some(room.vectors_equal)]
    calls = f"{room.name}, {room.calls} calls"
    return _row(title, calls, _some(room.equal), "not counted", *paths)


def _some(equal: bool) -> str:
    return "none" if equal else "some"


def _spreads(results: Results) -> list[str]:
    lines = ["| fuel on MicroPython, 32-bit | steps | least | median | worst |", "|---|---|---|---|---|"]
    if isinstance(results.fuel, str):
        return [*lines, f"| not measured: {results.fuel} | | | | |"]
    for ride, kind, words in SPREAD_LINES:
        spread = results.fuel[ride].kinds[kind]
        lines.append(
            f"| {words} | {spread.steps:,} | {spread.least:,} | {spread.middle:,} | {spread.worst:,} |"
        )
    return lines


def _budget(results: Results) -> list[str]:
    lines = ["| compared with the budget | fuel | budget |", "|---|---|---|"]
    if isinstance(results.fuel, str) or isinstance(results.periods, str):
        return [*lines, f"| not measured: {results.fuel} | | |"]
    budget = fuel.read_budget()
    spent = {**results.fuel, "period": results.periods}
    for ride, name, words in BUDGET_LINES:
        lines.append(f"| {words} | {getattr(spent[ride], name):,} | {budget[ride][name]:,} |")
    return lines


def _calls(results: Results) -> str:
    """Say why a step costs what it costs."""
    if isinstance(results.calls, str):
        return f"Calls were not counted: {results.calls}."
    calls = results.calls
    return (
        f"A step that drives makes {calls.per_step} calls of functions and methods; {calls.per_step} calls "
        f"of an empty one take {calls.per_step * calls.fuel:,} by themselves."
    )


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
    if not results.frames:
        return "The frame of every function of a step lies on the stack, and none is borrowed from the heap."
    names = ", ".join(str(frame) for frame in results.frames)
    return (
        f"Functions of a step whose frame is too large for the stack and is borrowed from the heap: {names}. "
        "The search for it is not in the fuel above, which is counted with the heap locked."
    )
