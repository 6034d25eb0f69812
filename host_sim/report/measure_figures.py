"""Residuals of `treadle measure`; a systematic curve means that the model is wrong."""

from pathlib import Path

import numpy as np

from host_sim.measuring.coast_down import CoastFit
from host_sim.measuring.elevation import RideFit
from host_sim.measuring.load_steps import LoadFit
from host_sim.measuring.stand_run import StandFit
from host_sim.report.tuning_figures import CHOSEN, COST, GAIN, NOW, drawn

SIZE = (9.0, 5.4)


def draw_coast_down(fit: CoastFit, path: Path) -> None:
    """Draw measured minus computed speed over time, one line a run, a colour a direction."""
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
        axes.set_xlabel("time in the run (s)")
        axes.set_ylabel("residual (m/s)")
        axes.legend(frameon=False)


def draw_ride(fit: RideFit, path: Path) -> None:
    """Draw the climb of each stretch, computed over measured, on the line where they agree."""
    subtitle = "computed over measured climb of each minute; braking lies above the line"
    with drawn(path, "Ride: elevation reproduced", subtitle, SIZE) as figure:
        axes = figure.subplots()
        axes.plot(fit.climb_m, fit.computed_climb_m, ".", color=GAIN)
        ends = np.array([np.min(fit.climb_m), np.max(fit.climb_m)])
        axes.plot(ends, ends, color=CHOSEN, linewidth=1.0)
        axes.set_xlabel("measured climb (m)")
        axes.set_ylabel("computed climb (m)")


def draw_load_steps(fit: LoadFit, path: Path) -> None:
    """Draw measured minus computed voltage over time."""
    subtitle = "measured minus computed voltage; slow tails after each step are the pack's recovery"
    with drawn(path, "Load steps: residuals", subtitle, SIZE) as figure:
        axes = figure.subplots()
        axes.plot(fit.time_s, fit.residual_v * 1000.0, color=GAIN, linewidth=0.8)
        axes.axhline(0.0, color=NOW, linewidth=0.8)
        axes.set_xlabel("time (s)")
        axes.set_ylabel("residual (mV)")


def draw_stand_run(fit: StandFit, path: Path) -> None:
    """Draw the residuals of each law over time, in units of the noise of the readings."""
    subtitle = "in units of the readings' noise: within 3 is noise; a curve or spike is not the motor's law"
    with drawn(path, f"Stand run, {fit.kind} kind: residuals", subtitle, SIZE) as figure:
        axes = figure.subplots()
        axes.axhspan(-3.0, 3.0, color=NOW, alpha=0.1, linewidth=0.0)
        axes.plot(fit.time_s, fit.misses, ".", color=GAIN, markersize=3.0)
        axes.axhline(0.0, color=NOW, linewidth=0.8)
        axes.set_xlabel("time (s)")
        axes.set_ylabel("residual over its noise")
