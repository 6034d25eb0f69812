"""Words beside points of a panel, each where it covers the least: no other words, no line, few points."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.path import Path
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

WORDS_COST, LINE_COST, POINT_COST, OUTSIDE_COST = 100.0, 10.0, 1.0, 1000.0
PLACES = [
    (side, height, across, up if height == "bottom" else -up)
    for up in (3.0, 16.0, 30.0)
    for side, across in (("left", 10.0), ("right", -10.0))
    for height in ("bottom", "top")
]
"""Alignment of the words and their offset in points, the best first."""


@dataclass(frozen=True, slots=True)
class Label:
    """`words` for the point at `place`, in data coordinates."""

    place: tuple[float, float]
    words: str
    colour: str
    bold: bool = False


def label_points(axes: Axes, labels: Sequence[Label], behind: Sequence[Axes] = ()) -> None:
    """Write the labels, the most important first; call it last, when everything else is drawn.

    `behind` are other axes drawn in the same place.
    """
    covered = _Covered([axes, *behind])
    for label in labels:
        text = _written(axes, label.words, label.colour, label.bold)
        text.xy = label.place
        best = min(range(len(PLACES)), key=lambda number: covered.cost(_moved(text, number)))
        covered.words.append(_moved(text, best))


def label_level(axes: Axes, words: str, level: float, colour: str, behind: Sequence[Axes] = ()) -> None:
    """Write words above or below a level line, where along it they cover the least."""
    covered = _Covered([axes, *behind])
    text = _written(axes, words, colour, False)
    text.xycoords = ("axes fraction", "data")
    ends = [("left", along) for along in (0.01, 0.2, 0.4, 0.6)] + [("right", 0.99)]

    def moved(side: str, along: float, up: float) -> Bbox:
        text.xy = (along, level)
        text.set(ha=side, va="bottom" if up > 0.0 else "top", position=(0.0, up))
        return text.get_window_extent()

    places = [(side, along, up) for up in (4.0, -4.0) for side, along in ends]
    moved(*min(places, key=lambda place: covered.cost(moved(*place))))


def _written(axes: Axes, words: str, colour: str, bold: bool) -> Annotation:
    weight = "bold" if bold else "normal"
    return axes.annotate(words, (0.0, 0.0), xytext=(0, 0), textcoords="offset points", color=colour,
                         fontweight=weight)  # fmt: skip


def _moved(text: Annotation, number: int) -> Bbox:
    side, height, across, up = PLACES[number]
    text.set(ha=side, va=height, position=(across, up))
    return text.get_window_extent()


class _Covered:
    """What is drawn already, in pixels."""

    def __init__(self, panels: Sequence[Axes]) -> None:
        figure = panels[0].get_figure(root=True)
        assert figure is not None
        figure.draw_without_rendering()  # The layout moves the panels.
        self.words = [text.get_window_extent() for axes in panels for text in axes.texts]
        self._bounds = panels[0].get_window_extent()
        self._lines: list[Path] = []
        self._dots: list[Any] = []
        for line in (line for axes in panels for line in axes.lines):
            points = line.get_transform().transform(line.get_xydata())
            if line.get_marker() != "None":
                self._dots.append(points)
            if line.get_linestyle() != "None" and len(points) > 1:
                self._lines.append(Path(points))

    def cost(self, box: Bbox) -> float:
        """Return how much words in this box cover."""
        bounds = self._bounds
        inside = bounds.x0 <= box.x0 and box.x1 <= bounds.x1 and bounds.y0 <= box.y0 and box.y1 <= bounds.y1
        found = 0.0 if inside else OUTSIDE_COST
        found += WORDS_COST * box.count_overlaps(self.words)
        found += LINE_COST * sum(line.intersects_bbox(box, filled=False) for line in self._lines)
        return found + POINT_COST * sum(box.padded(4).count_contains(points) for points in self._dots)
