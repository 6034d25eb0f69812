"""Reads a long file in pieces that end between words or lines, so that memory use stays constant."""

from collections.abc import Callable, Iterator
from typing import BinaryIO

BLOCK_BYTES = 1 << 19  # Arrays of a block's words stay within a few tens of megabytes.
PIECE_BYTES_MAX = 1 << 20  # No word or line of a capture is this long.
SHOWN_LONGEST = 40

Done = Callable[[int, int], None]


def whole_pieces(
    file: BinaryIO, ends: tuple[bytes, ...], bytes_all: int, done: Done | None
) -> Iterator[bytes]:
    """Yield the rest of a file in pieces that end after one of `ends`, except perhaps the last.

    If PIECE_BYTES_MAX contain none of `ends`, the piece ends anywhere. `done` gets (bytes read, all bytes).
    """
    rest = b""
    while block := file.read(BLOCK_BYTES):
        if done is not None:
            done(file.tell(), bytes_all)
        text = rest + block
        cut = max(text.rfind(end) for end in ends) + 1
        if cut == 0 and len(text) >= PIECE_BYTES_MAX:
            cut = len(text)
        if cut == 0:
            rest = text
            continue
        yield text[:cut]
        rest = text[cut:]
    if rest:
        yield rest


def shown(word: bytes) -> str:
    """Return bytes from a file for a message: in quotes, printable, at most SHOWN_LONGEST characters."""
    text = printable(word.decode("utf-8", "backslashreplace"))
    return f"'{text}'" if len(text) <= SHOWN_LONGEST else f"'{text[:SHOWN_LONGEST]}…'"


def printable(text: str) -> str:
    """Return a text with escapes for line ends and the like."""
    return text if text.isprintable() else repr(text)[1:-1]
