"""Replay path vectors against the firmware, on whatever Python runs this file.

    replay_vectors.py [--no-collector] FILE...

Speaks what CPython and MicroPython both speak and imports nothing but `firmware`, the lemmas, `gc` and `sys`.
A file of `treadle prove --vectors` has a line for each path that a lemma can take,

    LEMMA|name=number,...|name=number,...

the numbers that lead down the path, and what they were predicted to come to. The lemma is run on them, its
checks included. Printed is what came out otherwise, at most a few lines, and then one line of totals:

    NAME vectors 6995 outcomes 18141 differences 0 digest 0x4ba8c

The file is larger than the heap of a microcontroller, so it is read piece by piece.
"""

import gc
import sys

from host_sim.proof.numbers import Failure, Numbers, Rejected

# Imported in this order: each then finds what it needs compiled already, for a small heap has no space for
# two
# source texts at a time.
MODULES = (
    "firmware.controller",
    "host_sim.proof.lemmas_sense",
    "tests.paths.sense",
    "host_sim.proof.lemmas_decide",
    "tests.paths.decide",
    "tests.paths.drive",
    "tests.paths.faults",
    "tests.paths.guard",
    "host_sim.proof.lemmas_wheel",
    "host_sim.proof.lemmas_motor",
    "tests.paths.motor",
    "tests.paths.doubt",
    "tests.paths.follow",
    "host_sim.proof.lemmas_whole",
    "tests.paths.derived",
)
BLOCK_BYTES = 1024  # A line at a time is read byte by byte on some Pythons.
SHOWN_MAX = 5


def no_lemma(numbers: Numbers) -> None:
    """Stand where no lemma has been found yet."""


class VectorReplay:
    """The vectors of one file. Read: `vectors`, `outcomes`, `differences`, `digest`."""

    def __init__(self, modules: "list[object]") -> None:
        """Take the modules that hold the lemmas; nothing is replayed yet."""
        self._modules = modules
        self._name = ""
        self._lemma = no_lemma
        self.vectors = 0
        self.outcomes = 0
        self.differences = 0
        self.digest = 1

    def run(self, path: str) -> None:
        """Replay every line of a file; ValueError for one that is no vector."""
        rest = ""
        with open(path, "rb") as file:
            block = file.read(BLOCK_BYTES)
            while block:
                lines = (rest + block.decode()).split("\n")
                rest = lines.pop()
                for line in lines:
                    self._replay(line)
                block = file.read(BLOCK_BYTES)
        if rest:
            raise ValueError("the file ends within line " + str(self.vectors + 1))

    def _replay(self, line: str) -> None:
        self.vectors += 1
        parts = line.split("|")
        if len(parts) != 3:
            raise ValueError("line " + str(self.vectors) + " is no path vector")
        if parts[0] != self._name:
            self._find(parts[0])
        numbers = Numbers(self._read(parts[1]))
        predicted = self._read(parts[2])
        try:
            self._lemma(numbers)
        except Failure as failure:
            self._differ("fails:", failure.what)
        except Rejected as reason:
            self._differ("does not take:", reason)
        except KeyError as missing:
            self._differ("asks for a number that is not there:", missing.args[0])
        else:
            self._compare(numbers.outcomes, predicted)

    def _find(self, name: str) -> None:
        """Look up a lemma; the lines of one lemma follow each other."""
        found = [getattr(module, name) for module in self._modules if hasattr(module, name)]
        if not found:
            raise ValueError("line " + str(self.vectors) + " asks for " + name + ", which is no lemma")
        self._name = name
        self._lemma = found[0]

    def _read(self, text: str) -> dict[str, int]:
        """Return numbers by name, written `name=number,...`; there may be none."""
        numbers = {}
        for pair in text.split(",") if text else ():
            name, _, number = pair.partition("=")
            try:
                numbers[name] = int(number)
            except ValueError:
                raise ValueError("line " + str(self.vectors) + " has no number in " + repr(pair)) from None
        return numbers

    def _compare(self, outcomes: dict[str, int], predicted: dict[str, int]) -> None:
        for name in sorted(outcomes):
            value = outcomes[name]
            self.outcomes += 1
            self.digest = (self.digest * 31 + value) & 0xFFFFF
            if value != predicted.get(name):
                self._differ(name, "is", value, "and was predicted as", predicted.get(name))
        for name in predicted:
            if name not in outcomes:
                self._differ(name, "was predicted and did not come")

    def _differ(self, *words: object) -> None:
        self.differences += 1
        if self.differences <= SHOWN_MAX:
            say("vector", self.vectors, self._name, *words)


def import_all() -> "list[object]":
    """Return the modules that hold lemmas."""
    for name in MODULES:
        __import__(name)
        if gc.isenabled():
            gc.collect()
    return [sys.modules[name] for name in MODULES[1:]]


def say(*words: object) -> None:
    """Print a line of words."""
    sys.stdout.write(" ".join([str(word) for word in words]) + "\n")


def main() -> None:
    """Replay the files named on the command line."""
    paths = sys.argv[1:]
    if paths[0] == "--no-collector":
        gc.disable()  # One runtime's collector frees what is still in use; see README.md.
        paths = paths[1:]
    modules = import_all()
    for path in paths:
        replay = VectorReplay(modules)
        replay.run(path)
        totals = ("vectors", replay.vectors, "outcomes", replay.outcomes, "differences", replay.differences)
        say(path.split("/")[-1], *totals, "digest", hex(replay.digest))


if __name__ == "__main__":
    main()
