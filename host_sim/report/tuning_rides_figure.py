"""Before and after: the same rides with the present and the recommended settings, numbers in the headings."""

from pathlib import Path

from matplotlib.axes import Axes

from host_sim.bikes.model import Bike
from host_sim.report.svg import INK
from host_sim.report.tuning_figures import CHOSEN, COST, NOW, drawn
from host_sim.tuning.drive_rides import SLOPE_S, STEP_S, empty, start_course, step_course, traced
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.ride_start import rest_s

# What lies between both is quiet riding.
STEP_SHOWN_S, SLOPE_SHOWN_S = (0.0, 4.0), (SLOPE_S - 0.5, SLOPE_S + 3.5)


def draw_rides(tuned: Tuned, path: Path, seed: int = 1) -> None:
    """Ride the step and the start with both sets of settings, and draw them in one figure."""
    title = f"Before and after: {tuned.bike.title}"
    subtitle = "grey: now; green: recommended; both ridden on the bench, the numbers are means of three rides"
    with drawn(path, title, subtitle, (12.5, 8.2)) as figure:
        panels = figure.subplot_mosaic([["step", "slope"], ["step V", "slope V"], ["start", "start"]])
        allowed_w = set()
        for bike, colour, width in ((tuned.bike, NOW, 1.4), (tuned.tuned, CHOSEN, 2.0)):
            allowed_w |= {_ride_step(panels, bike, seed, colour, width)}
            start = traced(empty(bike), start_course(bike), seed)
            times_s = [time_s - rest_s(bike) for time_s in start.times_s]
            panels["start"].plot(times_s, start.push_m_per_s2, color=colour, linewidth=width)
        for name, axes in panels.items():
            axes.set_xlim(*(STEP_SHOWN_S if "step" in name else SLOPE_SHOWN_S if "slope" in name else (0.0,)))
            axes.spines[["top", "right"]].set_visible(False)
        _name_panels(panels, tuned, allowed_w)


def _ride_step(panels: dict[str, Axes], bike: Bike, seed: int, colour: str, width: float) -> int:
    """Ride the step, draw it in four panels, and return the watts that are allowed."""
    course, begin_s = step_course(bike)
    step = traced(bike, course, seed)
    times_s = [time_s - begin_s for time_s in step.times_s]
    volts = [value / 1000.0 for value in step.commands_mv]
    for name in ("step", "slope"):
        panels[name].plot(times_s, step.powers_w, color=colour, linewidth=width)
        panels[f"{name} V"].plot(times_s, volts, color=colour, linewidth=width)
    return step.wanted_w


def _name_panels(panels: dict[str, Axes], tuned: Tuned, allowed_w: set[int]) -> None:
    """Write what each panel shows, with the numbers before and after, and mark what is allowed."""
    now, after = tuned.before.drive, tuned.after.drive
    power, slope, push = panels["step"], panels["slope"], panels["start"]
    half = f"half of the power after {_change(now.half_s, after.half_s, STEP_S)} s"
    power.set_title(f"Help begins at an even speed: {half}", loc="left", fontsize=11)
    by = f"power moves by {_change(now.disturbance_percent, after.disturbance_percent)} %"
    slope.set_title(
        f"A slope slows it down: {by}" if tuned.bike.shunt.fitted else "A slope slows it down",
        loc="left", fontsize=11,
    )  # fmt: skip
    rises = f"push rises by {_change(now.jerk_m_per_s3, after.jerk_m_per_s3)} m/s³ at most"
    push.set_title(f"A start from standing, without load: {rises}", loc="left", fontsize=11)
    for watts in allowed_w:
        for axes in (power, slope):
            axes.axhline(watts, color=INK, linewidth=0.7, linestyle=":")
        power.annotate(f"allowed {watts} W", (STEP_SHOWN_S[1], watts), xytext=(-4, 4),
                       textcoords="offset points", ha="right")  # fmt: skip
    for axes in (power, slope):
        axes.set_ylim(0.0, 1.2 * axes.dataLim.y1)
    slope.axvspan(SLOPE_S, SLOPE_S + 1.0, color=COST, alpha=0.1)
    slope.annotate("the slope begins", (SLOPE_S, 0.06), xycoords=("data", "axes fraction"), color=COST)
    for axes, label in ((power, "battery power (W)"), (panels["step V"], "command (V)")):
        axes.set_ylabel(label)
    push.set_ylabel("push of the motor (m/s²)")
    for name in ("step V", "slope V", "start"):
        panels[name].set_xlabel("after the legs begin (s)")


def _change(before: float, after: float, never: float = float("inf")) -> str:
    """Return both numbers, or one if they look alike; `never` where it did not happen."""
    said = [f"{value:.2g}" if value < never else "never" for value in (before, after)]
    return said[0] if said[0] == said[1] else f"{said[0]} → {said[1]}"
