"""Charts as inline SVG text, written directly: a millisecond each, where a plotting library takes a hundred.

The handover sheet and the lab put these into a page. They load nothing, scale with the page, and carry a
title for those who can't see them. Every text is escaped. Lines differ in lightness and dashes as well as in
colour (colours after Okabe and Ito, "Color Universal Design", 2008, from memory, darkened for white paper).
"""

from collections.abc import Iterable, Sequence
from html import escape

INK = "#1d2733"
QUIET = "#5b6470"
GRID = "#dde1e6"
BLUE = "#005a94"
ORANGE = "#b85c00"
GREEN = "#00694e"
RED = "#a0252f"
PURPLE = "#7a3b78"
YELLOW = "#f2c744"
PAPER = "#ffffff"

Points = Sequence[tuple[float, float]]


class Drawing:
    """SVG shapes in a box of `width` by `height` units; read with `text`."""

    def __init__(self, width: float, height: float, title: str) -> None:
        """Start an empty drawing; `title` says in a sentence what it shows."""
        self.width = width
        self.height = height
        self._title = title
        self._parts: list[str] = []

    def text(self) -> str:
        """Return the whole SVG element."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:g}" '
            f'role="img" aria-label="{escape(self._title)}" font-family="system-ui, sans-serif" '
            'font-size="13" '
            f'fill="{INK}" style="width:100%;height:auto;max-width:{self.width:g}px">'
        )
        return head + "".join(self._parts) + "</svg>"

    def line(
        self, points: Points, colour: str = INK, width: float = 1.5, dash: str = "", fill: str = "none"
    ) -> None:
        """Draw a line through `points`; with `fill` the area that it encloses."""
        if not points:
            return
        way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<polyline points="{way}" fill="{fill}" stroke="{colour}" stroke-width="{width:g}"{dashes} '
            'stroke-linejoin="round"/>'
        )

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: str,
        opacity: float = 1.0,
        edge: str = "none",
    ) -> None:
        """Draw a rectangle."""
        self._parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0.0):.1f}" height="{max(height, 0.0):.1f}" '
            f'fill="{fill}" fill-opacity="{opacity:g}" stroke="{edge}"/>'
        )

    def circle(
        self, x: float, y: float, radius: float, fill: str, edge: str = "none", width: float = 1.5
    ) -> None:
        """Draw a circle."""
        self._parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{fill}" stroke="{edge}" '
            f'stroke-width="{width:g}"/>'
        )

    def words(
        self, x: float, y: float, text: str, colour: str = INK, size: float = 13.0, anchor: str = "start",
        bold: bool = False,
    ) -> None:  # fmt: skip
        """Write `text` at a point; `anchor` is start, middle or end."""
        weight = ' font-weight="600"' if bold else ""
        # A white edge keeps dark words readable where they cross a line.
        edge = "none" if colour == PAPER else PAPER
        self._parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" font-size="{size:g}" '
            f'text-anchor="{anchor}"{weight}'
            f' paint-order="stroke" stroke="{edge}" stroke-width="3">{escape(text)}</text>'
        )


class Panel:
    """A chart inside a drawing: data coordinates, axes, lines. Values beyond the ranges are cut off."""

    def __init__(
        self, drawing: Drawing, box: tuple[float, float, float, float], x: tuple[float, float],
        y: tuple[float, float],
    ) -> None:  # fmt: skip
        """Take the box (left, top, width, height) and the ranges of both axes, low before high."""
        self.drawing = drawing
        self.left, self.top, self.width, self.height = box
        self.x_low, self.x_high = x
        self.y_low, self.y_high = y

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the point of the drawing for a point of data."""
        return self.x_at(x), self.y_at(y)

    def x_at(self, x: float) -> float:
        """Return the drawing's x of a value."""
        inside = min(max(x, self.x_low), self.x_high)
        return self.left + (inside - self.x_low) / (self.x_high - self.x_low) * self.width

    def y_at(self, y: float) -> float:
        """Return the drawing's y of a value."""
        inside = min(max(y, self.y_low), self.y_high)
        return self.top + (self.y_high - inside) / (self.y_high - self.y_low) * self.height

    def axes(
        self, x_ticks: Iterable[float], y_ticks: Iterable[float], x_name: str = "", y_name: str = ""
    ) -> None:
        """Draw grid, ticks and names; `y_name` is written horizontally above the axis."""
        drawing, bottom, right = self.drawing, self.top + self.height, self.left + self.width
        for value in y_ticks:
            y = self.y_at(value)
            drawing.line([(self.left, y), (right, y)], GRID, 1)
            drawing.words(self.left - 6, y + 4, f"{value:g}", QUIET, anchor="end")
        for value in x_ticks:
            x = self.x_at(value)
            drawing.line([(x, bottom), (x, bottom + 4)], QUIET, 1)
            drawing.words(x, bottom + 17, f"{value:g}", QUIET, anchor="middle")
        drawing.line([(self.left, self.top), (self.left, bottom), (right, bottom)], QUIET, 1)
        if y_name:
            drawing.words(self.left - 34, self.top - 8, y_name, INK, bold=True)
        if x_name:
            drawing.words(right, bottom + 33, x_name, INK, anchor="end")

    def plot(
        self, points: Points, colour: str, width: float = 2.0, dash: str = "", fill: str = "none"
    ) -> None:
        """Draw a line through data."""
        self.drawing.line([self.at(x, y) for x, y in points], colour, width, dash, fill)

    def area(self, points: Points, colour: str) -> None:
        """Fill between data and the lower edge."""
        if points:
            shut = [(points[0][0], self.y_low), *points, (points[-1][0], self.y_low)]
            pale = [self.at(x, y) for x, y in shut]
            self.drawing.line(pale, "none", 0, fill=colour)

    def span(self, start: float, end: float, colour: str, opacity: float) -> None:
        """Shade from `start` to `end` of the x axis."""
        left, right = self.x_at(start), self.x_at(end)
        self.drawing.box(left, self.top, right - left, self.height, colour, opacity)

    def level(self, value: float, colour: str, text: str, below: bool = False) -> None:
        """Draw a dashed line at a height and name it at its right end."""
        y = self.y_at(value)
        right = self.left + self.width
        self.drawing.line([(self.left, y), (right, y)], colour, 1.4, "6 4")
        self.drawing.words(right - 4, y + (15 if below else -5), text, colour, anchor="end")

    def mark(self, x: float, text: str, colour: str = INK, to_the_left: bool = False, row: int = 0) -> None:
        """Draw a vertical line at `x`, with words next to its upper end."""
        at = self.x_at(x)
        self.drawing.line([(at, self.top), (at, self.top + self.height)], colour, 1.4, "2 3")
        anchor, shift = ("end", -5) if to_the_left else ("start", 5)
        self.drawing.words(at + shift, self.top + 14 + 17 * row, text, colour, anchor=anchor)


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Return round numbers from `low` to `high`, some `about` of them."""
    rough = (high - low) / max(about, 1)
    if rough <= 0.0:
        return [low]
    power = 1.0
    while power > rough:
        power /= 10.0
    while power * 10.0 <= rough:
        power *= 10.0
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough)
    first = -int(-low // step)
    return [round(number * step, 10) for number in range(first, int(high // step) + 1)]
