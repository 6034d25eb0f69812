"""The trade-off as one curve: waiting for help against the push that comes with it, every priority on it."""

from pathlib import Path

from matplotlib.axes import Axes

from host_sim.report.label_places import Label, label_points
from host_sim.report.svg import INK
from host_sim.report.tuning_figures import CHOSEN, COST, NOW, drawn
from host_sim.tuning.drive_rides import STEP_S
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.road_rides import ENERGY_SHARE, RoadChoice, RoadPoint
from host_sim.tuning.score import PRIORITIES
from host_sim.tuning.trade import front, given_up, point_for


def draw_trade(tuned: Tuned, path: Path) -> None:
    """Draw everything that was ridden, the Pareto front, and the point of each priority.

    Where the assist power was chosen, a second panel has energy against time.
    """
    title = f"What you give up: {tuned.bike.title}"
    subtitle = given_up(tuned).replace("; ", ";\n")
    wide = tuned.road is not None
    with drawn(path, title, subtitle, (14.5 if wide else 9.5, 6.4)) as figure:
        panels = figure.subplots(1, 2 if wide else 1, squeeze=False)[0]
        if tuned.road is not None:
            _road_panel(panels[0], tuned, tuned.road)
        _push_panel(panels[-1], tuned)


def _road_panel(axes: Axes, tuned: Tuned, road: RoadChoice) -> None:
    minutes = [one.measures.min_per_km for one in road.tried]
    axes.plot(minutes, [one.measures.wh_per_km for one in road.tried], "o-", color=INK, markersize=4)
    labels = []
    for one, words, colour in (
        (road.full, "full help", INK),
        (road.chosen, f"{tuned.priority.name}, chosen", CHOSEN),
    ):
        place = (one.measures.min_per_km, one.measures.wh_per_km)
        axes.plot(*place, "o", color=colour, markersize=12 if colour == CHOSEN else 7, zorder=3)
        said = f"{words}: {one.assist_power_w} W\n{_range_words(tuned, one)}"
        labels.append(Label(place, said, colour, colour == CHOSEN))
    now = tuned.before.road
    if abs(now.min_per_km - road.full.measures.min_per_km) > 0.01:
        axes.plot(now.min_per_km, now.wh_per_km, "o", color=NOW, markersize=9, fillstyle="none", zorder=3)
        labels.append(Label((now.min_per_km, now.wh_per_km), "now", NOW))
    limit_wh = ENERGY_SHARE * road.full.measures.wh_per_km
    axes.axhline(limit_wh, color=COST, linewidth=1.0, linestyle=":")
    axes.annotate("two thirds of the energy", (0.01, limit_wh), xycoords=("axes fraction", "data"),
                  xytext=(0, -4), textcoords="offset points", va="top", color=COST)  # fmt: skip
    axes.set_xlabel("a kilometre takes (min): to the left is faster")
    axes.set(ylabel="energy for a kilometre (Wh): lower goes further", ylim=(0.0, 1.25 * axes.dataLim.y1))
    axes.margins(x=0.25)
    axes.spines[["top", "right"]].set_visible(False)
    label_points(axes, labels)


def _range_words(tuned: Tuned, point: RoadPoint) -> str:
    return f"{point.measures.range_km(tuned.bike) or 0.0:.0f} km on a full battery"


def _push_panel(axes: Axes, tuned: Tuned) -> None:
    ridden = [point for point in tuned.drive.tried if point.measures.half_s < STEP_S]
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
    now = tuned.before.drive
    labels: list[Label] = []
    for place, names in _named(tuned).items():
        chosen = tuned.priority.name in names
        axes.plot(*place, "o", color=CHOSEN if chosen else INK, markersize=12 if chosen else 7, zorder=3)
        if chosen:
            others = ", ".join(name for name in names if name != tuned.priority.name)
            words = f"{tuned.priority.name}, chosen" + (f"\nalso for {others}" if others else "")
            labels.insert(0, Label(place, words, CHOSEN, True))
        else:
            labels.append(Label(place, ", ".join(names), INK))
    axes.plot(now.half_s, now.jerk_m_per_s3, "o", color=NOW, markersize=11, fillstyle="none", zorder=4)
    labels.append(Label((now.half_s, now.jerk_m_per_s3), "now", NOW))
    axes.annotate("a point: one set of settings, ridden\nline: nothing beats these in both", (0.98, 0.97),
                  xycoords="axes fraction", ha="right", va="top", color=NOW)  # fmt: skip
    axes.set_xlabel("half of the power is there after (s): to the left helps sooner")
    axes.set_ylabel("rise of the push (m/s³): lower is smoother")
    axes.set_ylim(bottom=0.0)
    axes.margins(x=0.15)
    axes.spines[["top", "right"]].set_visible(False)
    label_points(axes, labels)


def _named(tuned: Tuned) -> dict[tuple[float, float], list[str]]:
    """Return the priorities by where their best point lies; several may share one."""
    places: dict[tuple[float, float], list[str]] = {}
    for priority in PRIORITIES.values():
        measures = point_for(tuned, priority).measures
        places.setdefault((measures.half_s, measures.jerk_m_per_s3), []).append(priority.name)
    return places
