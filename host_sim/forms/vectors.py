"""Vectors: a controller's inputs, step by step, and its outputs.

A file of vectors is a sequence of little-endian words of 32 bits. A record begins with its kind:

| kind | what follows |
|---|---|
| 1, a step | now_us, how many crank and wheel edges, inputs, edges (levels, time_us), outputs, the digest |
| 2, a life | now_us; the settings; the digest of what was built |
| 3, a question | settings, legal or not; 1 if they are legal, else 0 |
| 4, the end | how many records came before |

The digest is the CRC-32 of every number and boolean in the controller and in its inputs, lists included, each
as a word, in the order of the fields. So a vector holds the whole state, and not only the outputs.
"""

import zlib
from collections.abc import Callable, Iterable, Iterator
from itertools import groupby
from operator import attrgetter
from struct import Struct
from typing import Any, BinaryIO

from firmware.controller import Controller
from firmware.records import EdgeLog, Inputs, Outputs
from firmware.settings import TABLE, Settings
from host_sim.forms.model import Class, Program
from host_sim.forms.replay import Replay

STEP, LIFE, QUESTION, END = 1, 2, 3, 4
Edge = tuple[int, int]


def plain_fields(kind: Class) -> list[str]:
    """Return the names of the ints and bools of a class, in the order of its fields."""
    return [field.name for field in kind.fields.values() if field.type.kind in ("int", "bool")]


class StateDigest:
    """Computes the digest of a controller and its inputs. Read: `names`, the place of each word."""

    def __init__(self, program: Program) -> None:
        """Take the state's fields from the program; borrowed objects belong to another owner."""
        self.names: list[str] = []
        self._readers: list[Callable[[Any], Any]] = []
        self._roots: list[list[Callable[[Any], Any]]] = []
        for kind in (program.root, program.classes["Inputs"]):
            places = list(state_places(program, kind))
            for path, length in places:
                self.names += [f"{kind.name}.{path}[{at}]" for at in range(length)] or [f"{kind.name}.{path}"]
            self._roots.append(_readers(places))
        self._packed = Struct(f"<{len(self.names)}i")

    def words(self, controller: Controller, inputs: Inputs) -> list[int]:
        """Return the whole state."""
        found: list[int] = []
        for root, readers in zip((controller, inputs), self._roots, strict=True):
            for reader in readers:
                found += reader(root)
        return found

    def of(self, controller: Controller, inputs: Inputs) -> int:
        """Return the digest, 0 to 2**32 - 1."""
        return zlib.crc32(self._packed.pack(*self.words(controller, inputs)))


def _readers(places: list[tuple[str, int]]) -> list[Callable[[Any], Any]]:
    """Return functions that read one list each, or all plain fields up to the next list at once."""
    readers: list[Callable[[Any], Any]] = []
    for is_list, group in groupby(places, key=lambda place: place[1] > 0):
        paths = [path for path, _ in group]
        if is_list or len(paths) == 1:
            readers += [attrgetter(path) if is_list else _alone(path) for path in paths]
        else:
            readers.append(attrgetter(*paths))
    return readers


def _alone(path: str) -> Callable[[Any], Any]:
    getter = attrgetter(path)
    return lambda root: (getter(root),)


def state_places(program: Program, kind: Class, before: str = "") -> Iterator[tuple[str, int]]:
    """Yield the numbers that belong to an object: the path to each, and its length if it is a list."""
    for field in kind.fields.values():
        path = before + field.name
        if field.type.kind == "object" and field.owned:
            yield from state_places(program, program.classes[field.type.name], path + ".")
        elif field.type.kind == "numbers":
            yield path, field.type.dims[0]
        elif field.type.kind != "object":
            yield path, 0


class VectorWriter:
    """Writes one file of vectors. Read: `records`, `steps`, `driving` (steps that drive the motor).

    `digest` is one number for the whole file, made from the digests of its records; check.c prints the same.
    """

    def __init__(self, program: Program, file: BinaryIO) -> None:
        """Begin an empty file."""
        self._file = file
        self._digest = StateDigest(program)
        self._inputs = plain_fields(program.classes["Inputs"])
        self._outputs = plain_fields(program.classes["Outputs"])
        self.records = 0
        self.steps = 0
        self.driving = 0
        self.digest = 1

    def life(self, settings: Settings, controller: Controller, inputs: Inputs, now_us: int) -> None:
        """Record that a controller has been built."""
        words = [LIFE, now_us, *settings.as_dict().values()]
        self._put([*words, self._state(controller, inputs)])

    def step(
        self, controller: Controller, inputs: Inputs, edges: tuple[list[Edge], list[Edge]], now_us: int
    ) -> None:
        """Record a step; `edges` are those of crank and wheel that came before it."""
        outputs: Outputs = controller.outputs
        words = [STEP, now_us, len(edges[0]), len(edges[1])]
        words += [int(getattr(inputs, name)) for name in self._inputs]
        words += [word for edge in edges[0] + edges[1] for word in edge]
        words += [int(getattr(outputs, name)) for name in self._outputs]
        self._put([*words, self._state(controller, inputs)])
        self.steps += 1
        self.driving += outputs.drive_enabled

    def question(self, values: dict[str, int]) -> None:
        """Record whether settings are legal; every setting has a value."""
        try:
            Settings(values)
        except ValueError:
            legal = 0
        else:
            legal = 1
        self._put([QUESTION, *[values[row[0]] for row in TABLE], legal])

    def end(self) -> None:
        """Close the file, so that one cut short is recognised."""
        self._put([END, self.records])

    def _state(self, controller: Controller, inputs: Inputs) -> int:
        found = self._digest.of(controller, inputs)
        every_bit = 0xFFFFFFFF
        self.digest = zlib.crc32(found.to_bytes(4, "little"), self.digest ^ every_bit) ^ every_bit
        return found

    def _put(self, words: Iterable[int]) -> None:
        self._file.write(b"".join([(word & 0xFFFFFFFF).to_bytes(4, "little") for word in words]))
        self.records += 1


class RideVectors(Replay):
    """Makes vectors of a trace: a golden ride, or any other with its layout."""

    def __init__(self, trace: BinaryIO, writer: VectorWriter) -> None:
        """Store the trace, open for reading bytes."""
        super().__init__(trace)  # type: ignore[arg-type]
        self._writer = writer
        self._came: tuple[list[Edge], list[Edge]] = ([], [])

    def begin(self, settings: Settings, now_us: int) -> Controller:
        """Build a controller and record it."""
        controller = super().begin(settings, now_us)
        self._writer.life(settings, controller, self._inputs, now_us)
        return controller

    def record(self, log: EdgeLog, levels: int, time_us: int) -> None:
        """Record an edge, and store it for the vector."""
        super().record(log, levels, time_us)
        self._came[log is self._inputs.wheel].append((levels, time_us))

    def step(self, controller: Controller, inputs: Inputs, now_us: int) -> Outputs:
        """Run a step and record it."""
        outputs = super().step(controller, inputs, now_us)
        self._writer.step(controller, inputs, self._came, now_us)
        self._came = ([], [])
        return outputs
