"""How pictures are drawn with matplotlib: into a file, without a window, and with names as they are.

Names come from a user's files, so no text is interpreted as mathematics, and a title in a script that the
font lacks gives no warning.
"""

import textwrap
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
from matplotlib.figure import Figure
from matplotlib.layout_engine import LayoutEngine

from host_sim.report.svg import INK


@contextmanager
def picture(
    path: Path,
    size_in: tuple[float, float],
    dpi: float,
    font_size: float = 10.0,
    hatch_width: float = 0.6,
    layout: LayoutEngine | None = None,
) -> Iterator[Figure]:
    """Yield an empty figure of `size_in` inches; at the end save it to `path` (PNG or SVG by its suffix)."""
    with (
        plt.rc_context(
            {"font.size": font_size, "axes.edgecolor": INK, "text.color": INK, "axes.labelcolor": INK}
        ),
        plt.rc_context({"text.parse_math": False, "hatch.linewidth": hatch_width}),
        warnings.catch_warnings(),
    ):
        warnings.filterwarnings("ignore", message="Glyph")
        figure = plt.figure(figsize=size_in, layout=layout)
        yield figure
        figure.savefig(path, dpi=dpi)
        plt.close(figure)


def short(title: str, most: int) -> str:
    """Return a title of at most `most` characters; a longer one ends with an ellipsis."""
    return title if len(title) <= most else title[: most - 1] + "…"


def advice_text(advice: Sequence[str], letters: int, lines_most: int) -> str:
    """Return sentences as a list with dots, wrapped to `letters`; of too many lines the last are left out."""
    lines: list[str] = []
    for sentence in advice:
        lines += textwrap.wrap(sentence, letters, initial_indent="•  ", subsequent_indent="    ")
    if len(lines) > lines_most:
        lines = [*lines[: lines_most - 1], "    … the rest is in inspection.json"]
    return "\n".join(lines)
