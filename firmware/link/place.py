"""The limits of the place that a board was flashed for: no request may set anything beyond them.

They are in a file of their own. Only the host writes it, together with the first settings; the board only
reads it, so no power cut damages it. A heading, the place's title, a line "setting lowest highest" for each
limit, and a CRC-32 over all of that. If the file is missing or damaged, settings that a place may
limit can't be changed at all, and the stored settings stay in force.
"""

from firmware.settings import Settings

PLACE_FILE = "place.txt"
PLACE_HEADING = "treadle place 1"
LIMITED: tuple[str, ...] = (
    "power_limit_w",
    "cutoff_speed_mm_per_s",
    "throttle_unpedalled",
    "startup_speed_mm_per_s",
    "cutoff_distance_mm",
    "engage_speed_mm_per_s",
)
"""The settings that a place may limit."""


UNLIMITED = 999_999_999  # Above the highest value of any setting.


class Place:
    """Limits of settings. Read: `title`, `refusal` (why nothing is known; empty if all is well)."""

    __slots__ = ("_highest", "_lowest", "refusal", "title")

    def __init__(self, title: str, refusal: str) -> None:
        """Start without a limit."""
        self._lowest = [0] * len(LIMITED)
        self._highest = [UNLIMITED] * len(LIMITED)
        self.refusal = refusal
        self.title = title

    def limit(self, name: str, lowest: int, highest: int) -> None:
        """Let a setting of LIMITED go from `lowest` to `highest`; ValueError for any other."""
        if name not in LIMITED:
            raise ValueError("it holds " + name + ", which no place limits")
        self._lowest[LIMITED.index(name)] = lowest
        self._highest[LIMITED.index(name)] = highest

    def check(self, wanted: Settings, in_force: Settings) -> None:
        """Raise ValueError, which names the place, if it does not allow a setting in `wanted`.

        If the place is not known, a setting that a place may limit must equal the one `in_force`.
        """
        for number in range(len(LIMITED)):
            name = LIMITED[number]
            value = getattr(wanted, name)
            lowest, highest = self._lowest[number], self._highest[number]
            if self.refusal:
                if value != getattr(in_force, name):
                    why = "the limits of this board's place are not known (" + self.refusal + ")"
                    raise ValueError(name + " can't be changed, " + why + ": flash the board again")
            elif not lowest <= value <= highest:
                allowed = str(lowest) + " to " + str(highest)
                where = " in this board's place, " + self.title
                raise ValueError(name + " must be " + allowed + where + ", got " + str(value))


def place_in(checked: bytes) -> Place:
    """Return the place before a correct check sum; ValueError says what is wrong with it."""
    lines = checked.decode().split("\n")
    if lines[0] != PLACE_HEADING or len(lines) < 3:
        raise ValueError("its heading is unknown")
    place = Place(lines[1], "")
    for line in lines[2:-1]:
        words = line.split()
        if len(words) != 3:
            raise ValueError("it holds " + line + " where a limit belongs")
        place.limit(words[0], int(words[1]), int(words[2]))
    return place
