"""Lesson 1's figure: the ring, the two channels as logic traces, the four states, and the count."""

from math import cos, radians, sin

from host_sim.lab.direction import PITCH_DEG, PULSES, Levels, Turned
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import BLUE, GREEN, GRID, INK, ORANGE, PAPER, QUIET, Drawing, Panel

_STATES = (0, 1, 3, 2)  # In the order in which a crank that turns forward goes through them, A first.
_WINDOW_DEG = 100.0


def draw_direction(turned: Turned) -> str:
    """Return the numbers and the drawing as HTML."""
    told = (
        f"Crank at {turned.angle_deg:g} degrees; the board counts {turned.count}, {turned.invalid} invalid."
    )
    drawing = Drawing(680, 300, told)
    _ring(drawing, turned)
    _traces(drawing, turned)
    _states(drawing, turned)
    return strip(_numbers(turned)) + drawing.text()


def _ring(drawing: Drawing, turned: Turned) -> None:
    x, y, radius = 125.0, 152.0, 88.0
    drawing.circle(x, y, radius + 20, PAPER, GRID, 2)
    for magnet in range(PULSES):
        # The middle of magnet 0 is half a pitch behind the pickups at angle 0; forward is clockwise.
        angle = radians(turned.angle_deg - (magnet + 0.5) * 360.0 / PULSES)
        drawing.circle(x + radius * sin(angle), y - radius * cos(angle), 16, GRID, QUIET)
    angle = radians(turned.angle_deg)
    drawing.line([(x, y), (x + 62 * sin(angle), y - 62 * cos(angle))], QUIET, 9)
    drawing.circle(x + 62 * sin(angle), y - 62 * cos(angle), 9, INK)
    drawing.circle(x, y, 12, INK)
    for name, shift, colour, level in (
        ("A", -PITCH_DEG / 8.0, BLUE, turned.now & 1),
        ("B", PITCH_DEG / 8.0, ORANGE, turned.now >> 1),
    ):
        side = radians(-shift if turned.swapped else shift)
        px, py = x + (radius + 36) * sin(side), y - (radius + 36) * cos(side)
        drawing.circle(px, py, 11, colour if level else PAPER, colour, 3)
        drawing.words(px, py + 5, name, PAPER if level else colour, 14, "middle", bold=True)
    drawing.words(x, y + radius + 42, "pickup filled = level 1", QUIET, 13, "middle")


def _traces(drawing: Drawing, turned: Turned) -> None:
    now_deg = turned.angle_deg
    ahead_deg, behind_deg = (20.0, -_WINDOW_DEG) if now_deg >= 0.0 else (_WINDOW_DEG, -20.0)
    panel = Panel(drawing, (286, 32, 384, 130), (now_deg + behind_deg, now_deg + ahead_deg), (0, 3))
    drawing.words(286, 18, "channels in quadrature", INK, 14, bold=True)
    for name, bit, base, colour in (("A", 1, 1.8, BLUE), ("B", 2, 0.4, ORANGE)):
        panel.plot(_steps(turned.true_levels, panel, now_deg, bit, base), colour, 3)
        drawing.words(panel.left - 8, panel.y_at(base + 0.2), name, colour, 16, "end", bold=True)
    if turned.look_every_deg:
        for angle_deg, levels in turned.seen_levels:
            if panel.x_low <= angle_deg <= panel.x_high:
                x = panel.x_at(angle_deg)
                drawing.line([(x, panel.top), (x, panel.top + panel.height)], QUIET, 1)
                drawing.circle(x, panel.y_at(1.8 + 0.9 * (levels & 1)), 6, PAPER, INK, 2.5)
                drawing.circle(x, panel.y_at(0.4 + 0.9 * (levels >> 1)), 6, PAPER, INK, 2.5)
        # Below the traces, on the side where the crank's angle isn't.
        place, anchor = (286, "start") if now_deg >= 0.0 else (670, "end")
        drawing.words(place, panel.top + panel.height + 16, "circles: seen by the board", INK, 13, anchor)
    here = panel.x_at(now_deg)
    drawing.line([(here, panel.top), (here, panel.top + panel.height)], INK, 1.5, "2 3")
    drawing.words(here, panel.top + panel.height + 16, f"crank at {now_deg:g}°", INK, 13, "middle")


def _steps(levels: Levels, panel: Panel, end_deg: float, bit: int, base: float) -> list[tuple[float, float]]:
    """Return one channel as a line with steps, inside the panel."""
    points: list[tuple[float, float]] = []
    for at, (angle_deg, value) in enumerate(levels):
        until_deg = levels[at + 1][0] if at + 1 < len(levels) else end_deg
        if max(angle_deg, until_deg) < panel.x_low or min(angle_deg, until_deg) > panel.x_high:
            continue
        high = base + (0.9 if value & bit else 0.0)
        points += [(angle_deg, high), (until_deg, high)]
    return points


def _states(drawing: Drawing, turned: Turned) -> None:
    drawing.words(286, 208, "the four states A B, a Gray code", INK, 14, bold=True)
    seen = turned.seen_levels[-1][1]
    for at, state in enumerate(_STATES):
        x = 300.0 + at * 66
        here = state == seen
        drawing.box(x - 12, 218, 46, 36, GREEN if here else PAPER, 1.0, GREEN if here else QUIET)
        drawing.words(
            x + 11, 242, f"{state & 1}{state >> 1}", PAPER if here else INK, 17, "middle", bold=True
        )
        if at < 3:
            drawing.words(x + 38, 242, "→", QUIET, 16)
    drawing.words(286, 276, "one step right: forward, one left: backward,", QUIET, 13)
    drawing.words(286, 293, "two at once: direction unknown, invalid", QUIET, 13)


def _numbers(turned: Turned) -> list[Number]:
    true_edges = len(turned.true_levels) - 1
    right_count = true_edges if turned.angle_deg >= 0.0 else -true_edges
    given = f"true: {true_edges} {'forward' if turned.angle_deg >= 0.0 else 'backward'}"
    return [
        ("the board counts", f"{turned.count:+d} edges", given, turned.count == right_count),
        ("invalid jumps", f"{turned.invalid}", _elsewhere(turned), turned.invalid == 0),
        ("its angle of the crank", f"{turned.counted_deg:.0f}°", f"true: {turned.angle_deg:g}°", None),
    ]


def _elsewhere(turned: Turned) -> str:
    """Return the counts of boards that start reading at other moments."""
    if not turned.begun_elsewhere:
        return "two steps at once"
    counts = [count for count, _ in turned.tries]
    invalid = [one for _, one in turned.tries]
    return (
        f"{len(counts)} starting moments: {min(counts)} to {max(counts)} edges, "
        f"{min(invalid)} to {max(invalid)} invalid"
    )
