"""Lines of text to a host: one JSON object each, padded to whole pieces of the port."""

from firmware.link.payload import FRAME_KIND
from firmware.link.port import PIECE_SIZE
from firmware.link.store import NO_SLOT, SLOT_NAMES, Store
from firmware.settings import TABLE, Settings

SETTINGS_IN_A_LINE = 6


def settings_in_force(store: Store) -> str:
    """Return which settings are in force, or why none are; `store` has been loaded."""
    if store.safe_start:
        stored = "none" if store.slot == NO_SLOT else SLOT_NAMES[store.slot]
        return "safe start, so the motor stays off until a start without the pin (stored: " + stored + ")"
    if store.slot == NO_SLOT:
        return "none are valid, so the motor stays off (" + store.refusal + ")"
    return SLOT_NAMES[store.slot] + ", sequence " + str(store.sequence)


def about_line(board_name: str, store: Store) -> bytes:
    """Return the line that says what this board is."""
    text = '"ok": "about", "board": ' + quoted(board_name) + ', "frame": ' + str(FRAME_KIND)
    return line_of(text + ', "settings": ' + quoted(settings_in_force(store)))


def settings_lines(settings: Settings) -> list[bytes]:
    """Return the lines that list all settings."""
    lines = []
    for start in range(0, len(TABLE), SETTINGS_IN_A_LINE):
        end = min(start + SETTINGS_IN_A_LINE, len(TABLE))
        # In one join: where memory is nearly full, each longer string delays a slow board's start by 0.3 ms.
        pieces = ['"ok": "settings", "settings": {']
        for row in TABLE[start:end]:
            pieces.append('"' if row is TABLE[start] else ', "')
            pieces.append(row[0])
            pieces.append('": ')
            pieces.append(str(getattr(settings, row[0])))
        pieces.append('}, "left": ')
        pieces.append(str(len(TABLE) - end))
        lines.append(line_of("".join(pieces)))
    return lines


def line_of(text: str) -> bytes:
    """Return the object with this content as a line of whole pieces, padded with spaces before its end."""
    content = ("{" + text + "}").encode()
    return content + b" " * ((-1 - len(content)) % PIECE_SIZE) + b"\n"


def refusal(reason: str) -> bytes:
    """Return the line that refuses a request."""
    return line_of('"refused": ' + quoted(reason))


def quoted(text: str) -> str:
    """Return `text` as JSON writes it."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
