"""The cost of a step and an edge of the firmware on the 32-bit runtime, in fuel, compared with a budget.

Fuel is a count of WebAssembly instructions: no time, and the same on every host. Compared with the Cortex-M0
under QEMU, whose instructions can be counted too, a unit is about 0.7 of its instructions; see README.md.
"""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from shutil import copyfile
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from host_sim.compiled.build import ROOT
from host_sim.testing import wasm

RIDES = {"riding": "cargo_trike-brown_out", "storm": "tandem-disturbed"}
"""What is measured: an ordinary ride, and a storm of noise on a loop that comes late."""
SCRIPTS = (
    "host_sim/forms/replay.py",
    "tests/runtime/marked_replay.py",
    "tests/runtime/marked_periods.py",
)
PATH = "/project:/scripts"  # One folder for the scripts: a longer path moves the counts by a hundredth.
PERIODS_HEAP = "64M"  # Answers at rest take memory, and nothing is collected.
BUDGET = ROOT / "tests" / "runtime" / "budget.toml"


class Spread:
    """Fuel of many steps or periods: `steps` (how many), `least`, `middle` (the median), `mean`, `worst`."""

    def __init__(self, spent: list[int]) -> None:
        """Sum up; without any step all is 0."""
        self.steps = len(spent)
        self.least = min(spent, default=0)
        self.middle = round(median(spent or [0]))
        self.mean = round(sum(spent) / max(len(spent), 1))
        self.worst = max(spent, default=0)


class Fuel:
    """Fuel of many steps and edges. Read: `steps`, `step_mean`, `step_worst`; `edges` and so on alike.

    `kinds` has the spread of all steps, of those that drive, and of those at rest.
    """

    def __init__(self, letters: str, marks: list[int]) -> None:
        """Take what `marked_replay.py` printed and left."""
        spent = [after - before for before, after in zip(marks[::2], marks[1::2], strict=True)]
        costs_itself = spent.pop(0)
        by_letter: dict[str, list[int]] = {"d": [], "e": [], "r": [], "s": []}
        for letter, fuel in zip(letters, spent, strict=True):
            by_letter[letter].append(fuel - costs_itself)
        step_fuel = by_letter["d"] + by_letter["r"] + by_letter["s"]
        edge_fuel = by_letter["e"]
        self.steps = len(step_fuel)
        self.step_mean = round(sum(step_fuel) / len(step_fuel))
        self.step_worst = max(step_fuel)
        self.edges = len(edge_fuel)
        self.edge_mean = round(sum(edge_fuel) / len(edge_fuel))
        self.edge_worst = max(edge_fuel)
        self.kinds = {
            "any": Spread(step_fuel),
            "driving": Spread(by_letter["d"]),
            "at rest": Spread(by_letter["r"]),
        }

    def as_dict(self) -> dict[str, Any]:
        """Return every number by name."""
        return {**vars(self), "kinds": {kind: dict(vars(spread)) for kind, spread in self.kinds.items()}}


def run_beside_replay(
    script: str, arguments: list[str], folders: dict[Path, str], heap: str = wasm.HEAP
) -> tuple[str, list[int]]:
    """Run a file of SCRIPTS, or one named by its whole path, with the firmware and `replay` on its path."""
    with TemporaryDirectory() as scripts:
        for name in SCRIPTS:
            copyfile(ROOT / name, Path(scripts) / Path(name).name)
        shown = {ROOT: "/project", Path(scripts): "/scripts", **folders}
        place = script if script.startswith("/") else f"/scripts/{script}"
        return wasm.run_script(place, arguments, shown, PATH, heap)


def measure(traces: list[Path]) -> Fuel:
    """Replay traces that lie in one folder and return what they cost; wasm.GuestFailed if they do not run."""
    names = [f"/traces/{trace.name}" for trace in traces]
    letters, marks = run_beside_replay("marked_replay.py", names, {traces[0].parent: "/traces"})
    return Fuel(letters, marks)


def measure_periods(trace: Path) -> Spread:
    """Replay a trace through the firmware's loop and return what whole control periods cost.

    wasm.GuestFailed if it does not run or comes to other outputs than those recorded.
    """
    names, folders = [f"/traces/{trace.name}"], {trace.parent: "/traces"}
    text, marks = run_beside_replay("marked_periods.py", names, folders, PERIODS_HEAP)
    differences, letters = text.splitlines()[-1].split(" ")
    if differences != "0":
        raise wasm.GuestFailed(f"{differences} outputs of the loop are not those recorded")
    between = zip(letters, marks, marks[1:], strict=False)  # The last mark is the end of the last period.
    return Spread([after - before for letter, before, after in between if letter != "-"])


def read_budget() -> dict[str, dict[str, int]]:
    """Return the most that each number may be, by ride and name; see RIDES."""
    with BUDGET.open("rb") as file:
        budget: dict[str, dict[str, int]] = tomllib.load(file)
    return budget


def beyond_budget(spent: Mapping[str, Fuel | Spread]) -> list[str]:
    """Return a sentence for each number that the budget does not allow."""
    budget = read_budget()
    return [
        f"{ride}: {name} is {getattr(used, name)}, allowed is {budget[ride][name]} (fuel)"
        for ride, used in spent.items()
        for name in budget[ride]
        if getattr(used, name) > budget[ride][name]
    ]
