"""What a step and an edge of the firmware cost on the 32-bit runtime, in fuel, held against a budget.

Fuel is a count of WebAssembly instructions: no time, and the same on every host. Compared with the Cortex-M0
under QEMU, whose instructions can be counted too, a unit is about 0.7 of its instructions; see README.md.
"""

import tomllib
from pathlib import Path

from host_sim.runtimes import wasm
from host_sim.runtimes.compiled import ROOT

FOLDER = Path(__file__).parent
BUDGET = ROOT / "tests" / "runtime" / "budget.toml"


class Fuel:
    """Fuel of many steps and edges. Read: `steps`, `step_mean`, `step_worst`, `edges`, `edge_worst`."""

    def __init__(self, letters: str, marks: list[int]) -> None:
        """Take what `marked_replay.py` printed and left."""
        spent = [after - before for before, after in zip(marks[::2], marks[1::2], strict=True)]
        costs_itself = spent.pop(0)
        step_fuel = [fuel - costs_itself for letter, fuel in zip(letters, spent, strict=True) if letter == "s"]
        edge_fuel = [fuel - costs_itself for letter, fuel in zip(letters, spent, strict=True) if letter == "e"]
        self.steps = len(step_fuel)
        self.step_mean = round(sum(step_fuel) / len(step_fuel))
        self.step_worst = max(step_fuel)
        self.edges = len(edge_fuel)
        self.edge_mean = round(sum(edge_fuel) / len(edge_fuel))
        self.edge_worst = max(edge_fuel)

    def beyond_budget(self) -> dict[str, int]:
        """Return the numbers that the budget does not allow, by name."""
        return {name: getattr(self, name) for name, most in read_budget().items() if getattr(self, name) > most}

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


def read_budget() -> dict[str, int]:
    """Return the most that each number may be, by name."""
    with BUDGET.open("rb") as file:
        fuel: dict[str, int] = tomllib.load(file)["fuel"]
    return fuel
