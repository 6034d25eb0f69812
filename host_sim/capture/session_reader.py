"""Reads sigrok session files: a zip with `version`, `metadata` (INI) and samples in `logic-1-1` and on."""

import configparser
import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from host_sim.capture.blocks import BLOCK_BYTES, Done, shown
from host_sim.capture.choice import choose
from host_sim.capture.edges import RATE_MAX_HZ, Capture, Damage, Levels, Times, sample_times_ns
from host_sim.errors import RequestError
from host_sim.textfile import open_file, spoken

METADATA_BYTES_MAX = 1_000_000
UNIT_BYTES_MAX = 64
HZ = {"": 1, "hz": 1, "khz": 10**3, "mhz": 10**6, "ghz": 10**9}
# Everything that zipfile and the decompressors raise for broken files.
BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    ArithmeticError,
    EOFError,
    LookupError,
    NotImplementedError,
    OSError,
    RuntimeError,
    ValueError,
)


@dataclass(frozen=True, slots=True)
class SessionHeader:
    """The contents of `metadata`. `names` and `bits` are of the logic channels; `base` names the samples."""

    rate_hz: int
    unit_bytes: int
    names: list[str]
    bits: list[int]
    base: str


class SessionCapture(Capture):
    """A session file: samples at an even rate."""

    form = "session file"

    def __init__(self, path: Path, channels: tuple[str, ...] | None, done: Done | None) -> None:
        """Read `metadata` and find the samples; RequestError if there are none."""
        name = spoken(path.name)
        try:
            with open_file(path) as file, zipfile.ZipFile(file) as archive:
                self._header = _read_metadata(archive, name)
                self._members = _members(archive, self._header.base)
                self._bytes_all = sum(archive.getinfo(member).file_size for member in self._members)
        except BROKEN as error:
            bad_zip = isinstance(error, zipfile.BadZipFile)
            reason = "it is a zip that is broken or cut off" if bad_zip else "it is broken"
            raise RequestError(f"{name}: no session file can be read from it, {reason}") from error
        if not self._members:
            raise RequestError(f"{name}: there are no samples of logic channels in it")
        places = choose(self._header.names, channels, name)
        self._chosen_bits = [self._header.bits[place] for place in places]
        self._done = done
        super().__init__(path, tuple(self._header.names[place] for place in places))

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        sample = 0
        expected = 1
        with open_file(self.path) as file, _archive(file) as archive:
            for member in self._members:
                number = int(member.rpartition("-")[2])
                if member != self._header.base and number != expected:
                    raise Damage(f"{self._header.base}-{expected} is missing; what follows is not read")
                expected += 1
                for data in self._whole_samples(archive, member, sample):
                    count = len(data) // self._header.unit_bytes
                    self._last_ns = int(self._times_ns(np.array([sample + count]))[0])
                    yield self._changes(data, sample)
                    sample += count

    def _whole_samples(self, archive: zipfile.ZipFile, member: str, sample: int) -> Iterator[bytes]:
        """Yield a member's samples block by block."""
        unit_bytes = self._header.unit_bytes
        rest = b""
        before = sample * unit_bytes
        try:
            with archive.open(member) as samples:
                while block := samples.read(BLOCK_BYTES):
                    before += len(block)
                    if self._done is not None:
                        self._done(before, self._bytes_all)
                    data = rest + block
                    whole = len(data) - len(data) % unit_bytes
                    rest = data[whole:]
                    if whole:
                        yield data[:whole]
        except BROKEN as error:
            raise Damage(
                f"{member}: it is broken ({_reason(error)}), its last samples are in doubt"
            ) from error
        if rest:
            raise Damage(f"{member}: it ends inside a sample; what follows is not read")

    def _changes(self, data: bytes, sample: int) -> tuple[Times, Levels]:
        """Return the first sample, those that differ from the one before, and the last."""
        rows = np.frombuffer(data, np.uint8).reshape(-1, self._header.unit_bytes)
        levels = np.zeros(len(rows), np.uint8)
        for channel, bit in enumerate(self._chosen_bits):
            levels |= (rows[:, bit // 8] >> np.uint8(bit % 8) & np.uint8(1)) << np.uint8(channel)
        changed = np.concatenate(([0], np.flatnonzero(levels[1:] != levels[:-1]) + 1))
        return self._times_ns(changed.astype(np.int64) + sample), levels[changed]

    def _times_ns(self, samples: Times) -> Times:
        return sample_times_ns(samples, self._header.rate_hz)


def _archive(file: BinaryIO) -> zipfile.ZipFile:
    """Open the zip again: it may have changed."""
    try:
        return zipfile.ZipFile(file)
    except BROKEN as error:
        raise Damage("changed while it was read") from error


def _read_metadata(archive: zipfile.ZipFile, name: str) -> SessionHeader:
    """Read the INI text."""
    names = archive.namelist()
    if "metadata" not in names or "version" not in names:
        raise RequestError(
            f"{name}: it is a zip without 'version' and 'metadata', so it is not a session file"
        )
    with archive.open("version") as member:
        version = member.read(20).strip()
    if version not in (b"1", b"2"):
        raise RequestError(f"{name}: its version is {shown(version)}, allowed is 1 or 2")
    with archive.open("metadata") as member:
        text = member.read(METADATA_BYTES_MAX).decode("utf-8", "replace")
    parser = configparser.ConfigParser(interpolation=None, strict=False)
    try:
        parser.read_string(text)
    except configparser.Error as error:
        raise RequestError(f"{name}: its metadata are not INI text") from error
    device = next((parser[section] for section in parser.sections() if section.startswith("device")), None)
    if device is None:
        raise RequestError(f"{name}: its metadata describe no device")
    probes = sorted((int(key[5:]), device[key]) for key in device if re.fullmatch(r"probe\d{1,4}", key))
    unit_bytes = _whole_number(device.get("unitsize", "1"), "unitsize", UNIT_BYTES_MAX, name)
    logic = [(number, text) for number, text in probes if 1 <= number <= 8 * unit_bytes]
    return SessionHeader(
        rate_hz=_rate_hz(device.get("samplerate", ""), name),
        unit_bytes=unit_bytes,
        names=[text for _, text in logic],
        bits=[number - 1 for number, _ in logic],
        base=device.get("capturefile", "logic-1"),
    )


def _rate_hz(text: str, name: str) -> int:
    found = re.fullmatch(r"(\d{1,12})(?:\.(\d{1,9}))?\s*([kmg]?hz|)", text.strip().lower(), re.ASCII)
    decimals = (found[2] or "") if found else ""
    hz = int(found[1] + decimals) * HZ[found[3]] // 10 ** len(decimals) if found else 0
    if not 1 <= hz <= RATE_MAX_HZ:
        raise RequestError(
            f"{name}: its samplerate is {shown(text.encode())}, allowed is 1 Hz to {RATE_MAX_HZ // 10**9} GHz"
        )
    return hz


def _whole_number(text: str, key: str, most: int, name: str) -> int:
    if not re.fullmatch(r"\d{1,6}", text, re.ASCII) or not 1 <= int(text) <= most:
        raise RequestError(f"{name}: its {key} is {shown(text.encode())}, allowed is 1 to {most}")
    return int(text)


def _members(archive: zipfile.ZipFile, base: str) -> list[str]:
    """Return the members that contain samples, in the order of their numbers."""
    names = set(archive.namelist())
    if base in names:
        return [base]
    numbered = [name for name in names if re.fullmatch(re.escape(base) + r"-\d{1,9}", name, re.ASCII)]
    return sorted(numbered, key=lambda name: int(name.rpartition("-")[2]))


def _reason(error: Exception) -> str:
    return "its checksum does not fit" if "CRC" in str(error) else "its compressed data are invalid"
