"""The trade-off as one curve: waiting for help against the push that comes with it, every priority on it."""

from pathlib import Path

from host_sim.report.ride_figure import INK
from host_sim.report.tuning_figures import CHOSEN, NOW, drawn
from host_sim.tuning.drive_rides import STEP_S
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.score import PRIORITIES
from host_sim.tuning.trade import front, given_up, point_for


def draw_trade(tuned: Tuned, path: Path) -> None:
    """Draw everything that was ridden, the curve that nothing beats, and the point of each priority."""
    ridden = [point for point in tuned.drive.tried if point.measures.half_s < STEP_S]
    title = f"What you give up: {tuned.bike.title}"
    subtitle = given_up(tuned).replace("; ", ";\n")
    with drawn(path, title, subtitle, (9.5, 6.4)) as figure:
        axes = figure.subplots()
        axes.plot(
            [one.measures.half_s for one in ridden],
            [one.measures.jerk_m_per_s3 for one in ridden],
            "o",
            color=NOW,
            markersize=4,
            alpha=0.6,
        )
        best = front(ridden)
        axes.plot(
            [one.measures.half_s for one in best],
            [one.measures.jerk_m_per_s3 for one in best],
            color=INK,
            linewidth=1.2,
        )
        for place, names in _named(tuned).items():
            chosen = tuned.priority.name in names
            axes.plot(*place, "o", color=CHOSEN if chosen else INK, markersize=12 if chosen else 7, zorder=3)
            others = [name for name in names if name != tuned.priority.name]
            words = [f"{tuned.priority.name}, chosen"] * chosen + [f"also for {', '.join(others)}"] * bool(
                chosen and others
            )
            axes.annotate(
                "\n".join(words) if chosen else ", ".join(names),
                place,
                xytext=(11, 0) if chosen else (-9, -4),
                textcoords="offset points",
                ha="left" if chosen else "right",
                va="top" if chosen else "center",
                color=CHOSEN if chosen else INK,
                fontweight="bold" if chosen else "normal",
            )
        now = tuned.before.drive
        axes.plot(now.half_s, now.jerk_m_per_s3, "o", color=NOW, markersize=9, fillstyle="none", zorder=3)
        axes.annotate(
            "now",
            (now.half_s, now.jerk_m_per_s3),
            xytext=(0, 9),
            textcoords="offset points",
            color=NOW,
            ha="center",
        )
        axes.annotate("a point: one set of settings, ridden\nline: nothing beats these in both", (0.98, 0.97),
                      xycoords="axes fraction", ha="right", va="top", color=NOW)  # fmt: skip
        axes.set_xlabel("half of the power is there after (s): to the left helps sooner")
        axes.set_ylabel("rise of the push (m/s³): lower is smoother")
        axes.set_ylim(bottom=0.0)
        axes.margins(x=0.15)
        axes.spines[["top", "right"]].set_visible(False)


def _named(tuned: Tuned) -> dict[tuple[float, float], list[str]]:
    """Return the priorities by where their best point lies; several may share one."""
    places: dict[tuple[float, float], list[str]] = {}
    for priority in PRIORITIES.values():
        measures = point_for(tuned, priority).measures
        places.setdefault((measures.half_s, measures.jerk_m_per_s3), []).append(priority.name)
    return places
