"""The events of a ride above its picture: a label and a line for each event that fits."""

from matplotlib.axes import Axes

from firmware.decide.engagement import FAULTED, STATE_NAMES
from host_sim.bench.meter import RideEvent
from host_sim.report.svg import INK

FAULTED_NAME = STATE_NAMES[FAULTED]
LABELS_MOST = 14
LABEL_ROWS = 4
LABEL_ROW_POINTS = 11
LETTER_POINTS = 4.9  # Mean width of a letter at this size, on the safe side.
OVERHANG_POINTS = 45.0  # A label may extend this far out of its panel; a longer one is left of its line.


def label_events(axes: Axes, events: list[RideEvent], span_s: tuple[float, float]) -> None:
    """Write the events above the picture: all if there are few, otherwise those that don't repeat.

    Among close labels the earliest is highest, so that no line from a label crosses another.
    """
    inside = _worth_telling(events, span_s)
    seen: set[str] = set()
    chosen: list[RideEvent] = []
    for event in inside:
        if len(inside) <= LABELS_MOST or event.text not in seen:
            chosen.append(event)
        seen.add(event.text)
    chosen = chosen[:LABELS_MOST]
    figure = axes.get_figure(root=True)
    assert figure is not None
    points = axes.get_position().width * figure.get_figwidth() * 72.0
    s_per_point = (span_s[1] - span_s[0]) / points
    label_rows = LabelRows(span_s)
    for index, event in enumerate(chosen):
        widths_s = [(len(one.text) * LETTER_POINTS + 8) * s_per_point for one in chosen]
        crowd = index
        while crowd + 1 < len(chosen) and chosen[crowd + 1].time_s < chosen[crowd].time_s + widths_s[crowd]:
            crowd += 1
        to_the_left = event.time_s + widths_s[index] > span_s[1] + OVERHANG_POINTS * s_per_point
        row = label_rows.place(event.time_s, widths_s[index], crowd - index, to_the_left)
        if row is not None:
            _label(axes, event, row, to_the_left)


def _label(axes: Axes, event: RideEvent, row: int, to_the_left: bool) -> None:
    """Write one event next to a line at its time."""
    axes.annotate(
        event.text, (event.time_s, 1.0), xycoords=axes.get_xaxis_transform(),
        xytext=(-3 if to_the_left else 3, 2 + LABEL_ROW_POINTS * row), textcoords="offset points",
        fontsize=8.5, ha="right" if to_the_left else "left", va="bottom", annotation_clip=False,
    )  # fmt: skip
    axes.annotate(
        "", (event.time_s, 1.0), xycoords=axes.get_xaxis_transform(),
        xytext=(0, 2 + LABEL_ROW_POINTS * (row + 1)), textcoords="offset points", annotation_clip=False,
        arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip


class LabelRows:
    """Rows of labels above a panel, filled from left to right; no line or text overlaps another."""

    def __init__(self, span_s: tuple[float, float]) -> None:
        self._free_s = [span_s[0]] * LABEL_ROWS
        self._lines: list[tuple[float, int]] = []

    def place(self, time_s: float, width_s: float, crowd: int, to_the_left: bool) -> int | None:
        """Return the row of a label, None if it does not fit; `crowd` labels follow close after it."""
        rows = range(LABEL_ROWS) if to_the_left else range(min(crowd, LABEL_ROWS - 1), -1, -1)
        start_s = time_s - width_s if to_the_left else time_s
        for row in rows:
            crossed = any(start_s <= line_s <= time_s and top >= row for line_s, top in self._lines)
            if self._free_s[row] > start_s or max(self._free_s[: row + 1]) > time_s:
                continue
            if to_the_left and crossed:
                continue
            self._free_s[row] = time_s if to_the_left else time_s + width_s
            self._lines.append((time_s, row))
            return row
        return None


def _worth_telling(events: list[RideEvent], span_s: tuple[float, float]) -> list[RideEvent]:
    """Return the events of a span, without "faulted" if the cause is shown at the same time."""
    inside = [event for event in events if span_s[0] <= event.time_s <= span_s[1]]
    kept: list[RideEvent] = []
    for index, event in enumerate(inside):
        following = inside[index + 1] if index + 1 < len(inside) else None
        if event.text == FAULTED_NAME and following is not None and following.time_s == event.time_s:
            continue
        kept.append(event)
    return kept
