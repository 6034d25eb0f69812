"""A safe start: a grounded pin keeps the motor off, and settings can be put right over the link."""

import json
from pathlib import Path

import pytest

from firmware.link.console import START_ANEW, Console
from firmware.link.store import NO_SLOT, SAFE_VALUES, Store, encode
from firmware.settings import Settings
from host_sim.bikes.load import example_names, load_bike
from host_sim.compiled.build import ROOT
from host_sim.testing import wasm
from tests.unit import test_boards as boards
from tests.unit.test_boards import NAMES, Plug, Start, desk
from tests.unit.test_console import Desk
from tests.unit.test_store import Paper, stored

clock = boards.clock
SAFE = "safe start, so the motor stays off until a start without the pin (stored: "


def test_a_safe_start_leaves_all_power_out_and_knows_what_is_stored():
    store = Store(stored(21))
    in_force = store.load(safe_start=True)
    assert (store.slot, store.safe_start, store.drives()) == (0, True, False)
    assert (in_force.engage_rpm, in_force.power_limit_w) == (21, 0)
    assert (in_force.assist_power_w, in_force.throttle_power_w) == (0, 0)
    assert (store.stored.engage_rpm, store.stored.assist_power_w) == (21, 250)
    assert store.load().as_dict() == store.stored.as_dict()
    assert store.drives()


def test_a_safe_start_without_a_slot_is_a_start_without_settings():
    store = Store(Paper())
    assert store.load(safe_start=True).as_dict() == Settings(SAFE_VALUES).as_dict()
    assert (store.slot, store.drives()) == (NO_SLOT, False)
    store.load()
    assert not store.drives()


def safe_desk(stored_slot: bool = True) -> Desk:
    """Return a console of a board that started safely."""
    there = Desk(stored_slot)
    there.store.load(safe_start=True)
    there.console = Console(
        there.rig.controller, there.rig.inputs, there.edges, there.store, "paper", there.recording()
    )
    return there


@pytest.mark.parametrize(("stored_slot", "named"), [(True, "settings_a.txt"), (False, "none")])
def test_the_board_says_at_once_and_when_asked_that_it_started_safely(stored_slot, named):
    there = safe_desk(stored_slot)
    assert json.loads(there.console.greeting()) == {"notice": f"settings: {SAFE}{named})"}
    assert there.ask({"request": "about"})[0]["settings"] == f"{SAFE}{named})"


def test_one_setting_is_put_right_and_the_stored_powers_stay():
    there = safe_desk()
    (answer,) = there.ask({"request": "set", "settings": {"engage_rpm": 33}})
    assert (answer["ok"], there.console.ending) == ("set", START_ANEW)
    after = Store(there.paper).load()
    assert (after.engage_rpm, after.assist_power_w, after.power_limit_w) == (33, 240, 250)


# Every board.


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize("name", NAMES)
def test_the_pin_is_read_before_the_settings_and_holds_for_a_start_with_new_ones(name, tmp_path, monkeypatch):
    import firmware.loop as loop
    from boards.services import Flash

    flash = Flash(str(tmp_path) + "/")
    flash.write("settings_a.txt", encode(Settings({"assist_power_w": 123}), 1, flash))
    start = Start(name, tmp_path, monkeypatch)
    start.hardware.connected[start.bench.pins.SAFE_START] = 0
    sent = bytearray(b'{"request": "set", "settings": {"engage_rpm": 33}}\n')
    heard = bytearray()

    class Asking(Plug):
        def read(self, into: bytearray, start: int, end: int) -> int:
            count = min(end - start, len(sent))
            into[start : start + count] = sent[:count]
            del sent[:count]
            return count

        def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
            heard.extend(unit[start:end])
            return end - start

    monkeypatch.setattr("boards.services.StandardPort", Asking)
    powers: list[tuple[int, int]] = []
    play = loop.run

    def spied(board, controller, *others):
        powers.append((controller.settings.assist_power_w, controller.settings.engage_rpm))
        start.hardware.connected.pop(start.bench.pins.SAFE_START, None)  # The jumper comes off too early.
        play(board, controller, *others)

    monkeypatch.setattr(loop, "run", spied)
    story = start.play()
    assert powers == [(0, 20), (0, 33)]
    assert "watchdog 1000" in story
    assert start.bench.command_mv() == -1
    assert heard.count(SAFE.encode()) == 2
    Start(name, tmp_path, monkeypatch).play()
    assert powers[2:] == [(123, 33)]


# The desk, under MicroPython.


def keep(folder: Path, settings: Settings) -> None:
    slot = encode(settings, 1, Paper())
    (folder / "settings_a.txt").write_bytes(slot)


@pytest.mark.long
@pytest.mark.parametrize("bike", example_names())
def test_a_pedalled_bicycle_of_any_kind_is_not_driven_and_the_next_start_drives(bike, tmp_path):
    keep(tmp_path, load_bike(bike).firmware_settings)
    frames, lines, _ = desk(tmp_path, b"", "--seconds=30", "--safe-start")
    assert lines[0] == {"notice": f"settings: {SAFE}settings_a.txt)"}
    assert max(frame.cadence_rpm for frame in frames) >= 60
    assert {(frame.command_v, frame.drive_enabled) for frame in frames} == {(0.0, False)}
    assert not any(frame.settings_valid for frame in frames)
    frames, _, _ = desk(tmp_path, b"", "--seconds=30")
    assert max(frame.command_v for frame in frames) > 1.0


def test_a_rise_that_jerks_is_put_right_over_the_link_and_nothing_else_changes(tmp_path):
    good = load_bike("cargo_trike").firmware_settings
    keep(tmp_path, Settings(good.as_dict() | {"rise_mv_per_s": 10_000}))
    asked = b'{"request": "set", "settings": {"rise_mv_per_s": %d}}\n' % good.rise_mv_per_s
    frames, lines, _ = desk(tmp_path, asked, "--seconds=20", "--safe-start")
    assert [line["ok"] for line in lines if "ok" in line] == ["set"]
    assert lines[-1] == {"notice": f"settings: {SAFE}settings_b.txt)"}
    assert {frame.command_v for frame in frames} == {0.0}
    paper = Paper()
    paper.files = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    store = Store(paper)
    assert store.load().as_dict() == good.as_dict()
    assert store.sequence == 2


# MicroPython with words of 32 bits, as on the boards.

SCRIPT = """
import binascii, gc, sys
gc.disable()
sys.path.insert(0, "")
from firmware.link.lines import settings_in_force
from firmware.link.store import Storage, Store
from firmware.settings import Settings
class Paper(Storage):
    def __init__(self): self.files = {}
    def read(self, name): return self.files.get(name, b"")
    def write(self, name, content): self.files[name] = content
    def crc32(self, content): return binascii.crc32(content)
store = Store(Paper())
store.load()
store.save(Settings({"assist_power_w": 240}))
for safe in (True, False):
    settings = store.load(safe)
    print(settings.assist_power_w, settings.power_limit_w, store.stored.assist_power_w, store.drives())
    print(settings_in_force(store))
"""


def test_a_safe_start_is_the_same_on_words_of_32_bits(tmp_path):
    if wasm.why_missing():
        pytest.skip(wasm.why_missing())
    (tmp_path / "safe.py").write_text(SCRIPT, encoding="utf-8")
    text, _ = wasm.run_script("/here/safe.py", [], {ROOT: "/project", tmp_path: "/here"}, "/project")
    assert text.splitlines() == [
        "0 0 240 False",
        f"{SAFE}settings_a.txt)",
        "240 250 240 True",
        "settings_a.txt, sequence 1",
    ]
