"""The difference between the predicted and the measured ride."""

from dataclasses import dataclass

import numpy as np

from host_sim.comparing.drive_alone import DriveAlone
from host_sim.comparing.measured import Measured, Series
from host_sim.comparing.predicted import Predicted

# Units of the errors: about the effect of noise and gusts. Judgement.
SPEED_M_PER_S = 0.1
BATTERY_W = 20.0
BATTERY_V = 0.1
MATCHED_S = 1.5  # Periods of help that begin this close together are the same one.


@dataclass(frozen=True, slots=True)
class Gap:
    """Mean and root mean square of predicted minus measured values, and the mean of the measured ones."""

    mean: float
    rms: float
    measured_mean: float
    unit: str

    def as_json(self) -> dict[str, float | str]:
        """Return the entry of `treadle compare --json`."""
        return {
            "mean_error": round(self.mean, 4),
            "rms_error": round(self.rms, 4),
            "measured_mean": round(self.measured_mean, 4),
            "unit": self.unit,
        }


@dataclass(frozen=True, slots=True)
class Engagements:
    """How often the motor helped in both rides, or only in one, and how much later in the prediction.

    `begins_later_s` and `ends_later_s` are medians, None if no period of help is in both.
    """

    both: int
    measured_only: int
    predicted_only: int
    begins_later_s: float | None
    ends_later_s: float | None


def gap(predicted: Series, measured: Series, unit: str) -> Gap:
    """Compare two series of equal length."""
    off = predicted - measured
    return Gap(float(off.mean()), float(np.sqrt(np.mean(off**2))), float(measured.mean()), unit)


def gaps(predicted: Predicted, measured: Measured) -> dict[str, Gap]:
    """Compare speed, battery power and command."""
    return {
        "speed": gap(predicted.speed_m_per_s, measured.speed_m_per_s, "m/s"),
        "battery_power": gap(predicted.battery_w, measured.battery_w, "W"),
        "command": gap(predicted.command_v, measured.command_v, "V"),
    }


def match(predicted: Predicted, measured: Measured) -> Engagements:
    """Match the periods of help one by one, in order of time."""
    left = list(predicted.spans_s)
    begins: list[float] = []
    ends: list[float] = []
    for start_s, end_s in measured.spans_s:
        near = [span for span in left if abs(span[0] - start_s) <= MATCHED_S]
        if near:
            found = min(near, key=lambda span: abs(span[0] - start_s))
            left.remove(found)
            begins.append(found[0] - start_s)
            ends.append(found[1] - end_s)
    return Engagements(
        both=len(begins),
        measured_only=len(measured.spans_s) - len(begins),
        predicted_only=len(left),
        begins_later_s=float(np.median(begins)) if begins else None,
        ends_later_s=float(np.median(ends)) if ends else None,
    )


def road_misses(predicted_m_per_s: Series, measured: Measured) -> float:
    """Return the mean square of the speed's error, in units of SPEED_M_PER_S, where it is predicted."""
    known = ~np.isnan(predicted_m_per_s)
    off = predicted_m_per_s[known] - measured.speed_m_per_s[known]
    return float(np.mean((off / SPEED_M_PER_S) ** 2))


def drive_misses(alone: DriveAlone, measured: Measured) -> float:
    """Return the mean square of the errors of power and voltage, in units of BATTERY_W and BATTERY_V."""
    power = (alone.battery_w - measured.battery_w) / BATTERY_W
    volts = (alone.battery_v - measured.battery_v) / BATTERY_V
    return float(np.mean(power**2) + np.mean(volts**2))
