"""The Pico's file: UF2 taken apart by a reader of its own, littlefs mounted again by MicroPython's driver."""

import hashlib
import json
import re
import struct

import pytest

from host_sim.bikes.load import load_bike, settings_of
from host_sim.boardlink.bundle import Bundle, bundle_for
from host_sim.boardlink.image import filesystem_image
from host_sim.boardlink.targets import FlashLayout, target_named
from host_sim.boardlink.uf2 import uf2
from host_sim.errors import RequestError
from tests.micropython_unix import run

LAYOUT = FlashLayout(address=0x100A0000, block_size=4096, block_count=352, uf2_family=0xE48BFF56)


@pytest.fixture(scope="module")
def trike() -> Bundle:
    return bundle_for(target_named("rpi_pico"), load_bike("cargo_trike"), "bytecode")


@pytest.fixture(scope="module")
def image(trike) -> bytes:
    made = trike.uf2_image()
    assert made is not None
    return made


def payload_of(blocks: bytes) -> bytes:
    """Read UF2 as its published description has it (github.com/microsoft/uf2, "Overall format").

    The numbers below are from memory, and were compared with the table of that description and the list of
    families that the package adafruit-uf2 1.0.0 on PyPI repeats.
    """
    assert len(blocks) % 512 == 0
    count = len(blocks) // 512
    content = b""
    for number in range(count):
        block = blocks[number * 512 : (number + 1) * 512]
        words = struct.unpack("<8I", block[:32])
        assert words[0] == 0x0A324655
        assert words[1] == 0x9E5D5157
        assert words[2] == 0x00002000
        # RPI_PICO of MicroPython: 1408 KiB at the end of 2 MiB, of a flash that is seen at 0x10000000.
        assert words[3] == 0x10000000 + 0xA0000 + number * 256
        assert words[4] == 256
        assert words[5] == number
        assert words[6] == count
        assert words[7] == 0xE48BFF56
        assert block[32 + 256 : 508] == bytes(220)
        assert block[508:] == bytes([0x30, 0x6F, 0xB1, 0x0A])
        content += block[32 : 32 + 256]
    return content


def test_the_uf2_file_fills_the_picos_file_system_and_nothing_else(image):
    assert len(payload_of(image)) == 352 * 4096
    # Sector for sector, so that nothing of what was in the flash before can count again.
    assert 0x10000000 + 0xA0000 + 352 * 4096 == 0x10000000 + 2 * 1024 * 1024


def test_a_uf2_block_by_hand():
    made = uf2(bytes(range(256)) * 16, 0x10001000, 0x12345678)
    assert len(made) == 16 * 512
    second = made[512:1024]
    assert second[:16] == b"UF2\nWQ]\x9e\x00\x20\x00\x00\x00\x11\x00\x10"
    assert second[16:32] == b"\x00\x01\x00\x00\x01\x00\x00\x00\x10\x00\x00\x00\x78\x56\x34\x12"
    assert second[32:288] == bytes(range(256))
    assert second[288:508] == bytes(220)
    assert second[508:] == b"\x30\x6f\xb1\x0a"


@pytest.mark.parametrize(("address", "length"), [(0x10000100, 4096), (0x10000000, 4095), (0x10000000, 0)])
def test_half_a_sector_is_refused(address, length):
    with pytest.raises(ValueError, match="whole sectors"):
        uf2(bytes(length), address, 1)


@pytest.mark.parametrize(("form", "bike"), [("bytecode", "cargo_trike"), ("source", "folding")])
def test_micropython_mounts_the_image_finds_every_file_and_starts_from_it(tmp_path, form, bike):
    bundle = bundle_for(target_named("rpi_pico"), load_bike(bike), form)
    blocks = bundle.uf2_image()
    assert blocks is not None
    (tmp_path / "image").write_bytes(payload_of(blocks))
    seen = json.loads(run("tests/mounted_image.py", str(tmp_path / "image"), heap="8M"))
    wanted = {
        name: [len(content), hashlib.sha256(content).hexdigest()] for name, content in bundle.files.items()
    }
    assert seen["files"] == wanted
    assert len(wanted) > 40
    # The store inside the image reads the slot inside the image, and can write the other one.
    settings = settings_of(load_bike(bike)).as_dict()
    assert seen["stored"] == {"slot": 0, "sequence": 1, "settings": settings}
    settings["fault_samples"] += 1
    assert seen["changed"] == {"slot": 1, "sequence": 2, "settings": settings}
    assert {name: seen["files_then"][name] for name in wanted} == wanted
    assert set(seen["files_then"]) - set(wanted) == {"settings_b.txt"}


@pytest.mark.parametrize("tear", ["whole", "torn"])
def test_a_power_cut_at_any_block_write_of_the_first_change_leaves_the_settings_of_the_image(
    tmp_path, trike, tear
):
    (tmp_path / "image").write_bytes(filesystem_image(trike.files, LAYOUT))
    said = run("tests/power_cut.py", "littlefs", tear, str(tmp_path / "image"), heap="64M").decode()
    found = re.findall(r"^saved (\d+) cuts (\d+) old (\d+) new (\d+) neither (\d+)$", said, re.MULTILINE)
    assert len(found) == 1
    engage_rpm, cuts, old, new, neither = map(int, found[0])
    assert (engage_rpm, neither) == (21, 0)
    assert old + new == cuts >= 10


def test_what_does_not_fit_the_flash_is_refused():
    with pytest.raises(RequestError, match="do not fit the board's file system"):
        filesystem_image({"big": bytes(352 * 4096)}, LAYOUT)


def test_only_the_pico_gets_an_image():
    bike = load_bike("cargo_trike")
    assert bundle_for(target_named("esp32_devkitc"), bike, "source").uf2_image() is None
    assert bundle_for(target_named("pyboard"), bike, "source").uf2_image() is None
    assert bundle_for(target_named("desk"), bike, "source").uf2_image() is None
