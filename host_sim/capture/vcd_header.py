"""The header of a VCD file (IEEE 1364, chapter "Value change dump files"): time scale and variables."""

import io
import re
from codecs import BOM_UTF8
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from vcd.common import Timescale
from vcd.reader import TokenKind, VarDecl, VCDParseError, tokenize

from host_sim.capture.blocks import BLOCK_BYTES, printable
from host_sim.capture.choice import among
from host_sim.errors import RequestError
from host_sim.textfile import spoken

HEADER_BYTES_MAX = 16_000_000  # A quarter of a million variables; a real header has fewer.
REASON_LONGEST = 100
ZEPTOSECONDS = {"s": 21, "ms": 18, "us": 15, "ns": 12, "ps": 9, "fs": 6, "as": 3, "zs": 0}
NO_LEVELS = ("real", "realtime", "shortreal", "real_parameter", "string", "event")
_END = re.compile(rb"\$enddefinitions\s+\$end(?=\s|\Z)")


@dataclass(frozen=True, slots=True)
class Bit:
    """One bit of a variable: its name for messages, the code of its variable, its place from the right."""

    name: str
    code: bytes
    place: int


@dataclass(frozen=True, slots=True)
class VcdHeader:
    """The declarations of a VCD file. `scale_zs` is its time unit in 1e-21 s; `end` is where values begin."""

    scale_zs: int
    variables: list[tuple[str, VarDecl]]
    end: int
    lines: int

    def choose(self, channels: tuple[str, ...] | None, file: str) -> list[Bit]:
        """Return the bits that are meant: the only one or two of the file, or those that `channels` name."""
        if channels is not None:
            return [self._named(channel, file) for channel in channels]
        single = [(path, var) for path, var in self.variables if _has_levels(var) and var.size == 1]
        if not 1 <= len(single) <= 2:
            raise RequestError(
                f"{file}: it has {len(single)} variables of one bit,"
                f" allowed is --channels with {self._among()}"
            )
        short = [var.ref_str for _, var in single]
        names = short if len(set(short)) == len(short) else [path for path, _ in single]
        return [Bit(name, var.id_code.encode(), 0) for name, (_, var) in zip(names, single, strict=True)]

    def _named(self, channel: str, file: str) -> Bit:
        found = self._variables_called(channel)
        bit = None
        picked = re.fullmatch(r"(.+)\[(-?\d{1,9})\]", channel)
        if not found and picked:
            found, bit = self._variables_called(picked[1]), int(picked[2])
        if len({var.id_code for _, var in found}) != 1:
            count = "more than one of its variables is" if found else "none of its variables is"
            raise RequestError(f"{file}: {count} called '{channel}', allowed is {self._among(found)}")
        path, var = found[0]
        if not _has_levels(var):
            raise RequestError(f"{file}: '{path}' is of the type {var.type_}, allowed is one that has levels")
        return Bit(channel, var.id_code.encode(), _place_of_bit(path, var, bit, file))

    def _variables_called(self, name: str) -> list[tuple[str, VarDecl]]:
        """Return the variables of this name, given with or without their scopes."""
        exact = [(path, var) for path, var in self.variables if name in (path, _without_range(path, var))]
        return exact or [
            (path, var)
            for path, var in self.variables
            if path.endswith("." + name) or _without_range(path, var).endswith("." + name)
        ]

    def _among(self, found: list[tuple[str, VarDecl]] | None = None) -> str:
        pairs = found or [pair for pair in self.variables if _has_levels(pair[1])]
        return among([path for path, _ in pairs])


def read_vcd_header(file: BinaryIO, path: Path) -> VcdHeader:
    """Read the header from the start of `file`; RequestError says what is wrong with it."""
    name = spoken(path.name)
    text = _header_text(file, name)
    variables: list[tuple[str, VarDecl]] = []
    scopes: list[str] = []
    scale_zs = 0
    # Comments may contain letters that the tokenizer rejects: it accepts ASCII only.
    ascii_text = re.sub(rb"[^\x00-\x7f]", b"?", text.removeprefix(BOM_UTF8))
    try:
        for token in tokenize(io.BytesIO(ascii_text + b"\n")):
            if token.kind is TokenKind.SCOPE:
                scopes.append(token.scope.ident)
            elif token.kind is TokenKind.UPSCOPE:
                del scopes[-1:]
            elif token.kind is TokenKind.VAR:
                variables.append((".".join([*scopes, token.var.ref_str]), token.var))
            elif token.kind is TokenKind.TIMESCALE:
                scale_zs = _scale_zs(token.timescale, name)
    except VCDParseError as error:
        # The text of the error begins with the place.
        reason = printable(str(error).split(": ", 1)[-1])[:REASON_LONGEST]
        raise RequestError(f"{name} line {error.loc.line}: the VCD header is broken ({reason})") from error
    except ValueError as error:
        raise RequestError(f"{name}: the VCD header holds a number with too many digits") from error
    if scale_zs == 0:
        raise RequestError(f"{name}: the VCD header has no $timescale, allowed is one from 1 fs to 100 s")
    return VcdHeader(scale_zs, variables, len(text), text.count(b"\n"))


def _header_text(file: BinaryIO, name: str) -> bytes:
    """Return everything up to the end of $enddefinitions."""
    text = b""
    while len(text) < HEADER_BYTES_MAX:
        block = file.read(BLOCK_BYTES)
        # One byte more than the match, or the end of the file, shows that the word ends there.
        text += block
        found = _END.search(text)
        if found and (found.end() < len(text) or not block):
            return text[: found.end()]
        if not block:
            break
    raise RequestError(
        f"{name}: the VCD header does not end, $enddefinitions $end is missing: it may be cut off"
    )


def _scale_zs(timescale: Timescale, name: str) -> int:
    """Return the time scale in 1e-21 s."""
    unit = timescale.unit.value
    power: int = 10 ** ZEPTOSECONDS[unit]
    if timescale.magnitude not in (1, 10, 100):
        raise RequestError(
            f"{name}: $timescale is {str(timescale.magnitude)[:20]} {unit}, allowed is 1, 10 or 100 of a unit"
        )
    return timescale.magnitude * power


def _has_levels(var: VarDecl) -> bool:
    return var.type_.value not in NO_LEVELS


def _without_range(path: str, var: VarDecl) -> str:
    """Return the path of a vector without its [7:0]."""
    return path[: -len(var.ref_str) + len(var.reference)] if isinstance(var.bit_index, tuple) else path


def _place_of_bit(path: str, var: VarDecl, bit: int | None, file: str) -> int:
    """Return the distance of bit number `bit` from the right."""
    left, right = var.bit_index if isinstance(var.bit_index, tuple) else (var.size - 1, 0)
    if bit is None:
        if var.size == 1:
            return 0
        base = _without_range(path, var)
        raise RequestError(
            f"{file}: '{path}' has {var.size} bits, allowed is one of them, such as {base}[{right}]"
        )
    if not min(left, right) <= bit <= max(left, right):
        raise RequestError(f"{file}: '{path}' has no bit {bit}, allowed is {right} to {left}")
    return abs(bit - right)
