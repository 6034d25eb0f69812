"""The log of a board's steps: headers, blocks and an end mark. See README.md in this folder."""

import binascii
import contextlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cobs import cobs  # type: ignore[import-untyped]

from firmware.settings import Settings
from host_sim.boardlink.recorded import Block, DamagedBlock, Loss, RecordedStep, StepReader, decode_block
from host_sim.errors import RequestError
from host_sim.textfile import read_bytes, spoken

MAGIC = "treadle_log"
VERSION = 1
SUFFIX = ".steps"
END = b'{"end": true}'
BYTES_MAX = 2_000_000_000


class LogFailed(Exception):
    """The file can't be written any more; the message is one sentence."""


@dataclass(slots=True)
class Section:
    """The log of one start of the board: its name, its settings, its blocks in order."""

    board: str
    form: str
    settings: dict[str, int]
    frozen: bool
    blocks: list[Block] = field(default_factory=list)

    def steps(self) -> Iterator[RecordedStep | Loss]:
        """Yield the steps, and a Loss where some are missing."""
        reader = StepReader()
        for block in self.blocks:
            yield from reader.feed(block)

    def firmware_settings(self) -> Settings:
        """Return the settings of this start; RequestError if this version of the firmware refuses them."""
        try:
            return Settings(self.settings)
        except (ValueError, TypeError, AttributeError) as error:
            raise RequestError(
                f"the log's settings do not fit this version of the firmware: {error}"
            ) from None

    @property
    def started_us(self) -> int | None:
        """The time that the controller was built with; None if the blocks begin later than the board."""
        first = self.blocks[0] if self.blocks else None
        return first.time_us if first is not None and (first.sequence, first.step) == (0, 0) else None


@dataclass(frozen=True, slots=True)
class Log:
    """A complete log. `ended` is False if writing was interrupted."""

    sections: list[Section]
    ended: bool

    @property
    def longest(self) -> Section:
        """The section with the most steps."""
        return max(self.sections, key=lambda section: sum(block.steps for block in section.blocks))


def header_line(board: str, form: str, settings: dict[str, int], frozen: bool) -> bytes:
    """Return the header of a section, with its own checksum."""
    content = {MAGIC: VERSION, "board": board, "form": form, "frozen": frozen, "settings": settings}
    return json.dumps(content | {"crc32": _crc32_of(content)}).encode("ascii")


def _crc32_of(content: dict[str, Any]) -> int:
    return binascii.crc32(json.dumps(content, sort_keys=True).encode("ascii"))


def piece_of(block: Block) -> bytes:
    """Return a block as it goes over the link, without the zeros around it."""
    crc = binascii.crc_hqx(block.payload, 0xFFFF).to_bytes(2, "big")
    code: bytes = cobs.encode(block.payload + crc)
    return code


class LogWriter:
    """An open log: every piece is appended at once. Use it in a `with`. Read: `blocks`, `path`."""

    def __init__(self, path: Path, force: bool, option: str) -> None:
        """Make sure that the file can be written; RequestError says why not. Users call it `option`."""
        self.path = path
        self.blocks = 0
        self._size = 0
        name = spoken(path)
        self._ours = not path.exists()
        if path.exists() and (not force or not path.is_file()):
            raise RequestError(f"{name} exists already, allowed is another {option}, or --force")
        try:
            flags = os.O_WRONLY | os.O_CREAT | (0 if force else os.O_EXCL) | getattr(os, "O_BINARY", 0)
            self._file = os.open(path, flags, 0o666)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "no possible file name"
            raise RequestError(f"{name} can't be written, allowed is another {option}: {reason}") from None

    def begin(self, board: str, form: str, settings: dict[str, int], frozen: bool = False) -> None:
        """Begin a section."""
        self._append(header_line(board, form, settings, frozen))

    def write(self, block: Block) -> None:
        """Append a block; LogFailed if that fails, and then earlier blocks stay."""
        self._append(piece_of(block))
        self.blocks += 1

    def _append(self, piece: bytes) -> None:
        content = piece + b"\0"
        try:
            if self._size == 0:
                os.ftruncate(self._file, 0)
            written = 0
            while written < len(content):
                written += os.write(self._file, content[written:])
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, self._size)
            raise LogFailed(
                f"{spoken(self.path)} takes no more ({error.strerror or error}): the {self.blocks} blocks "
                "before that are in it"
            ) from None
        self._size += len(content)

    def __enter__(self) -> "LogWriter":
        return self

    def __exit__(self, *_: object) -> None:
        """Write the end mark and close the file; remove it if it was created and is empty."""
        if self.blocks:
            with contextlib.suppress(LogFailed):
                self._append(END)
        os.close(self._file)
        if self.blocks == 0 and self._ours:
            with contextlib.suppress(OSError):
                self.path.unlink()


def read_log(path: Path) -> Log:
    """Return the log in a file; RequestError says in a sentence what is wrong with it, and where."""
    return parse_log(read_bytes(path, BYTES_MAX), spoken(path))


def parse_log(content: bytes, name: str) -> Log:
    """Return the log with this content; refusals call it `name`."""
    if MAGIC.encode() not in content[:40]:
        raise RequestError(f"{name} is not a log of treadle watch --record or --blackbox")
    *pieces, rest = content.split(b"\0")
    sections: list[Section] = []
    at, ended = 0, False
    for piece in pieces:
        where = f"{name} at byte {at}"
        at += len(piece) + 1
        if ended:
            raise RequestError(f"{where}: something follows the end mark, allowed is a log as it was written")
        if piece == END:
            ended = True
        elif piece.startswith(b"{"):
            sections.append(_section(piece, where))
        elif not sections:
            raise RequestError(f"{where}: there must be a header before the first block")
        else:
            sections[-1].blocks.append(_block(piece, where))
    if rest:
        raise RequestError(f"{name} is cut off at byte {at + len(rest)}, in the middle of a piece")
    sections = [section for section in sections if section.blocks]
    if not sections:
        raise RequestError(f"{name} has no steps, allowed is a log of a board that was recorded")
    return Log(sections, ended)


def _section(piece: bytes, where: str) -> Section:
    try:
        content = json.loads(piece)
        told = content.pop("crc32")
        if told != _crc32_of(content) or content[MAGIC] != VERSION:
            raise ValueError
        return Section(content["board"], content["form"], content["settings"], content["frozen"])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise RequestError(f"{where}: the header is damaged, or of another version") from None


def _block(piece: bytes, where: str) -> Block:
    try:
        block = decode_block(piece)
    except DamagedBlock as error:
        raise RequestError(f"{where}: a block is damaged, {error}") from None
    if block is None:
        raise RequestError(f"{where}: a block is damaged, it can't be decoded")
    return block
