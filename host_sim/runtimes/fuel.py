"""What a step and an edge of the firmware cost on the 32-bit runtime, in fuel, held against a budget.

Fuel is a count of WebAssembly instructions: no time, and the same on every host. Compared with the Cortex-M0
under QEMU, whose instructions can be counted too, a unit is about 0.7 of its instructions; see README.md.
"""

import tomllib
from pathlib import Path

from host_sim.runtimes import wasm
from host_sim.runtimes.compiled import ROOT

RIDES = {"riding": "cargo_trike-brown_out", "storm": "tandem-disturbed"}
"""What is measured: an ordinary ride, and a storm of noise on a loop that comes late."""
FOLDER = Path(__file__).parent
BUDGET = ROOT / "tests" / "runtime" / "budget.toml"


class Fuel:
    """Fuel of many steps and edges. Read: `steps`, `step_mean`, `step_worst`; `edges` and so on alike."""

    def __init__(self, letters: str, marks: list[int]) -> None:
        """Take what `marked_replay.py` printed and left."""
        spent = [after - before for before, after in zip(marks[::2], marks[1::2], strict=True)]
        costs_itself = spent.pop(0)
        step_fuel = [
            fuel - costs_itself for letter, fuel in zip(letters, spent, strict=True) if letter == "s"
        ]
        edge_fuel = [
            fuel - costs_itself for letter, fuel in zip(letters, spent, strict=True) if letter == "e"
        ]
        self.steps = len(step_fuel)
        self.step_mean = round(sum(step_fuel) / len(step_fuel))
        self.step_worst = max(step_fuel)
        self.edges = len(edge_fuel)
        self.edge_mean = round(sum(edge_fuel) / len(edge_fuel))
        self.edge_worst = max(edge_fuel)

    def as_dict(self) -> dict[str, int]:
        """Return every number by name."""
        return dict(vars(self))


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
