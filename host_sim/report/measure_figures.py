"""Residuals of `treadle measure`; a systematic curve means that the model is wrong."""

from pathlib import Path

import numpy as np

from host_sim.measuring.coast_down import CoastFit
from host_sim.measuring.elevation import RideFit
from host_sim.measuring.load_steps import LoadFit
from host_sim.measuring.ride_stretches import WAY_M
from host_sim.measuring.stand_run import StandFit
from host_sim.measuring.workshop import LineFit
from host_sim.report.tuning_figures import CHOSEN, COST, GAIN, NOW, drawn

SIZE = (9.0, 5.4)


def draw_coast_down(fit: CoastFit, path: Path) -> None:
    """Draw measured minus computed speed over time, one line per run, one colour per direction."""
    subtitle = (
        "measured minus computed speed; a common curve in all runs means that something else slowed them"
    )
    with drawn(path, "Coast-downs: residuals", subtitle, SIZE) as figure:
        axes = figure.subplots()
        for sign, colour, label in ((1, GAIN, "one way"), (-1, COST, "other way")):
            first = True
            for run, run_sign, residual in zip(fit.runs, fit.signs, fit.residuals, strict=True):
                if run_sign == sign:
                    axes.plot(
                        run.time_s, residual, color=colour, linewidth=1.0, label=label if first else None
                    )
                    first = False
        axes.axhline(0.0, color=NOW, linewidth=0.8)
        axes.set(xlabel="time in the run (s)", ylabel="residual (m/s)")
        axes.legend(frameon=False)


def draw_ride(fit: RideFit, path: Path) -> None:
    """Draw computed over measured climb of each stretch, and the residual of its speed over time."""
    error_m = float(np.median(np.abs(fit.computed_climb_m - fit.climb_m)))
    subtitle = (
        f"stretches of {WAY_M:g} m: left, the climb is reproduced within {error_m:.1f} m (median)\n"
        "right, residual speed; long waves are wind, single low points brakes or a halt"
    )
    with drawn(path, "Ride: elevation reproduced, and residuals", subtitle, SIZE) as figure:
        climbs, speeds = figure.subplots(1, 2)
        climbs.plot(fit.climb_m, fit.computed_climb_m, ".", color=GAIN)
        ends = np.array([np.min(fit.climb_m), np.max(fit.climb_m)])
        climbs.plot(ends, ends, color=CHOSEN, linewidth=1.0)
        climbs.set(xlabel="measured climb (m)", ylabel="computed climb (m)")
        speeds.plot(fit.middle_s / 60.0, fit.residual_m_per_s, ".-", color=GAIN, linewidth=0.6)
        speeds.axhline(0.0, color=NOW, linewidth=0.8)
        speeds.set(xlabel="time (min)", ylabel="measured minus computed speed (m/s)")


def draw_pushes(fit: LineFit, path: Path) -> None:
    """Draw how far each push is from the turns times the circumference."""
    subtitle = (
        f"measured distance minus turns times {fit.slope.value:.4g} m, push by push; shaded: what the "
        "interval allows"
    )
    with drawn(path, "Pushed distance: residuals", subtitle, SIZE) as figure:
        axes = figure.subplots()
        number = np.arange(1, len(fit.residuals) + 1)
        half_m = (fit.slope.high - fit.slope.value) * fit.given
        axes.bar(number, 2000.0 * half_m, bottom=-1000.0 * half_m, width=0.5, color="#e3e3e0")
        axes.vlines(number, 0.0, fit.residuals * 1000.0, color=GAIN, linewidth=1.0)
        axes.plot(number, fit.residuals * 1000.0, "o", color=GAIN)
        axes.axhline(0.0, color=NOW, linewidth=0.8)
        axes.set_ylim(
            *(1150.0 * sign * max(np.max(half_m), np.max(np.abs(fit.residuals))) for sign in (-1, 1))
        )
        axes.set(xticks=number, xlabel="push", ylabel="residual (mm)")


def draw_known(fits: dict[str, tuple[LineFit, str]], path: Path) -> None:
    """Draw meter minus computed value over the reading, a panel for each part and its unit."""
    subtitle = "meter minus (scale times reading plus offset); a bow means that the part is not linear"
    size = (SIZE[0], 1.6 + 2.6 * len(fits))
    with drawn(path, "Known values: residuals", subtitle, size) as figure:
        panels = figure.subplots(len(fits), 1, squeeze=False)[:, 0]
        for axes, (name, (fit, unit)) in zip(panels, fits.items(), strict=True):
            axes.vlines(fit.given, 0.0, fit.residuals * 1000.0, color=GAIN, linewidth=1.0)
            axes.plot(fit.given, fit.residuals * 1000.0, "o", color=GAIN)
            axes.axhline(0.0, color=NOW, linewidth=0.8)
            axes.set(xlabel=f"reading of the {name} ({unit})", ylabel=f"residual (m{unit})")


def draw_load_steps(fit: LoadFit, path: Path) -> None:
    """Draw measured minus computed voltage over time."""
    subtitle = "measured minus computed voltage; slow tails after each step are the pack's recovery"
    with drawn(path, "Load steps: residuals", subtitle, SIZE) as figure:
        axes = figure.subplots()
        axes.plot(fit.time_s, fit.residual_v * 1000.0, color=GAIN, linewidth=0.8)
        axes.axhline(0.0, color=NOW, linewidth=0.8)
        axes.set(xlabel="time (s)", ylabel="residual (mV)")


def draw_stand_run(fit: StandFit, path: Path) -> None:
    """Draw the residuals of each law over time, in units of the noise of the readings."""
    subtitle = "in units of the readings' noise: within 3 is noise; a curve or spike is not the motor's law"
    with drawn(path, f"Stand run, {fit.kind} kind: residuals", subtitle, SIZE) as figure:
        axes = figure.subplots()
        axes.axhspan(-3.0, 3.0, color=NOW, alpha=0.1, linewidth=0.0)
        axes.plot(fit.time_s, fit.misses, ".", color=GAIN, markersize=3.0)
        axes.axhline(0.0, color=NOW, linewidth=0.8)
        axes.set(xlabel="time (s)", ylabel="residual over its noise")
