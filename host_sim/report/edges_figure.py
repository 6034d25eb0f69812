"""One second of crank edges below the picture of a ride: why help began, or where a rule was broken."""

from matplotlib.axes import Axes

from firmware.settings import TWO_CHANNELS
from host_sim.report.ride_facts import RideFacts
from host_sim.report.trace_file import RideTrace

OUTRUN_M_PER_S = 0.1  # A smaller change is the ripple of a turn.
CADENCE, COMMAND, DELIVERED, SPEED = "#6a3d9a", "#a0252f", "#14775a", "#0b5fa5"


def draw_edges(axes: Axes, facts: RideFacts, trace: RideTrace) -> None:
    """Draw one second of crank edges, a logic trace for each channel, and the command where a rule broke."""
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_yticks([])
    if facts.edges_centre_us is None:
        axes.text(
            0.5, 0.5, "the pedals never engaged the motor: no second of crank edges to show",
            ha="center", va="center", transform=axes.transAxes,
        )  # fmt: skip
        axes.set_xticks([])
        return
    centre_s = facts.edges_centre_us / 1e6
    two = facts.settings.sensor_kind == TWO_CHANNELS
    times_s = [centre_s - 0.5, *(time_us / 1e6 for time_us, _ in facts.edges), centre_s + 0.5]
    levels = [facts.edges_before, *(after for _, after in facts.edges)]
    levels.append(levels[-1])
    for channel, name in enumerate("AB" if two else "A"):
        base = 1.45 * (1 - channel) if two else 0.6
        values = [base + ((level >> channel) & 1) for level in levels]
        axes.step(times_s, values, where="post", color=CADENCE if channel else SPEED, linewidth=1.6)
        _lane(axes, base + 0.5, f"channel {name}")
    if facts.worst is None:
        _engaging(axes, facts, centre_s)
    else:
        _breaking(axes, facts, trace, centre_s)
    axes.set(ylim=(-0.1, 2.6), xlim=(centre_s - 0.5, centre_s + 0.5))
    axes.set_xlabel(
        f"one second around {centre_s:.2f} s, enlarged; time, s{gear_words(facts, trace, centre_s)}"
    )


def gear_words(facts: RideFacts, trace: RideTrace, from_s: float) -> str:
    """Return until when a recorded crank is faster than the wheel in its lowest gear, or nothing.

    A recording has the crank of its own bicycle; on this one the wheel may still be slower.
    """
    if facts.lowest_gear_m is None:
        return ""
    time_s, cadence_rpm = trace["time_s"], trace["cadence_rpm"]
    outruns = cadence_rpm / 60.0 * facts.lowest_gear_m > trace["speed_m_per_s"] + OUTRUN_M_PER_S
    later = time_s >= from_s
    if not bool(outruns[later][:1].any()):
        return ""
    caught = time_s[later & ~outruns]
    if len(caught) == 0:
        return ""
    return (
        f"\nthe crank turns at the given cadence; the wheel catches up with it in the lowest gear, "
        f"{facts.lowest_gear_m:g} m a turn, at {caught[0]:.1f} s"
    )


def _lane(axes: Axes, middle: float, name: str) -> None:
    """Name a lane of the enlarged second."""
    axes.text(-0.006, middle, name, transform=axes.get_yaxis_transform(), ha="right", va="center")


def _engaging(axes: Axes, facts: RideFacts, centre_s: float) -> None:
    """Mark the engagement, and number the edges that led to it."""
    settings = facts.settings
    axes.axvline(centre_s, color=DELIVERED, linewidth=1.4, linestyle="--")
    axes.axvspan(centre_s, centre_s + 0.5, color=DELIVERED, alpha=0.13, linewidth=0)
    why = (
        f"engages: {settings.engage_edges} forward edges in a row, cadence {settings.engage_rpm} rpm or more"
    )
    before = [place for place, (time_us, _) in enumerate(facts.edges) if time_us <= centre_s * 1e6]
    if settings.sensor_kind == TWO_CHANNELS and len(before) > settings.engage_edges:
        # The very first edge only shows the position of the ring and is not counted.
        for number, place in enumerate(before[-settings.engage_edges :], start=1):
            _number_edge(axes, facts, place, number)
    axes.text(centre_s + 0.006, 2.66, why, color=DELIVERED, va="bottom", fontsize=9.5)


def _number_edge(axes: Axes, facts: RideFacts, place: int, number: int) -> None:
    """Write an edge's number next to it, in the lane of the channel that changed."""
    time_us, levels = facts.edges[place]
    before = facts.edges[place - 1][1] if place else facts.edges_before
    channel = 1 if (levels ^ before) >> 1 else 0
    axes.text(
        time_us / 1e6, 1.45 * (1 - channel) + 0.5, f" {number}", color=DELIVERED, fontweight="bold",
        va="center", fontsize=10,
    )  # fmt: skip


def _breaking(axes: Axes, facts: RideFacts, trace: RideTrace, centre_s: float) -> None:
    """Mark the moment at which the rule was broken worst, and draw the command over the edges."""
    moment_us, words = facts.worst or (0, "")
    moment_s = moment_us / 1e6
    top_v = max(float(trace["command_v"].max()), 1.0)
    axes.fill_between(
        trace["time_s"], trace["command_v"] / top_v * 2.4, color=COMMAND, alpha=0.14, linewidth=0, step="post"
    )
    axes.axvline(moment_s, color=COMMAND, linewidth=1.8)
    late = moment_s > centre_s + 0.25
    axes.text(
        moment_s, 2.66, f"{words} (shaded: command, up to {top_v:.1f} V)", color=COMMAND, va="bottom",
        ha="right" if late else "left", fontsize=9.5, fontweight="bold",
    )  # fmt: skip
