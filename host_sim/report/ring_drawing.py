"""The ring of an inspection as a picture: each magnet an arc on either channel, as long as its pulse.

A weak magnet is filled dark and named, a missing one is an empty place.
"""

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from host_sim.capture.findings import Inspection
from host_sim.capture.ring import Magnet, Ring
from host_sim.report.svg import INK

QUIET = "#6b675c"
EMPTY = "#ecebe6"
COLOURS = {"A": "#0b5fa5", "B": "#6a3d9a"}
BAD = "#a0252f"
OUTER, INNER, BAND = 0.80, 0.55, 0.20
WORDS_PULSES_MOST = 12


def draw_ring(figure: Figure, axes: Any, inspection: Inspection, weak_by_volts: list[int]) -> None:
    """Draw the ring from the side, magnet 1 on top, direction of travel clockwise.

    `weak_by_volts`: magnets with a normal pulse but low volts.
    """
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    axes.set(ylim=(0, 1.19), yticks=[], xticks=[])
    axes.grid(visible=False)
    axes.spines["polar"].set_visible(False)
    ring = inspection.ring
    if ring is None or not inspection.pulses.sure:
        # Don't draw an empty ring, which would look like one without magnets.
        axes.set_axis_off()
        text = "no ring is drawn:\nwithout the number of pulses\nthe turns can't be combined"
        axes.text(0, 0, text, ha="center", va="center", fontsize=12, color=QUIET)
        return
    figure.text(0.02 + 0.042, 0.622, _ring_title(inspection), fontsize=10, color=QUIET)
    two = not np.isnan(ring.phase_deg)
    names = _names(inspection)
    _bands(axes, ring, two, names)
    pitch = 2.0 * np.pi / ring.pulses
    for magnet in ring.magnets:
        _arcs(axes, magnet, ring, two, names)
    _named(axes, ring, weak_by_volts)
    bottom = INNER if two else OUTER
    for number in ring.missing:
        centre = (number - 1) * pitch
        axes.bar(
            centre, OUTER + BAND - bottom, width=pitch * ring.duty, bottom=bottom,
            facecolor="white", edgecolor=BAD, linestyle="--", linewidth=1.5,
        )  # fmt: skip
        axes.text(centre, 1.12, f"{number}\nmissing", ha="center", va="center", color=BAD, fontweight="bold")
    axes.text(
        0, 0, _middle(inspection, ring, two, names), ha="center", va="center", fontsize=11, linespacing=1.5
    )


def _ring_title(inspection: Inspection) -> str:
    if inspection.changes:
        return "the ring in its worst part, all turns combined"
    return "the ring, all turns combined"


def _names(inspection: Inspection) -> tuple[str, str]:
    """Return the names of the leading and the other channel in the direction of travel."""
    if len(inspection.duty) == 1:
        return next(iter(inspection.duty)), ""
    return ("A", "B") if inspection.a_first else ("B", "A")


def _bands(axes: Any, ring: Ring, two: bool, names: tuple[str, str]) -> None:
    around = np.linspace(0.0, 2.0 * np.pi, 361)
    for bottom, name in ((OUTER, names[0]), (INNER, names[1])):
        if name and (two or bottom == OUTER):
            axes.fill_between(around, bottom, bottom + BAND, color=EMPTY, linewidth=0)
    for number in range(ring.pulses):
        angle = number * 2.0 * np.pi / ring.pulses
        axes.plot(
            [angle, angle], [INNER - 0.03 if two else OUTER - 0.03, OUTER + BAND], color=QUIET, lw=0.6, ls=":"
        )


def _arcs(axes: Any, magnet: Magnet, ring: Ring, two: bool, names: tuple[str, str]) -> None:
    """Draw the pulses of one magnet and its number."""
    pitch = 2.0 * np.pi / ring.pulses
    centre = (magnet.number - 1) * pitch + np.deg2rad(magnet.error_deg)
    weak = magnet.number in ring.weak
    parts = [(OUTER, names[0], centre, magnet.width)]
    if two and not np.isnan(magnet.other_width):
        rise = centre - 0.5 * magnet.width * pitch + ring.phase_deg / 360.0 * pitch
        parts.append((INNER, names[1], rise + 0.5 * magnet.other_width * pitch, magnet.other_width))
    for bottom, name, middle, width in parts:
        axes.bar(
            middle, BAND, width=width * pitch, bottom=bottom, color=BAD if weak else COLOURS[name],
            hatch="///" if weak else "", edgecolor="white", linewidth=0.4,
        )  # fmt: skip


def _named(axes: Any, ring: Ring, weak_by_volts: list[int]) -> None:
    """Write the number of each magnet outside the ring, and what is wrong with it."""
    size = 11 if ring.pulses <= 24 else 8
    for magnet in ring.magnets:
        centre = (magnet.number - 1) * 2.0 * np.pi / ring.pulses + np.deg2rad(magnet.error_deg)
        weak = magnet.number in ring.weak
        low = magnet.number in weak_by_volts
        # On a fine ring the words of neighbours would overlap; the colour shows "weak" too.
        word = "" if ring.pulses > WORDS_PULSES_MOST else "low" if low else "weak, "
        text = f"{magnet.number}\n{word}" if low and word else str(magnet.number)
        if weak and not low:
            text = f"{magnet.number}\n{word}{magnet.strength:.0%}"
        bad = weak or low
        axes.text(
            centre, 1.1, text, ha="center", va="center", color=BAD if bad else INK, fontsize=size,
            fontweight="bold" if bad else "normal",
        )  # fmt: skip


def _middle(inspection: Inspection, ring: Ring, two: bool, names: tuple[str, str]) -> str:
    lines = []
    if two:
        lines.append(f"outside {names[0]}, inside {names[1]}")
    for name, duty in inspection.duty.items():
        if duty.value is not None:
            lines.append(f"duty of {name}: {duty.value:.1%}")
    if two:
        lines.append(f"phase {ring.phase_deg:.0f}°")
        lines.append(f"off its place at most {ring.longest_error_deg:.1f}°")
    lines.append(f"{inspection.turns_seen:.0f} turns")
    return "\n".join(lines)
