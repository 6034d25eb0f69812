"""Functions over bytes as viper functions do what their sources do; what can't be one is refused by line."""

import ast
import binascii
import random
import sys
from pathlib import Path
from types import ModuleType

import pytest
from cobs import cobs

from firmware.controller import Controller
from firmware.link import recorder, stream, telemetry
from firmware.link.block_ring import LEAST_BLOCKS, BlockRing
from firmware.link.history import RememberedEdges
from firmware.link.recorder import Recorder
from firmware.link.stream import Stream
from firmware.link.telemetry import Telemetry
from firmware.link.writing import BLOCK_SIZE
from firmware.loop import LoopCounters
from firmware.records import Inputs
from host_sim.boardlink.forms import BY_THE_BYTE
from host_sim.boardlink.needed import ROOT
from host_sim.forms.outside import OutsideSubsetError
from host_sim.forms.viper.by_the_byte import by_the_byte, classes_of_numbers
from host_sim.forms.viper.firmware import fused_firmware
from host_sim.rig.small_settings import settings_with
from tests.forms.fused_forms import loaded
from tests.quick_first import quick_first

STEPS = 3_000
START_US = 2**30 - 4_000_000
FUSED = fused_firmware()
FUSED_CONTROLLER = loaded(FUSED).Controller  # Puts MicroPython's names in place, too.


def generated(source: str) -> ModuleType:
    module = ModuleType("generated_items")
    exec(compile(source, "generated_items.py", "exec"), module.__dict__)
    return module


def blocks_of(kind: type, seed: int) -> list[bytes]:
    """Ride with random readings and edges; return what the recorder has written."""
    draw = random.Random(seed)
    inputs, now_us = Inputs(), START_US
    controller = kind(settings_with(), now_us)
    ring = [bytearray(BLOCK_SIZE) for _ in range(250)]
    kept = Recorder(controller, inputs, ring, now_us)
    for _ in range(STEPS):
        for log, wheel in ((inputs.crank, False), (inputs.wheel, True)):
            for _ in range(draw.choice([0, 0, 0, 1, 2, 12])):
                levels, time_us = draw.randrange(4), (now_us + draw.randrange(-900, 20_000)) % 2**30
                log.record(levels, time_us)
                kept.edge(levels, time_us, wheel)
            log.overruns = draw.choice([0, 0, 0, 1, 65_535])
        now_us = (now_us + draw.choice([5_000, 4_990, 127, 128, 16_383, 16_384, 2**25])) % 2**30
        inputs.sampled_us = now_us - draw.choice([0, 0, 0, 7]) & 2**30 - 1
        for name, values in READINGS.items():
            if draw.random() < 0.5:
                setattr(inputs, name, draw.choice(values))
        controller.step(inputs, now_us)
        kept.note_step(now_us)
    kept.freeze()
    return [bytes(block) for block in ring]


READINGS: dict[str, list[int]] = {
    "throttle_mv": [0, 834, 835, 900, 5_500],
    "selector_mv": [0, 63, 64, 5_000],
    "battery_mv": [0, 36_000, 36_015, 100_000],
    "current_ma": [0, 8, 16, 100_000],
    "motor_decicelsius": [-500, -1, 0, 3_000],
    "brake_pulled": [False, True],
    "clear_requested": [False, False, True],
}


def taken_over(monkeypatch: pytest.MonkeyPatch, source: str) -> None:
    module = generated(source)
    for name in ("Writing", "begin_apart", "close_block", "join", "open_block", "put_edge", "put_step"):
        monkeypatch.setattr(recorder, name, getattr(module, name))


def items() -> str:
    """Return what the recorder gets of both modules."""
    return translated("firmware/link/writing.py") + translated("firmware/link/items.py")


def translated(file: str) -> str:
    return by_the_byte(ROOT, file, {"Controller": FUSED.cells}, classes_of_numbers(ROOT, BY_THE_BYTE))


@pytest.mark.parametrize("seed", range(3))
def test_the_recorder_of_the_fused_form_writes_the_same_bytes(monkeypatch, seed):
    expected = blocks_of(Controller, seed)
    assert sum(block[3] > 0 for block in expected) > 100
    taken_over(monkeypatch, items())
    assert blocks_of(FUSED_CONTROLLER, seed) == expected


@pytest.mark.parametrize(
    ("right", "wrong"),
    quick_first(
        2,
        [
            (">= 128", "> 128"),
            ("at > 246", "at > 247"),
            ("put_change_value < 0", "put_change_value <= -8"),
            ("put_number_value >> 15", "put_number_value >> 14"),
            ("- 1024 & 1073741823", "- 1025 & 1073741823"),
            ("+ 1 & 65535", "+ 2 & 65535"),
            ("writing_cells[5] = 0", "writing_cells[5] = 1"),
            ("| 128", "| 64"),
            ("int(inputs.crank.overruns)", "int(inputs.wheel.overruns)"),
        ],
    ),
)
def test_an_error_planted_into_the_generated_functions_changes_the_bytes(monkeypatch, right, wrong):
    expected = blocks_of(Controller, 0)
    source = items()
    assert right in source
    taken_over(monkeypatch, source.replace(right, wrong))
    try:
        differs = blocks_of(FUSED_CONTROLLER, 0) != expected
    except (IndexError, ValueError):  # A byte that is none, or behind the end.
        differs = True
    assert differs


REFUSED = {
    "def f(a: int = 1) -> int:\n    return a": "f has a decorator, a default or a star",
    "def f(a: list[int]) -> int:\n    return 1": "a type must be one name",
    "def f(a: int) -> str:\n    return a": "f returns a number or None",
    "def f(a: int) -> int:\n    return a / 2": "`a / 2` is not a number here",
    "def f(a: int) -> int:\n    return a if a else 1": "`a if a else 1` is not a number here",
    "def f(a: int) -> int:\n    return abs(a)": "`abs(a)` is not a number here",
    "def f(a: int) -> int:\n    return b": "b is not a number here",
    "def f(a: int) -> None:\n    a = 2**40": "`2 ** 40` is not a number here",
    "def f(a: int) -> None:\n    a[0] = 1": "`a` is not a named bytearray",
    "def f(a: int) -> None:\n    a.b = 1": "`a.b` can't be assigned here",
    "def f(a: int) -> int:\n    return a.b": "a is not an object here",
    "def f(a: Controller) -> None:\n    a.crank.levels = 1": "`a.crank.levels` can't be assigned here",
    "def f(a: Controller) -> int:\n    return a.crank.colour": "crank.colour is not a number of Controller",
    "def f(a: Thing) -> None:\n    a.b = 1": "`a.b` can't be assigned here",
    "def f(a: int) -> None:\n    for b in (1, 2):\n        a = b": "a loop goes over a range of numbers",
    "def f(a: int) -> None:\n    with a:\n        pass": "`with a:` is not taken here",
    "def g(a: int) -> None:\n    a = 1\ndef f(a: int) -> None:\n    a = g(a)": (
        "`a = g(a)` and g disagree about a result"
    ),
    "def f(a: int) -> int:\n    a = f(a)\n    return a": (
        "`f(a)` is not a positional call of another function"
    ),
    "def g(a: int) -> int:\n    if a:\n        return 1\n    return 2\ndef f(a: int) -> None:\n  a = g(a)": (
        "g returns before its end, and is called here"
    ),
    "def g(a: bytearray) -> None:\n    a[0] = 1\ndef f(a: Thing) -> None:\n    g(a.b)": (
        "`a.b` must be a name, for bytearray"
    ),
    "class Thing:\n    __slots__ = ('a',)\n    def __init__(self) -> None:\n        self.b = 1": (
        "the constructor of Thing must give a number to each of its slots, and do nothing else"
    ),
    "class Thing:\n    def f(self) -> None:\n        pass": (
        "Thing is not a class of numbers: __slots__ and a constructor"
    ),
}


def translated_in(folder: Path, file: str) -> None:
    by_the_byte(folder, file, {"Controller": FUSED.cells}, classes_of_numbers(folder, [file]))


@pytest.mark.parametrize(("source", "sentence"), REFUSED.items())
def test_what_is_not_taken_is_refused_with_file_and_line(tmp_path: Path, monkeypatch, source, sentence):
    (tmp_path / "refused_source.py").write_text("from __future__ import annotations\n" + source + "\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "refused_source", raising=False)
    with pytest.raises(OutsideSubsetError) as refused:
        translated_in(tmp_path, "refused_source.py")
    assert str(refused.value).endswith(f": {sentence}")
    assert str(tmp_path / "refused_source.py") + ":" in str(refused.value)


def test_what_is_written_out_where_it_is_called_is_not_imported_by_other_modules():
    for name in BY_THE_BYTE:
        there = set(vars(generated(translated(name))))
        module = name.removesuffix(".py").replace("/", ".")
        for path in (*ROOT.glob("firmware/**/*.py"), *ROOT.glob("boards/**/*.py")):
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.ImportFrom) and node.module == module:
                    assert {alias.name for alias in node.names} <= there, path


@pytest.mark.parametrize("seed", range(3))
def test_frames_of_the_fused_form_are_the_same_bytes(monkeypatch, seed):
    expected = frames_of(Controller, seed)
    assert len(set(expected)) > 200
    module = generated(translated("firmware/link/payload.py"))
    for name in ("crc16", "put_crank", "put_head", "put_power", "put_state", "put_times", "replace_zeros"):
        monkeypatch.setattr(telemetry, name, getattr(module, name))
    assert frames_of(FUSED_CONTROLLER, seed) == expected


@pytest.mark.parametrize("seed", range(3))
def test_frames_of_blocks_are_the_same_bytes_and_hold_the_blocks(monkeypatch, seed):
    draw = random.Random(seed)
    blocks = [bytes(draw.choices((0, 0, 1, 127, 255), k=BLOCK_SIZE)) for _ in range(40)]
    blocks += [bytes(BLOCK_SIZE), bytes([1]) * BLOCK_SIZE, draw.randbytes(BLOCK_SIZE)]
    expected = streamed(blocks)
    for block, frame in zip(blocks, expected, strict=True):
        inside = cobs.decode(frame[1:-1])
        assert (inside[:-2], inside[-2:]) == (block, binascii.crc_hqx(block, 0xFFFF).to_bytes(2, "big"))
    module = generated(translated("firmware/link/payload.py"))
    for name in ("put_without_zeros", "replace_zeros"):
        monkeypatch.setattr(stream, name, getattr(module, name))
    assert streamed(blocks) == expected


def streamed(blocks: list[bytes]) -> list[bytes]:
    """Return the frames of blocks, as a stream makes them."""
    ring = BlockRing([bytearray(BLOCK_SIZE) for _ in range(LEAST_BLOCKS)])
    made, frames = Stream(ring), []
    made.listen(False)
    for block in blocks:
        ring.writing()[:] = block
        ring.go_on()
        while made.make() and not made.made():
            pass
        frames.append(bytes(made.frame))
    return frames


def frames_of(kind: type, seed: int) -> list[bytes]:
    """Ride with random readings and edges; return a frame of every step."""
    draw = random.Random(seed)
    inputs, counters, now_us = Inputs(), LoopCounters(), START_US
    inputs.crank = edges = RememberedEdges()
    controller = kind(settings_with(), now_us)
    sender = Telemetry(controller, inputs, edges, counters, draw.random() < 0.5, 3)
    frames = []
    levels = 0
    for number in range(300):
        for _ in range(draw.choice([0, 1, 2])):
            levels = (1, 3, 2, 0)[((0, 1, 3, 2).index(levels)) % 4] if number < 200 else draw.randrange(4)
            edges.record(levels, (now_us + draw.randrange(5_000)) % 2**30)
        now_us = (now_us + 5_000) % 2**30
        for name, values in READINGS.items():
            if draw.random() < 0.2:
                setattr(inputs, name, draw.choice([*values, 2**24 + 5, -40_000, 40_000]))
        inputs.wheel.record(number & 1, now_us)
        inputs.sampled_us = now_us
        controller.step(inputs, now_us)
        counters.count_step(now_us)
        counters.worst_us = draw.choice([0, 1_600, 65_535])
        sender.sample()
        sender.measure(draw.random() < 0.5, now_us)
        sender.seal()
        sender.stuff()
        frames.append(bytes(sender.frame))
    return frames
