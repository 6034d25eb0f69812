"""Settings that survive loss of power: two slots, written in turn; the newest valid one counts.

A slot is a small text of fixed size: a heading, a sequence number, every setting, and a CRC-32 over all
of that. Saving overwrites the older or invalid slot, so a power cut at any moment leaves the other one.
A slot that lacks a setting, or holds one that the table does not allow, is as invalid as a damaged one:
nothing is guessed. Without a valid slot the board reads its sensors and drives nothing. In a safe start it
drives nothing either, whatever the slots say, so that a bad setting can be put right.

Flash writes stop everything else, so save only while the bicycle stands with its output at zero.
"""

from firmware.link.place import PLACE_FILE, Place, place_in
from firmware.settings import FIRST_PITCH_EDGES, TABLE, Settings

SLOT_NAMES = ("settings_a.txt", "settings_b.txt")
SLOT_SIZE = 3_072  # Fixed, so that overwriting one moves nothing else on a FAT disk.
SEQUENCE_MAX = 999_999_999  # Flash wears out long before.
HEADING = "treadle settings 1"
ENDING_SIZE = len("crc32 00000000\n")
SAFE_VALUES = {"power_limit_w": 0, "assist_power_w": 0, "throttle_power_w": 0}
NO_SLOT = -1


class Storage:
    """Where a board keeps settings. All of it may take time and memory."""

    def read(self, name: str) -> bytes:
        """Return the whole content of the file `name`; nothing if there is none."""
        raise NotImplementedError

    def write(self, name: str, content: bytes) -> None:
        """Put `content` into the file `name`, in place if it already has that size.

        OSError if that fails.
        """
        raise NotImplementedError

    def crc32(self, content: bytes) -> int:
        """Return the CRC-32 of IEEE 802.3, as in `binascii.crc32`."""
        raise NotImplementedError


class Store:
    """The two slots. Read after `load` or `save`: `slot` (0, 1 or NO_SLOT), `sequence`, `refusal`, `place`.

    `refusal` is a sentence that says why there is no valid slot, empty if there is one. `stored` is what the
    slot contains, to which changes are applied; `safe_start` tells whether its powers are ignored.
    """

    __slots__ = ("_storage", "place", "refusal", "safe_start", "sequence", "slot", "stored")

    def __init__(self, storage: Storage) -> None:
        """Start with nothing loaded."""
        self._storage = storage
        self.slot = NO_SLOT
        self.sequence = 0
        self.refusal = "the slots have not been read"
        self.place = Place("", PLACE_FILE + " has not been read")
        self.safe_start = False
        self.stored = Settings(SAFE_VALUES)

    def load(self, safe_start: bool = False) -> Settings:
        """Return the settings of the newest valid slot; without one, the defaults with all power at 0.

        In a safe start all power is 0 even with a valid slot.
        """
        self.safe_start = safe_start
        self.slot = NO_SLOT
        self.sequence = 0
        self.refusal = ""
        self.place = self._place()
        newest: Settings | None = None
        for slot in (0, 1):
            try:
                sequence, settings = decode(self._storage.read(SLOT_NAMES[slot]), self._storage)
            except (ValueError, OSError) as error:
                self.refusal += ("; " if slot else "") + SLOT_NAMES[slot] + ": " + reason_of(error)
                continue
            if sequence > self.sequence:
                self.slot = slot
                self.sequence = sequence
                newest = settings
        if newest is None:
            newest = Settings(SAFE_VALUES)
        else:
            self.refusal = ""
        self.stored = newest
        return _without_power(newest) if safe_start else newest

    def drives(self) -> bool:
        """Return whether the settings in force may drive: there is a valid slot, and no safe start."""
        return self.slot != NO_SLOT and not self.safe_start

    def _place(self) -> Place:
        try:
            return place_in(_checked(self._storage.read(PLACE_FILE), self._storage))
        except (ValueError, OSError) as error:
            return Place("", PLACE_FILE + ": " + reason_of(error))

    def save(self, settings: Settings) -> None:
        """Store `settings` in the older or invalid slot; OSError with a sentence if that fails.

        After a failure the previous settings are still valid.
        """
        if self.sequence == SEQUENCE_MAX:
            raise OSError("the slots have been written too often")
        slot = 1 if self.slot == 0 else 0
        content = encode(settings, self.sequence + 1, self._storage)
        self._storage.write(SLOT_NAMES[slot], content)
        if self._storage.read(SLOT_NAMES[slot]) != content:
            raise OSError(SLOT_NAMES[slot] + " does not read back as it was written")
        self.slot = slot
        self.sequence += 1
        self.refusal = ""


def _without_power(settings: Settings) -> Settings:
    values = settings.as_dict()
    for name in SAFE_VALUES:
        values[name] = 0
    return Settings(values)


def encode(settings: Settings, sequence: int, storage: Storage) -> bytes:
    """Return the content of a slot, SLOT_SIZE bytes; `sequence` 1 to SEQUENCE_MAX."""
    lines = [HEADING, "sequence " + str(sequence)]
    for name, value in _in_order(settings):
        lines.append(name + " " + str(value))
    text = "\n".join(lines) + "\n"
    text += " " * (SLOT_SIZE - ENDING_SIZE - len(text) - 1) + "\n"
    return with_check_sum(text.encode(), storage)


def decode(content: bytes, storage: Storage) -> tuple[int, Settings]:
    """Return sequence and settings of a slot; ValueError says what is wrong with it."""
    checked = _checked(content, storage)
    if len(content) != SLOT_SIZE:
        raise ValueError("its size is wrong")
    lines = checked.decode().split("\n")
    if lines[0] != HEADING:
        raise ValueError("its heading is unknown")
    values = {}
    for line in lines[1:]:
        words = line.split()
        if len(words) == 2:
            values[words[0]] = _whole(words[1])
    sequence = values.pop("sequence", 0)
    if not 1 <= sequence <= SEQUENCE_MAX:
        raise ValueError("its sequence number is out of range")
    for row in TABLE:
        if row[0] not in values:
            raise ValueError("it lacks " + row[0])
    _raise_engage_edges(values)
    return sequence, Settings(values)


def _raise_engage_edges(values: dict[str, int]) -> None:
    """Accept a slot of an older version, which could require fewer edges than a first pitch takes.

    It used those of the first pitch. What was never legal is unchanged and is refused.
    """
    kind = values["sensor_kind"]
    if values["engage_edges"] >= 2 and kind < len(FIRST_PITCH_EDGES):
        values["engage_edges"] = max(values["engage_edges"], FIRST_PITCH_EDGES[kind])


def _in_order(settings: Settings) -> list[tuple[str, int]]:
    """Return names and values in the order of the table: a MicroPython dictionary has none."""
    return [(row[0], getattr(settings, row[0])) for row in TABLE]


def _whole(word: str) -> int:
    for digit in word:
        if digit not in "0123456789":
            raise ValueError("it holds " + word + " where a whole number belongs")
    return int(word)


def with_check_sum(text: bytes, storage: Storage) -> bytes:
    """Return `text` with a last line that holds its CRC-32."""
    return text + b"crc32 " + b"%08x" % storage.crc32(text) + b"\n"


def _checked(content: bytes, storage: Storage) -> bytes:
    """Return what precedes the check sum; ValueError if there is nothing, or the sum is wrong."""
    if len(content) == 0:
        raise ValueError("it is missing")
    checked = content[: max(len(content) - ENDING_SIZE, 0)]
    if with_check_sum(checked, storage) != content:
        raise ValueError("its check sum is wrong")
    return checked


def reason_of(error: Exception) -> str:
    """Return the text of an error."""
    if not error.args:
        return "it failed"
    first = error.args[0]
    return first if isinstance(first, str) else "error " + str(first)
