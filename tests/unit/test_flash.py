"""Flashing: the real mpremote, over a pseudo-terminal, to a real MicroPython with a real file system.

The raw prompt at the other end is served by tests/raw_board.py, since the unix port has none. That shows the
copying, the hashing, the refusals and the ends half-way. It shows no USB, no serial adapter, no real flash.
"""

import binascii
import fcntl
import hashlib
import json
import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest
from cobs import cobs
from littlefs import LittleFS

from firmware.link.store import SLOT_SIZE, encode
from firmware.settings import Settings
from host_sim.bikes.load import BIKES, load_bike, settings_of
from host_sim.boardlink.bundle import CheckSums, bundle_for
from host_sim.boardlink.console_client import ConsoleClient
from host_sim.boardlink.raw_board import BoardTrouble, RawBoard
from host_sim.boardlink.reach import _rides, find_port
from host_sim.boardlink.ruling import Ruling
from host_sim.boardlink.targets import target_named
from host_sim.cli.flash import FlashRequest, FlashResult, claimed, flash
from host_sim.errors import RequestError
from host_sim.rules.catalogue import rule_named
from tests.plugged_board import PICO, PluggedBoard
from tests.quick_first import quick_first

ESP32 = ("micropython", "esp32", "1.27.0", "Generic ESP32 module with ESP32", "10246")
PYBOARD = ("micropython", "pyboard", "1.26.0", "PYBv1.1 with STM32F405RG", "7174")
NO_RULES = Ruling([], 5, ())
OLD_PAYLOAD = b"\x01" + bytes(57)  # Of kind 1; nothing but its first byte is looked at.
OLD_CODE = cobs.encode(OLD_PAYLOAD + binascii.crc_hqx(OLD_PAYLOAD, 0xFFFF).to_bytes(2, "big"))
OLD_FRAME = b"\0" + OLD_CODE + b"\0"
HALF_WAY = "the board has no main.py now, so it does not start: connect it and flash it again"


def nobody(done: int, everything: int) -> None:
    """Nobody watches."""


def request(
    port: str,
    bike: str = "cargo_trike",
    board: str = "rpi_pico",
    form: str | None = None,
    force: bool = False,
) -> FlashRequest:
    return FlashRequest(board, bike, port, form, [], 5, None, False, force)


def flashed(asked: FlashRequest) -> FlashResult:
    return flash(asked, NO_RULES, nobody)


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def mounted(disk: Path) -> LittleFS:
    """Mount a flash with the littlefs of another project than the one that wrote it."""
    content = bytearray(disk.read_bytes())
    system = LittleFS(
        block_size=4096,
        block_count=len(content) // 4096,
        read_size=32,
        prog_size=256,
        cache_size=1024,
        lookahead_size=32,
        mount=False,
    )
    system.context.buffer = content
    system.mount()
    return system


def files_on(disk: Path) -> dict[str, bytes]:
    system = mounted(disk)
    found = {}
    for folder, _, names in system.walk("/"):
        for name in names:
            path = f"{folder}/{name}".strip("/")
            with system.open(path, "rb") as file:
                found[path] = file.read()
    return found


def put_on(disk: Path, files: dict[str, bytes]) -> None:
    """Change files on an unplugged flash."""
    system = mounted(disk)
    for name, content in files.items():
        if "/" in name:
            system.makedirs(name.rpartition("/")[0], exist_ok=True)
        with system.open(name, "wb") as file:
            file.write(content)
    system.unmount()
    disk.write_bytes(bytes(system.context.buffer))


def expected(board: str = "rpi_pico", bike: str = "cargo_trike", form: str | None = None) -> dict[str, bytes]:
    return bundle_for(
        target_named(board), load_bike(bike), form or target_named(board).form, NO_RULES.as_json()
    ).files


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    """Listen for telemetry only briefly: these boards ride in a hurry, or not at all."""
    monkeypatch.setattr("host_sim.boardlink.reach.LISTENING_READS", 2)


@pytest.fixture
def disk(tmp_path) -> Path:
    return tmp_path / "flash"


@pytest.fixture(scope="module")
def done_disk(tmp_path_factory) -> bytes:
    """Return the flash of a Pico that was flashed once."""
    disk = tmp_path_factory.mktemp("pico") / "flash"
    with PluggedBoard(disk) as board:
        flashed(request(board.port))
    return disk.read_bytes()


@pytest.fixture
def treadle(treadle):
    return partial(treadle, "flash")


@pytest.fixture
def two_rules(monkeypatch):
    """Judge by two rules only, both of which the folding bicycle fails and the others hold."""
    rules = (
        rule_named("forward pedalling only"),
        rule_named("rocking ends help"),
    )
    monkeypatch.setattr("host_sim.boardlink.ruling.RULES", rules)


@pytest.fixture
def no_rules(monkeypatch):
    """Judge by no rule: what is tried is the copying."""
    monkeypatch.setattr("host_sim.boardlink.ruling.RULES", ())


# Onto a board.


def test_a_blank_pico_gets_exactly_the_bundle(disk):
    with PluggedBoard(disk) as board:
        result = flashed(request(board.port))
    assert (result.flashed, result.micropython) == (True, "1.28.0")
    assert files_on(disk) == expected()
    assert set(result.plan.copied) == set(expected())
    assert (result.plan.removed, result.settings_replaced) == ([], {})


@pytest.mark.long
def test_fat_and_little_room_as_on_a_pyboard_are_enough(disk):
    # MicroPython's manual, "General information about the pyboard": 112 KiB, FAT.
    with PluggedBoard(disk, PYBOARD, "fat", 224) as board:
        assert flashed(request(board.port, board="pyboard")).flashed
        again = flashed(request(board.port, board="pyboard"))
        assert len(again.plan.unchanged) == len(expected("pyboard"))
        changed = flashed(request(board.port, "tandem", "pyboard"))
        assert changed.plan.copied == ["manifest.json", "place.txt", "settings_a.txt"]


def test_a_pyboard_keeps_room_for_changed_settings_and_some_files_of_its_own():
    """Of 224 blocks an empty FAT has 190 (by MicroPython's own driver); eight stay free."""
    bike = load_bike("cargo_trike")  # It has the most parts, and a long name.
    untried = Ruling([], 5, ()).as_json() | {"untried": ["no jump after a stall", "a fault stays"]}
    files = bundle_for(target_named("pyboard"), bike, "bytecode", untried).files
    folders = {folder.as_posix() for name in files for folder in Path(name).parents if folder.name}
    taken = len(folders) + sum(-(-len(content) // 512) for content in files.values())
    other_slot, flag = -(-SLOT_SIZE // 512), 1
    assert taken + other_slot + flag <= 190 - 8


def test_a_pyboard_whose_files_leave_no_room_for_changed_settings_is_left_as_it_is(disk):
    with (
        PluggedBoard(disk, PYBOARD, "fat", 212) as board,
        pytest.raises(
            BoardTrouble, match=r"has \d+ KiB free, needed is \d+: remove files of your own from it; no"
        ),
    ):
        flashed(request(board.port, board="pyboard"))


def test_an_esp32_gets_sources_when_asked(disk):
    with PluggedBoard(disk, ESP32, blocks=512) as board:
        assert flashed(request(board.port, board="esp32_devkitc", form="source")).flashed
    assert files_on(disk) == expected("esp32_devkitc", form="source")


@pytest.mark.long
def test_the_second_time_nothing_is_written(disk, done_disk):
    disk.write_bytes(done_disk)
    with PluggedBoard(disk) as board:
        result = flashed(request(board.port))
    assert result.plan.nothing_to_do
    assert len(result.plan.unchanged) == len(expected())
    assert disk.read_bytes() == done_disk


@pytest.mark.long
def test_old_files_go_where_they_would_count_more_and_the_rest_stays(disk, done_disk):
    disk.write_bytes(done_disk)
    newer = encode(Settings({"engage_rpm": 33}), 7, CheckSums())
    put_on(
        disk, {"settings_b.txt": newer, "firmware/old/x.py": b"x", "diary.txt": b"mine", "maintenance": b"1"}
    )
    with PluggedBoard(disk) as board:
        result = flashed(request(board.port, form="source"))
    assert files_on(disk) == {**expected(form="source"), "diary.txt": b"mine"}
    assert {"settings_b.txt", "firmware/old/x.py", "firmware/loop.mpy", "maintenance"} <= set(
        result.plan.removed
    )
    assert result.settings_replaced["engage_rpm"] == (33, settings_of(load_bike("cargo_trike")).engage_rpm)


def test_what_the_slot_held_before_is_told_and_equal_settings_are_not(disk, done_disk):
    disk.write_bytes(done_disk)
    with PluggedBoard(disk) as board:
        result = flashed(request(board.port, "tandem"))
    old, new = settings_of(load_bike("cargo_trike")).as_dict(), settings_of(load_bike("tandem")).as_dict()
    assert result.settings_replaced == {
        name: (old[name], new[name]) for name in old if old[name] != new[name]
    }
    assert "pulses_per_rev" in result.settings_replaced


# A board that rides.


def desk_as_pico(cadence_rpm: int) -> dict[str, bytes]:
    """Return a bundle that rides without hardware, for ever at one cadence."""
    files = bundle_for(target_named("desk"), load_bike("cargo_trike"), "bytecode").files
    stages = f"from boards.desk import rider\nrider.STAGES = ((1_000_000_000, {cadence_rpm}, False),)\n"
    return {**files, "main.py": stages.encode() + files["main.py"]}


@pytest.mark.long
def test_a_board_that_rides_at_rest_is_stopped_restarted_and_flashed(disk, done_disk, monkeypatch):
    monkeypatch.setattr("host_sim.boardlink.reach.LISTENING_READS", 100)
    disk.write_bytes(done_disk)
    put_on(disk, desk_as_pico(cadence_rpm=0))
    with PluggedBoard(disk, ride=True) as board:
        result = flashed(request(board.port))
        assert board.restarts == 1
    assert result.flashed
    assert files_on(disk) == expected()


def test_a_board_that_moves_refuses_and_keeps_riding(disk, done_disk, monkeypatch):
    monkeypatch.setattr("host_sim.boardlink.reach.LISTENING_READS", 100)
    disk.write_bytes(done_disk)
    put_on(disk, desk_as_pico(cadence_rpm=65))
    before = disk.read_bytes()
    with PluggedBoard(disk, ride=True) as board:
        with pytest.raises(BoardTrouble, match="is riding and refuses to stop: "):
            flashed(request(board.port))
        assert board.restarts == 0
    assert disk.read_bytes() == before


# Refused before anything is written.

UNFIT = {
    "too old": (
        ("micropython", "rp2", "1.25.0", "Raspberry Pi Pico with RP2040", "6"),
        "MicroPython 1.25.0, allowed is 1.26.0 or newer",
    ),
    "port": (ESP32, "is not a Raspberry Pi Pico or Pico 2: it is esp32"),
    "python": (
        ("otherpython", "rp2", "9.0.0", "Raspberry Pi Pico with RP2040", "6"),
        "runs otherpython, allowed is MicroPython",
    ),
    "bytecode": (
        ("micropython", "rp2", "2.0.0", "Raspberry Pi Pico with RP2040", "7"),
        "bytecode of version 7, ours is 6: use --form source",
    ),
    "machine code": (
        ("micropython", "rp2", "1.28.0", "Raspberry Pi Pico with RP2040", "6"),
        "can't run this machine code: use --form bytecode",
    ),
}


@pytest.mark.parametrize("reason", UNFIT)
def test_a_board_that_does_not_fit_is_left_as_it_is(disk, done_disk, reason):
    disk.write_bytes(done_disk)
    what, sentence = UNFIT[reason]
    with PluggedBoard(disk, what) as board, pytest.raises(BoardTrouble, match=sentence) as trouble:
        flashed(request(board.port, "tandem"))
    assert str(trouble.value).endswith("nothing was changed")
    assert disk.read_bytes() == done_disk


@pytest.mark.parametrize(
    ("board", "what"),
    [
        ("esp32_devkitc", ("micropython", "esp32", "1.28.0", "Generic ESP32S3 module with ESP32S3", "6")),
        ("pyboard", ("micropython", "pyboard", "1.28.0", "PYBD-SF2W with STM32F722IEK", "6")),
    ],
)
def test_another_chip_of_the_same_port_is_refused(disk, board, what):
    sentence = f"it is {what[1]}, {what[3]}, allowed is"
    with PluggedBoard(disk, what) as plugged, pytest.raises(BoardTrouble, match=sentence):
        flashed(request(plugged.port, board=board))


@pytest.mark.long
@pytest.mark.parametrize(
    "what", [PICO, ("micropython", "rp2", "1.26.0", "Raspberry Pi Pico2 with RP2350", "7174")]
)
def test_the_least_version_and_both_picos_are_taken(disk, what):
    with PluggedBoard(disk, what) as board:
        assert flashed(request(board.port)).flashed


def test_a_flash_without_room_is_left_as_it_is(disk):
    with (
        PluggedBoard(disk, blocks=40) as board,
        pytest.raises(BoardTrouble, match=r"has 152 KiB free, needed is \d+: .*; nothing was changed"),
    ):
        flashed(request(board.port))
    assert files_on(disk) == {}


def test_a_main_of_somebody_elses_is_kept_unless_forced(disk):
    with PluggedBoard(disk):
        pass
    with PluggedBoard(disk) as board, RawBoardAt(board.port) as raw:
        raw.write("main.py", b"print('mine')\n", lambda count: None)
    with (
        PluggedBoard(disk) as board,
        pytest.raises(BoardTrouble, match=r"main\.py on the board at .* is not ours: .*flash with --force"),
    ):
        flashed(request(board.port))
    assert files_on(disk) == {"main.py": b"print('mine')\n"}
    with PluggedBoard(disk) as board:
        assert flashed(request(board.port, force=True)).flashed
    assert files_on(disk) == expected()


class RawBoardAt:
    def __init__(self, port: str) -> None:
        self._board = RawBoard(port)

    def __enter__(self) -> RawBoard:
        return self._board

    def __exit__(self, *_: object) -> None:
        self._board.close()


# Broken off half-way.


def pulling_at(board: PluggedBoard, at_bytes: int):
    def done(written: int, everything: int) -> None:
        if written >= at_bytes:
            board.pull()

    return done


@pytest.mark.parametrize("at_bytes", quick_first(1, [20_000, 1, 64_000]))
def test_a_plug_pulled_half_way_leaves_a_board_that_does_not_start_and_can_be_flashed_again(
    disk, done_disk, at_bytes
):
    disk.write_bytes(done_disk)
    with PluggedBoard(disk) as board, pytest.raises(BoardTrouble) as trouble:
        flash(request(board.port, "tandem", form="source"), NO_RULES, pulling_at(board, at_bytes))
    assert str(trouble.value).endswith(HALF_WAY)
    assert str(trouble.value).startswith(f"the board at {board.port} did not answer while ")
    assert "main.py" not in files_on(disk)
    with PluggedBoard(disk) as board:
        assert flashed(request(board.port, "tandem", form="source")).flashed
    assert files_on(disk) == expected(bike="tandem", form="source")


def test_a_plug_pulled_before_the_prompt_is_one_sentence(disk):
    with PluggedBoard(disk) as board:
        asked = request(board.port)
        board.pull()
        with pytest.raises(BoardTrouble, match=f"{board.port}"):
            flashed(asked)


def test_a_file_that_arrives_wrong_is_found_by_the_boards_own_hash(disk, monkeypatch):
    write = RawBoard.write

    def flipping(self, name, content, wrote):
        if name == "firmware/controller.mpy":
            content = content[:-1] + bytes([content[-1] ^ 1])
        write(self, name, content, wrote)

    monkeypatch.setattr(RawBoard, "write", flipping)
    with (
        PluggedBoard(disk) as board,
        pytest.raises(BoardTrouble, match=r"firmware/controller\.mpy does not read back .*; " + HALF_WAY),
    ):
        flashed(request(board.port))
    assert "main.py" not in files_on(disk)


def test_what_can_not_be_removed_is_found(disk, done_disk, monkeypatch):
    disk.write_bytes(done_disk)
    put_on(disk, {"firmware/loop.py": b"old"})
    monkeypatch.setattr("host_sim.boardlink.copying._remove", lambda board, name: None)
    sentence = r"firmware/loop\.py is still on the board|main\.py is still"
    with PluggedBoard(disk) as board, pytest.raises(BoardTrouble, match=sentence):
        flashed(request(board.port))


def test_a_port_where_nobody_answers_is_one_sentence_and_nothing_is_printed(monkeypatch, capsys):
    monkeypatch.setattr("host_sim.boardlink.raw_board.PROMPT_S", 0.2)
    monkeypatch.setattr("host_sim.boardlink.raw_board.READ_TIMEOUT_S", 0.1)
    master, slave = os.openpty()
    try:
        port = os.ttyname(slave)
        with pytest.raises(BoardTrouble, match=f"the board at {port} did not answer at its prompt"):
            flashed(request(port))
        assert capsys.readouterr().out == ""
    finally:
        os.close(master)
        os.close(slave)


def test_a_port_that_never_stops_talking_is_given_up(monkeypatch):
    monkeypatch.setattr("host_sim.boardlink.raw_board.PROMPT_S", 0.2)
    master, slave = os.openpty()
    talker = subprocess.Popen(["yes"], stdout=master)
    try:
        with pytest.raises(BoardTrouble, match="did not answer at its prompt"):
            flashed(request(os.ttyname(slave)))
    finally:
        talker.kill()
        talker.wait()
        os.close(master)
        os.close(slave)


def test_an_exception_on_the_board_is_told_by_its_last_line(disk):
    with PluggedBoard(disk) as board, RawBoardAt(board.port) as raw:
        with pytest.raises(BoardTrouble, match="failed while thinking: ZeroDivisionError: divide by zero"):
            raw.run("1//0", "while thinking")
        assert raw.run("print(repr((1,'a')))\nprint(2)", "while counting") == [(1, "a"), 2]


# Which port.


def usb(*names: str):
    ports = [SimpleNamespace(device=name, vid=0x2E8A) for name in names]
    return lambda: [*ports, SimpleNamespace(device="/dev/ttyS0", vid=None)]


def test_the_only_usb_port_is_taken_and_a_port_of_the_computer_is_not(monkeypatch):
    monkeypatch.setattr("serial.tools.list_ports.comports", usb("/dev/ttyACM3"))
    assert find_port(None, target_named("rpi_pico")) == "/dev/ttyACM3"
    assert find_port("/dev/ttyS0", target_named("rpi_pico")) == "/dev/ttyS0"


def test_no_board_is_told_with_what_to_do_and_exit_code_1(treadle, monkeypatch):
    monkeypatch.setattr("serial.tools.list_ports.comports", usb())
    code, out, err = treadle("--board", "rpi_pico")
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert "no Raspberry Pi Pico or Pico 2 was found on any USB port" in err
    assert "a USB cable that carries data" in err
    assert "hold its button while plugging it in" in err


@pytest.mark.parametrize(
    ("ports", "given", "sentence"),
    [
        (("/dev/ttyACM0", "/dev/ttyACM1"), None, "choose one with --port: /dev/ttyACM0, /dev/ttyACM1"),
        (
            ("/dev/ttyACM0",),
            "/dev/ttyACM9",
            'is "/dev/ttyACM9", which does not exist, allowed is /dev/ttyACM0',
        ),
        (
            (),
            "COM7",
            'is "COM7", which does not exist, allowed is none: no board was found on any USB port',
        ),
    ],
)
def test_a_port_that_is_not_clear_is_refused(monkeypatch, ports, given, sentence):
    monkeypatch.setattr("serial.tools.list_ports.comports", usb(*ports))
    with pytest.raises(RequestError) as refusal:
        find_port(given, target_named("rpi_pico"))
    assert sentence in str(refusal.value)


# The command and the rules.


@pytest.mark.usefixtures("two_rules")
def test_rules_that_fail_keep_the_board_untouched_until_each_is_accepted_by_name(treadle, disk):
    with PluggedBoard(disk) as board:
        words = ("--board", "rpi_pico", "folding", "--port", board.port, "--rides", "1")
        code, out, err = treadle(*words)
        assert (code, err) == (1, "")
        assert "0 rules hold, 2 fail" in out
        assert "  fails: forward pedalling only: " in out
        assert "Nothing was copied." in out
        assert '--accept "forward pedalling only" --accept "rocking ends help"' in out
        code, out, err = treadle(*words, "--accept", "forward pedalling only", "--json")
        assert (code, err, out.count("\n")) == (1, "", 1)
        said = json.loads(out)
        assert said["flashed"] is False
        assert [row["rule"] for row in said["rules"]["refused"]] == ["rocking ends help"]
        assert not disk.read_bytes().strip(b"\0\xff") or "main.py" not in files_on(disk)
        code, out, err = treadle(
            *words, "--accept", "forward pedalling only", "--accept", "rocking ends help"
        )
    assert (code, err) == (0, "")
    assert "  accepted: rocking ends help: " in out
    assert "every file was hashed on the board" in out
    assert "driven wheel off the ground" in out
    manifest = json.loads(files_on(disk)["manifest.json"])
    accepted = manifest["rules"]["accepted"]
    assert [row["rule"] for row in accepted] == ["forward pedalling only", "rocking ends help"]
    assert accepted[0]["measured"] > accepted[0]["limit"] > 0.0
    assert (manifest["rules"]["held"], manifest["rules"]["rides_of_each_kind"]) == (0, 1)


@pytest.mark.long
def test_a_rule_that_no_ride_could_try_out_is_told_and_does_not_stop_the_copying(treadle, here, monkeypatch):
    monkeypatch.setattr("host_sim.boardlink.ruling.RULES", (rule_named("stop time"), rule_named("rise rate")))
    text = (BIKES / "folding.toml").read_text(encoding="utf-8")
    (here / "no_help.toml").write_text(text + "\n[settings]\nassist_power_w = 0\n", encoding="utf-8")
    code, out, err = treadle("--board", "desk", "no_help.toml", "--rides", "1", "--out", "mine")
    assert code == 0
    assert err.startswith("treadle: not yet tested: stop time; up to 3 more rides of these kinds follow: ")
    assert "1 rules hold, 0 fail, in 1 rides of each kind; 1 not tested" in out
    assert "  not tested: stop time: none of 8 rides tested it" in out
    assert "fails" not in out
    rules = json.loads(Path("mine/manifest.json").read_text())["rules"]
    assert (rules["held"], rules["untried"]) == (1, ["stop time"])


@pytest.mark.usefixtures("no_rules")
def test_json_of_a_flashed_board_names_what_was_copied(treadle, disk):
    with PluggedBoard(disk) as board:
        code, out, err = treadle("--board", "rpi_pico", "--port", board.port, "--rides", "1", "--json")
    assert (code, err, out.count("\n")) == (0, "", 1)
    said = json.loads(out)
    assert (said["flashed"], said["port"], said["micropython"]) == (True, board.port, "1.28.0")
    assert said["copied"] == sorted(files_on(disk))
    assert {row["file"]: row["sha256"] for row in said["files"]} == {
        name: digest(content) for name, content in files_on(disk).items() if name != "manifest.json"
    }


@pytest.mark.usefixtures("no_rules")
def test_a_plug_pulled_half_way_is_one_sentence_and_exit_code_1(treadle, disk, monkeypatch):
    with PluggedBoard(disk) as board:
        write, written = RawBoard.write, []

        def pulling(self, name, content, wrote):
            written.append(name)
            if len(written) == 20:
                board.pull()
            write(self, name, content, wrote)

        monkeypatch.setattr(RawBoard, "write", pulling)
        code, out, err = treadle("--board", "rpi_pico", "--port", board.port, "--rides", "1")
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert err.startswith(
        f"treadle: the board at {board.port} did not answer while {written[-1]} was written"
    )
    assert err.endswith(f"; {HALF_WAY}\n")


@pytest.mark.usefixtures("no_rules")
def test_a_signal_half_way_tells_what_it_leaves_and_ends_with_130(treadle, disk, monkeypatch):
    with PluggedBoard(disk) as board:
        write, written = RawBoard.write, []

        def interrupting(self, name, content, wrote):
            written.append(name)
            if len(written) == 20:
                signal.raise_signal(signal.SIGINT)
            write(self, name, content, wrote)

        monkeypatch.setattr(RawBoard, "write", interrupting)
        code, out, err = treadle("--board", "rpi_pico", "--port", board.port, "--rides", "1")
    assert (code, out, err) == (130, "", f"treadle: interrupted: {HALF_WAY}\n")
    assert "main.py" not in files_on(disk)


@pytest.mark.long
@pytest.mark.usefixtures("two_rules")
def test_a_dry_run_judges_shows_and_touches_no_port(treadle):
    code, out, err = treadle("--board", "pyboard", "tandem", "--rides", "1", "--dry-run")
    assert (code, err) == (0, "")
    assert "boards/pyboard/board.mpy" in out
    assert out.endswith("Dry run: nothing copied.\n")
    code, out, _ = treadle("--board", "pyboard", "folding", "--rides", "1", "--dry-run", "--json")
    assert (code, json.loads(out)["flashed"], json.loads(out)["dry_run"]) == (1, False, True)


@pytest.mark.usefixtures("two_rules")
def test_the_desk_is_flashed_into_a_folder(treadle):
    code, out, err = treadle("--board", "desk", "tandem", "--out", "mine", "--rides", "1")
    assert (code, err) == (0, "")
    assert "cd mine && micropython main.py" in out
    names = {path.relative_to("mine").as_posix() for path in Path("mine").rglob("*") if path.is_file()}
    assert names == set(expected("desk"))
    assert json.loads(Path("mine/manifest.json").read_text())["rules"]["held"] == 2


WRONG = {
    (): "Missing option '--board'",
    ("--board", "rpi_pica"): '--board is "rpi_pica", did you mean rpi_pico?',
    ("--board", "rpi_pico", "nosuch"): "no bike is called 'nosuch'",
    ("--board", "rpi_pico", "--accept", "cutoff distance"): '--accept is "cutoff distance", did you mean',
    ("--board", "rpi_pico", "--rides", "0"): "--rides is '0', allowed is a whole number from 1",
    ("--board", "rpi_pico", "--port", "/dev/nosuch"): '--port is "/dev/nosuch", which does not exist',
    ("--board", "rpi_pico", "--out", "x"): "--out is for the desk only",
    ("--board", "desk"): "--out is missing, allowed is --out with the folder to make",
    ("--board", "desk", "--port", "COM1", "--out", "x"): "the desk has no port, allowed is --out",
    ("--board", "desk", "--out", "."): ". exists already, allowed is another --out, or --force",
}


@pytest.mark.parametrize("arguments", WRONG, ids=lambda words: " ".join(words)[:40] or "nothing")
def test_a_wrong_request_is_one_sentence_and_exit_code_2(treadle, arguments):
    code, out, err = treadle(*arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert WRONG[arguments] in err


@pytest.mark.usefixtures("no_rules")
def test_a_port_that_is_no_serial_port_is_exit_code_1(treadle, tmp_path):
    (tmp_path / "letter").write_text("mine")
    code, out, err = treadle("--board", "rpi_pico", "--rides", "1", "--port", str(tmp_path / "letter"))
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert "cannot be opened: it is not a serial port" in err
    assert (tmp_path / "letter").read_text() == "mine"


@pytest.mark.usefixtures("no_rules")
def test_a_port_that_another_program_uses_is_named_as_such_before_anything_is_sent(treadle):
    master, slave = os.openpty()
    try:
        fcntl.flock(slave, fcntl.LOCK_EX)
        name = os.ttyname(slave)
        code, _, err = treadle("--board", "rpi_pico", "--port", name, "--rides", "1")
        assert code == 1
        assert err.strip().endswith(f"the port {name} cannot be opened: another program is using it")
    finally:
        os.close(slave)
        os.close(master)


def test_without_mpremote_the_refusal_says_how_to_get_it(treadle, monkeypatch):
    monkeypatch.setitem(sys.modules, "mpremote.transport_serial", None)
    code, _, err = treadle("--board", "rpi_pico")
    assert code == 2
    assert "needs mpremote, which is not installed, get it with: uv run --extra board treadle flash" in err


@pytest.mark.parametrize(("said", "rides"), [(OLD_FRAME, True), (b">>> \0\x03ab\0", False), (b"", False)])
def test_a_board_that_sends_frames_of_an_older_kind_rides_too(said, rides):
    class Port:
        def read(self, size: int = 1, /) -> bytes:
            return said

        def write(self, data: bytes, /) -> int:
            return len(data)

    port = Port()
    assert _rides(ConsoleClient(port), port) is rides


def test_a_second_run_for_the_desk_into_one_folder_is_refused_before_it_rides(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("host_sim.cli.flash.judged", lambda *_: pytest.fail("it rode"))
    with claimed(FlashRequest("desk", "folding", None, None, [], 1, tmp_path / "desk", False, False)):
        code, out, err = treadle("--board", "desk", "folding", "--out", "desk")
    assert (code, out) == (2, "")
    assert "desk/manifest.json is being written by another run, allowed is another --out" in err
    assert [path.name for path in tmp_path.iterdir() if path.name != "here"] == []
