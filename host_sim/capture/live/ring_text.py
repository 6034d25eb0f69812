"""The ring as text: magnets on a circle, the arm's position, missing and weak magnets."""

from itertools import pairwise
from math import cos, pi, sin

ROWS, COLUMNS = 13, 33
SEEN, MISSING, WEAK, HERE = "●", "○", "◐", "◆"


def ring_text(pulses: int, missing: list[int], weak: list[int], arm_deg: float | None, here: int = 0) -> str:
    """Return a circle of magnets, forward clockwise, the left arm at the bottom; `here` is at the pickup.

    `arm_deg`: angle of the crank from the arm straight down until magnet 1 passes; None: magnet 1 is on top.
    """
    page = [[" "] * COLUMNS for _ in range(ROWS)]
    for number in range(1, pulses + 1):
        turned = (number - 1) / pulses * 2.0 * pi + (0.0 if arm_deg is None else arm_deg * pi / 180.0 + pi)
        row = round((ROWS - 1) / 2 * (1.0 - 0.95 * cos(turned)))
        column = round((COLUMNS - 1) / 2 * (1.0 + 0.9 * sin(turned)))
        sign = MISSING if number in missing else WEAK if number in weak else SEEN
        page[row][column] = HERE if number == here else sign
        if number == 1 and column + 1 < COLUMNS:
            page[row][column + 1] = "1"
    middle = ROWS // 2
    for row in range(middle, ROWS - 3 if arm_deg is not None else middle):
        page[row][COLUMNS // 2] = "│"
    lines = ["".join(row).rstrip() for row in page]
    words = [f"{SEEN} a magnet"]
    words += [f"{MISSING} missing"] if missing else []
    words += [f"{WEAK} weak"] if weak else []
    words += ["│ the left arm at the start"] if arm_deg is not None else []
    return "\n".join([*lines, ", ".join(words)])


def so_far_text(times_s: list[float]) -> str:
    """Return the magnets passed so far, one sign each, another one for a gap; 60 per line."""
    letters: list[str] = []
    gaps = [later - one for one, later in pairwise(times_s)]
    for place, gap_s in enumerate(gaps):
        beside = sorted(gaps[max(place - 3, 0) : place] + gaps[place + 1 : place + 4])
        letters.append(SEEN)
        if len(beside) >= 4 and gap_s > 1.6 * beside[len(beside) // 2]:
            letters.append(MISSING)
    letters += [SEEN] * bool(times_s)
    text = "".join(letters)
    return "\n".join(text[begin : begin + 60] for begin in range(0, len(text), 60))
