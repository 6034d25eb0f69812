"""Settings survive the power: the newest valid slot counts, and whatever happens one of two is whole."""

import re
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.link.store import (
    NO_SLOT,
    SEQUENCE_MAX,
    SLOT_NAMES,
    SLOT_SIZE,
    Storage,
    Store,
    decode,
    encode,
    with_check_sum,
)
from firmware.settings import TABLE, Settings
from host_sim.testing.legal_settings import legal_values
from tests.micropython_unix import run


class Paper(Storage):
    """Files in memory. `torn_after` writes only so many bytes of the next write, and then fails."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.written: list[str] = []
        self.torn_after: int | None = None
        self.loses_a_bit = False

    def read(self, name: str) -> bytes:
        return self.files.get(name, b"")

    def write(self, name: str, content: bytes) -> None:
        self.written.append(name)
        if self.torn_after is not None:
            self.files[name] = content[: self.torn_after] + self.read(name)[self.torn_after :]
            raise OSError(5)
        if self.loses_a_bit:
            content = bytes([content[0] ^ 1]) + content[1:]
        self.files[name] = content

    def crc32(self, content: bytes) -> int:
        return zlib.crc32(content)


def stored(*engage_rpms: int) -> Paper:
    """Return files in which these settings were saved one after the other."""
    paper = Paper()
    store = Store(paper)
    store.load()
    for engage_rpm in engage_rpms:
        store.save(Settings({"engage_rpm": engage_rpm}))
    return paper


def found(paper: Paper) -> tuple[int, int, int]:
    store = Store(paper)
    settings = store.load()
    return settings.engage_rpm, store.slot, store.sequence


def test_a_board_without_a_slot_reads_its_sensors_and_asks_for_no_power():
    store = Store(Paper())
    settings = store.load()
    assert store.slot == NO_SLOT
    assert settings.power_limit_w == 0
    assert settings.assist_power_w == 0
    assert settings.throttle_power_w == 0
    assert settings.engage_rpm == 20
    assert store.refusal == "settings_a.txt: it is missing; settings_b.txt: it is missing"


def test_what_was_saved_last_is_loaded():
    assert found(stored(21)) == (21, 0, 1)
    assert found(stored(21, 22)) == (22, 1, 2)
    assert found(stored(21, 22, 23)) == (23, 0, 3)


def test_the_slots_are_written_in_turn_so_the_one_that_counts_is_never_touched():
    assert stored(21, 22, 23, 24).written == [SLOT_NAMES[0], SLOT_NAMES[1], SLOT_NAMES[0], SLOT_NAMES[1]]


def test_a_new_start_goes_on_with_the_other_slot():
    paper = stored(21)
    store = Store(paper)
    store.load()
    store.save(Settings({"engage_rpm": 30}))
    assert paper.written == ["settings_a.txt", "settings_b.txt"]
    assert found(paper) == (30, 1, 2)


def test_a_slot_is_a_text_of_3072_bytes_that_a_person_can_read():
    content = encode(Settings({"engage_rpm": 25}), 7, Paper())
    lines = content.decode("ascii").splitlines()
    assert len(content) == SLOT_SIZE == 3072
    assert lines[0] == "treadle settings 1"
    assert lines[1] == "sequence 7"
    assert lines[2] == "sensor_kind 0"
    assert "engage_rpm 25" in lines
    assert lines[-1] == f"crc32 {zlib.crc32(content[:-15]):08x}"


def test_the_longest_settings_leave_room_in_a_slot():
    words = [f"{name} {highest}\n" for name, _, _, highest, _ in TABLE]
    assert len("treadle settings 1\nsequence 999999999\n" + "".join(words)) < SLOT_SIZE - 100


@given(legal_values(), st.integers(1, SEQUENCE_MAX))
def test_any_legal_settings_come_back_as_they_were(values, sequence):
    read_sequence, settings = decode(encode(Settings(values), sequence, Paper()), Paper())
    assert read_sequence == sequence
    assert settings.as_dict() == Settings(values).as_dict()


@given(st.integers(0, SLOT_SIZE - 1), st.integers(1, 255))
def test_one_changed_byte_anywhere_makes_a_slot_invalid(at, change):
    paper = stored(21, 22)
    content = bytearray(paper.files["settings_b.txt"])
    content[at] ^= change
    paper.files["settings_b.txt"] = bytes(content)
    assert found(paper) == (21, 0, 1)


@given(st.binary(max_size=4000))
def test_no_garbage_is_taken_for_settings(garbage):
    paper = stored(21)
    paper.files["settings_b.txt"] = garbage
    assert found(paper) == (21, 0, 1)


@pytest.mark.parametrize("torn_after", [0, 1, 20, 500, 3_064])
def test_a_torn_write_leaves_the_old_settings_and_says_so(torn_after):
    paper = stored(21, 22)
    store = Store(paper)
    store.load()
    paper.torn_after = torn_after
    with pytest.raises(OSError, match="5"):
        store.save(Settings({"engage_rpm": 40}))
    assert store.sequence == 2
    assert found(paper) == (22, 1, 2)


def test_what_does_not_read_back_is_no_success():
    paper = stored(21)
    store = Store(paper)
    store.load()
    paper.loses_a_bit = True
    with pytest.raises(OSError, match=r"^settings_b.txt does not read back as it was written$"):
        store.save(Settings({"engage_rpm": 40}))
    assert found(paper) == (21, 0, 1)


def test_a_storage_that_fails_to_read_is_a_slot_that_is_not_there():
    class Broken(Paper):
        def read(self, name: str) -> bytes:
            raise OSError

    store = Store(Broken())
    assert store.load().power_limit_w == 0
    assert store.refusal == "settings_a.txt: it failed; settings_b.txt: it failed"


def test_after_a_billion_writes_nothing_is_stored_any_more():
    paper = Paper()
    paper.files["settings_a.txt"] = encode(Settings({}), 999_999_999, paper)
    store = Store(paper)
    store.load()
    with pytest.raises(OSError, match="too often"):
        store.save(Settings({}))
    assert paper.written == []


def rewritten(old: str, new: str) -> bytes:
    """Return a slot with another text in it, and a right checksum: another person's own work."""
    text = encode(Settings({}), 3, Paper()).decode()[:-15]
    assert old in text
    text = text.replace(old, new, 1)
    text = text.rstrip() + "\n"
    text += " " * (SLOT_SIZE - 15 - len(text) - 1) + "\n"
    return (text + f"crc32 {zlib.crc32(text.encode()):08x}\n").encode()


def older(kind: int, edges: int) -> bytes:
    """Return a slot as a version before the rule of the first pitch could leave it."""
    text = rewritten("engage_edges 8", f"engage_edges {edges}").decode()[:-15]
    text = text.replace("sensor_kind 0", f"sensor_kind {kind}")
    return (text + f"crc32 {zlib.crc32(text.encode()):08x}\n").encode()


@pytest.mark.parametrize(
    ("kind", "stored_edges", "edges"),
    [(0, 2, 5), (0, 4, 5), (0, 5, 5), (0, 6, 6), (1, 2, 3), (1, 3, 3), (2, 2, 2), (2, 3, 3)],
)
def test_a_slot_of_an_older_version_is_read_as_it_acted(kind, stored_edges, edges):
    _, settings = decode(older(kind, stored_edges), Paper())
    assert (settings.sensor_kind, settings.engage_edges) == (kind, edges)


@pytest.mark.parametrize(
    ("kind", "stored_edges", "reason"),
    [
        (0, 1, "engage_edges must be 2 to 128, got 1"),
        (3, 4, "sensor_kind must be 0 to 2, got 3"),
        (9, 4, "sensor_kind must be 0 to 2, got 9"),
    ],
)
def test_a_slot_of_an_older_version_that_was_never_legal_is_refused(kind, stored_edges, reason):
    with pytest.raises(ValueError, match=f"^{reason}$"):
        decode(older(kind, stored_edges), Paper())


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("treadle settings 1", "treadle settings 2", "its heading is unknown"),
        ("sequence 3", "sequence 0", "its sequence number is out of range"),
        ("sequence 3", "sequence 1000000000", "its sequence number is out of range"),
        ("sequence 3\n", "", "its sequence number is out of range"),
        ("engage_rpm 20\n", "", "it lacks engage_rpm"),
        ("engage_rpm 20", "engage_rpm 61", "engage_rpm must be 5 to 60, got 61"),
        ("engage_rpm 20", "engage_rpm -5", "it holds -5 where a whole number belongs"),
        ("engage_rpm 20", "engage_rpm 2e1", "it holds 2e1 where a whole number belongs"),
        ("engage_rpm 20", "engage_rpm 2X", "it holds 2X where a whole number belongs"),
        ("engage_rpm 20", "engage_rpm 20\nfoo 3", "there is no setting foo"),
        ("release_rpm 12", "release_rpm 20", "release_rpm must be lower than engage_rpm, got 20 and 20"),
    ],
)
def test_a_slot_with_a_right_check_sum_must_still_be_right(old, new, reason):
    with pytest.raises(ValueError, match=f"^{re.escape(reason)}$"):
        decode(rewritten(old, new), Paper())


def test_a_whole_slot_that_was_only_lengthened_is_refused():
    with pytest.raises(ValueError, match=r"^its check sum is wrong$"):
        decode(encode(Settings({}), 3, Paper()) + b"\n", Paper())


@pytest.mark.parametrize("more", ["", "\n\n"])
def test_a_slot_of_another_size_is_refused_whatever_its_check_sum(more):
    text = encode(Settings({}), 3, Paper()).decode()[:-15]
    content = with_check_sum((text[:-1] + more).encode(), Paper())
    assert len(content) in (SLOT_SIZE - 1, SLOT_SIZE + 1)
    with pytest.raises(ValueError, match=r"^its size is wrong$"):
        decode(content, Paper())


def test_a_storage_must_bring_its_three_methods():
    for call in (Storage().read, Storage().crc32):
        with pytest.raises(NotImplementedError):
            call("x")  # type: ignore[operator]
    with pytest.raises(NotImplementedError):
        Storage().write("x", b"")


@pytest.mark.long
@pytest.mark.parametrize("tear", ["whole", "torn"])
@pytest.mark.parametrize("file_system", ["littlefs", "fat"])
def test_a_power_cut_at_any_block_write_leaves_old_or_new_on_the_real_drivers(file_system, tear):
    lines = run("tests/power_cut.py", file_system, tear, heap="4M").decode().splitlines()
    results = [
        re.fullmatch(r"saved (\d+) cuts (\d+) old (\d+) new (\d+) neither (\d+)", line) for line in lines
    ]
    numbers = [[int(word) for word in result.groups()] for result in results if result]
    assert [saved for saved, *_ in numbers] == [21, 22, 23, 24]
    for _, cuts, old, new, neither in numbers:
        assert cuts >= 7
        assert old + new == cuts
        assert neither == 0


def test_a_store_that_has_not_looked_says_so():
    store = Store(Paper())
    assert (store.slot, store.sequence, store.refusal) == (-1, 0, "the slots have not been read")


def test_one_valid_slot_is_enough_and_nothing_is_complained_of():
    paper = stored(25)
    store = Store(paper)
    store.load()
    assert store.refusal == ""


def test_of_two_slots_with_one_number_the_first_counts():
    paper = Paper()
    for name, engage_rpm in (("settings_a.txt", 25), ("settings_b.txt", 26)):
        paper.files[name] = encode(Settings({"engage_rpm": engage_rpm}), 5, paper)
    assert Store(paper).load().engage_rpm == 25
