"""What a step and an edge of the firmware cost on the 32-bit runtime, in fuel, held against a budget.

Fuel is a count of WebAssembly instructions: no time, and the same on every host. Compared with the Cortex-M0
under QEMU, whose instructions can be counted too, a unit is about 0.7 of its instructions; see README.md.
"""

import tomllib
from pathlib import Path
from statistics import median
from typing import Any

from host_sim.runtimes import wasm
from host_sim.runtimes.compiled import ROOT

RIDES = {"riding": "cargo_trike-brown_out", "storm": "tandem-disturbed"}
"""What is measured: an ordinary ride, and a storm of noise on a loop that comes late."""
FOLDER = Path(__file__).parent
STEP_GOAL = 60_000  # What was hoped for when the project began: about 1 ms on a Pico at 125 MHz.
BUDGET = ROOT / "tests" / "runtime" / "budget.toml"


class Spread:
    """Fuel of steps of one kind. Read: `steps` (how many), `least`, `middle` (the median), `worst`."""

    def __init__(self, spent: list[int]) -> None:
        """Sum up; without any step all is 0."""
        self.steps = len(spent)
        self.least = min(spent, default=0)
        self.middle = round(median(spent or [0]))
        self.worst = max(spent, default=0)


class Fuel:
    """Fuel of many steps and edges. Read: `steps`, `step_mean`, `step_worst`; `edges` and so on alike.

    `kinds` has the spread of all steps, of those that drive, and of those at rest. `steps_within_goal` is how
    many steps keep STEP_GOAL.
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
        self.steps_within_goal = sum(fuel <= STEP_GOAL for fuel in step_fuel)
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


def measure(traces: list[Path]) -> Fuel:
    """Replay traces that lie in one folder and return what they cost; wasm.GuestFailed if they do not run."""
    here = f"/project/{FOLDER.relative_to(ROOT).as_posix()}"
    names = [f"/traces/{trace.name}" for trace in traces]
    folders = {ROOT: "/project", traces[0].parent: "/traces"}
    letters, marks = wasm.run_script(f"{here}/marked_replay.py", names, folders, f"/project:{here}")
    return Fuel(letters, marks)


def read_budget() -> dict[str, dict[str, int]]:
    """Return the most that each number may be, by ride and name; see RIDES."""
    with BUDGET.open("rb") as file:
        budget: dict[str, dict[str, int]] = tomllib.load(file)
    return budget


def beyond_budget(spent: dict[str, Fuel]) -> list[str]:
    """Return a sentence for each number that the budget does not allow."""
    return [
        f"{ride}: {name} is {getattr(spent[ride], name)}, allowed is {most} (fuel)"
        for ride, allowed in read_budget().items()
        for name, most in allowed.items()
        if getattr(spent[ride], name) > most
    ]
