"""The volts of an inspection as pictures: the first turn with thresholds, and the height of each magnet."""

from typing import Any

from matplotlib.axes import Axes

from host_sim.capture.analog.magnets import WEAK_SHARE, ChannelVolts, VoltsFound
from host_sim.capture.stretches import Floats
from host_sim.report.ring_drawing import BAD, COLOURS, EMPTY, QUIET

NAMED_PERCENT = 138.0
ABOVE_SHARE = 0.22  # Of the volts shown, left free for the numbers of the magnets.


def draw_traces(axes: Axes, volts: VoltsFound, times_s: Floats, rows: Floats) -> None:
    """Draw the volts of each channel and its two thresholds as a band."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_ylabel("V")
    low, high = float(rows.min()), float(rows.max())
    room = max(high - low, 1e-3)
    axes.set_ylim(low - 0.06 * room, high + ABOVE_SHARE * room)
    for one, row in zip(volts.channels, rows, strict=True):
        axes.plot(times_s, row, color=COLOURS[one.name], linewidth=1.5)
        axes.axhspan(*one.thresholds_v, color=COLOURS[one.name], alpha=0.12, linewidth=0)
        axes.text(
            1.004, float(row[-1]), one.name, transform=axes.get_yaxis_transform(), va="center",
            color=COLOURS[one.name], fontweight="bold", fontsize=12, clip_on=False,
        )  # fmt: skip


def draw_heights(axes: Axes, volts: VoltsFound) -> None:
    """Draw each magnet's height relative to the usual one, and the limit below which it is weak."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title("height in volts, % of the usual", loc="left", fontsize=10, color=QUIET)
    judged = [one for one in volts.channels if one.magnets and one.swing.linear]
    if not judged:
        axes.set(xticks=[], yticks=[])
        text = (
            "the pulses can't be\nassigned to magnets"
            if volts.linear
            else "only two levels, as from a switch:\nheights don't show weak magnets"
        )
        axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", va="center", color=QUIET)
        return
    width = 0.8 / len(judged)
    numbers: set[int] = set()
    for place, one in enumerate(judged):
        numbers |= {magnet.number for magnet in one.magnets}
        _bars(axes, one, (place - 0.5 * (len(judged) - 1)) * width, width)
    axes.axhspan(0.0, 100.0 * WEAK_SHARE, color=EMPTY, zorder=0, linewidth=0)
    axes.axhline(100.0 * WEAK_SHARE, color=BAD, linewidth=1.0, linestyle="--")
    axes.set_ylim(0.0, NAMED_PERCENT + 2.0)
    step = -(-len(numbers) // 16)
    axes.set(xticks=sorted(numbers)[::step], xlabel="magnet")


def _bars(axes: Any, one: ChannelVolts, offset: float, width: float) -> None:
    weak = {magnet.number for magnet in one.weak}
    for magnet in one.magnets:
        bad = magnet.number in weak
        axes.bar(
            magnet.number + offset, 100.0 * magnet.share, width, color=BAD if bad else COLOURS[one.name],
            hatch="///" if bad else "", edgecolor="white", linewidth=0.4,
        )  # fmt: skip
        if bad:
            axes.text(
                magnet.number, NAMED_PERCENT, f"{magnet.share:.0%}\non {one.name}", ha="center", va="top",
                color=BAD, fontsize=9, fontweight="bold",
            )  # fmt: skip


def thresholds_words(volts: VoltsFound) -> str:
    """Return where the thresholds come from, for a title."""
    return "thresholds as given" if volts.told else "thresholds (bands) from the swing"
