"""The surge limit: predicted from the identified plant, then searched for on the simulated ride.

The ride is the whole bench at the operating point with the least gain margin, disturbed once by a dip of the
speed; the gain is raised until the power no longer settles. The gain margin doesn't consider rise and fall
rate, so there are two predictions: the margin for the smallest swings, and the linear loop with its rates
(`predict`) for those that a rider feels. The shunt has no noise here: neither noise nor drift is a surge.

Neither prediction considers that the command has whole millivolts and that current limits make the plant
nonlinear. So nothing is predicted or ridden beyond TIMES_MOST: nobody sets ten times the gain.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.bench.course import Course, course_from
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.rules.riding import on_roller
from host_sim.tuning.drive import GAIN_MOST_UV_PER_W
from host_sim.tuning.drive_bench import DriveSettings
from host_sim.tuning.drive_rides import traced
from host_sim.tuning.identify import Floats, IdentifiedPlant
from host_sim.tuning.margins import WorstCase
from host_sim.tuning.operating import OperatingPoint
from host_sim.tuning.predict import swing_after_kick
from host_sim.tuning.rates import fall_for
from host_sim.tuning.ride_start import rest_s
from host_sim.tuning.variant import with_settings
from host_sim.units import KM_PER_H_PER_M_PER_S

SETTLE_S = 3.0
KICK_S = 0.2
AFTER_S = 6.0
EVALUATED_S = 2.0
SURGES_SHARE = 0.04  # Of the power, highest to lowest, long after the dip: a larger swing is a surge.
QUIET_STEP_A = 0.005
FREE_MV_PER_S = 10_000
TIMES_MOST = 10.0
_ROUNDING = 1e-9
SLOWEST_HZ = 1.0  # Two swings in the window; slower is a drift.
FACTORS = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.45, 1.7, 2.0)  # Times the gain margin.


@dataclass(frozen=True, slots=True)
class SurgePoint:
    """One ride: gain as a multiple of the chosen one, swing as a share of the power, main frequency, Hz."""

    factor: float
    swing_share: float
    frequency_hz: float


@dataclass(frozen=True, slots=True)
class SurgeScan:
    """Gain after gain with the same rates: on the linear loop, and on the bench until it surges."""

    rise_mv_per_s: int
    fall_mv_per_s: int
    model: list[SurgePoint]
    bench: list[SurgePoint]

    @property
    def predicted(self) -> SurgePoint | None:
        """Where the linear loop begins to surge; None if it never does."""
        return _first_surge(self.model)

    @property
    def simulated(self) -> SurgePoint | None:
        """Where the bench begins to surge; None if it never does."""
        return _first_surge(self.bench)


def _first_surge(points: list[SurgePoint]) -> SurgePoint | None:
    return next((point for point in points if point.swing_share > SURGES_SHARE), None)


@dataclass(frozen=True, slots=True)
class SurgeCheck:
    """Two scans at `point` with its gain margin: `free` at the fastest rates, `felt` at the chosen ones."""

    point: OperatingPoint
    margin: float
    free: SurgeScan
    felt: SurgeScan

    def sentence(self, bike: Bike) -> str:
        """Return the surge limit and where it was found, or how far it was searched, in a sentence."""
        where = self.point.words(bike)
        surging = self.felt.simulated
        if surging is not None:
            times = "twice" if round(surging.factor, 1) == 2.0 else f"{surging.factor:.1f} times"
            found = f"At {times} this gain it surges at {surging.frequency_hz:.1f} Hz {where}"
            if surging.factor >= 0.8 * self.margin:
                return f"{found}; the gain margin is {self.margin:.1f}."
            return (
                f"{found}, sooner than by its gain margin of {self.margin:.1f}: the rates add to the delay."
            )
        if self.margin > TIMES_MOST:
            return (
                f"Surging is more than {TIMES_MOST:.0f} times this gain away {where}, beyond the range of "
                f"this model."
            )
        ridden = self.felt.bench[-1].factor if self.felt.bench else 1.0
        return f"Up to {ridden:.1f} times this gain nothing surges {where}."


def surge_course(bike: Bike, point: OperatingPoint) -> Course:
    """Return the ride: pedalling at the point's speed on a roller, with one dip of the speed."""
    begin_s = rest_s(bike)
    kick_s = begin_s + SETTLE_S
    speed_km_per_h = point.speed_m_per_s * KM_PER_H_PER_M_PER_S
    lines: Lines = [
        on_roller(speed_km_per_h) | {"charge_percent": 100.0 * point.charge},
        {"at_s": begin_s, "cadence_rpm": 70},
        {"at_s": kick_s, "roller_km_per_h": 0.95 * speed_km_per_h},
        {"at_s": kick_s + KICK_S, "roller_km_per_h": speed_km_per_h},
    ]
    return course_from("surge", "A dip of the speed", kick_s + KICK_S + AFTER_S, lines)


def check_surge(
    bike: Bike, settings: DriveSettings, worst: WorstCase, plants: list[IdentifiedPlant], seed: int = 1
) -> SurgeCheck:
    """Search for the surge limit of `settings` at the point of `worst`, which must be one of `plants`."""
    point, margin = worst.surge_point, worst.margins.gain
    plant = next(one for one in plants if one.point == point)
    scans = [
        _scan(bike, settings, plant, margin, rise, fall, seed)
        for rise, fall in (
            (FREE_MV_PER_S, FREE_MV_PER_S),
            (settings.rise_mv_per_s, fall_for(bike, settings.rise_mv_per_s)),
        )
    ]
    return SurgeCheck(point, margin, *scans)


def _scan(
    bike: Bike,
    settings: DriveSettings,
    plant: IdentifiedPlant,
    margin: float,
    rise: int,
    fall: int,
    seed: int,
) -> SurgeScan:
    factors = [share * margin for share in FACTORS if share * margin <= TIMES_MOST]
    gains = settings.gains
    model = [
        _point(factor, swing_after_kick(bike, plant, gains.scaled(factor), rise, fall)) for factor in factors
    ]
    bench: list[SurgePoint] = []
    for factor in factors:
        if settings.gain_uv_per_w * factor > GAIN_MOST_UV_PER_W:
            break
        bench.append(_point(factor, _ride(bike, settings, plant.point, factor, (rise, fall), seed)))
        if bench[-1].swing_share > SURGES_SHARE:
            break
    return SurgeScan(rise, fall, model, bench)


def _ride(
    bike: Bike,
    settings: DriveSettings,
    point: OperatingPoint,
    factor: float,
    rates: tuple[int, int],
    seed: int,
) -> Floats:
    """Return the power at the end of a ride with the gain times `factor`."""
    changes = {
        "gain_uv_per_w": round(settings.gain_uv_per_w * factor),
        "integral_ms": settings.integral_ms,
        "rise_mv_per_s": rates[0],
        "fall_mv_per_s": rates[1],
        "assist_power_w": round(bike.firmware_settings.assist_power_w * point.load),
    }
    quiet = bike.shunt.model_copy(update={"noise_a": 0.0, "step_a": QUIET_STEP_A})
    ridden = with_settings(bike, changes, {"shunt": quiet})
    trace = traced(ridden, surge_course(ridden, point), seed)
    return np.array(trace.powers_w[-round(EVALUATED_S / CONTROL_PERIOD_S) :], dtype=float)


def _point(factor: float, last_w: Floats) -> SurgePoint:
    if len(last_w) < 2 or float(np.mean(last_w)) <= 0.0:
        return SurgePoint(factor, 0.0, 0.0)
    swinging_w = without_drift(last_w)
    frequency_hz = main_frequency_hz(swinging_w)
    swing_share = float(np.ptp(swinging_w) / np.mean(last_w))
    if frequency_hz < SLOWEST_HZ or swing_share < _ROUNDING:
        return SurgePoint(factor, 0.0, 0.0)
    return SurgePoint(factor, swing_share, frequency_hz)


def without_drift(values: Floats) -> Floats:
    """Return values by the control period without their mean and linear trend."""
    times = np.arange(len(values), dtype=np.float64)
    rest: Floats = values - np.polyval(np.polyfit(times, values, 1), times)
    return rest


def main_frequency_hz(values: Floats) -> float:
    """Return the strongest frequency in Hz of values by the control period, their mean left out."""
    swing = (values - np.mean(values)) * np.hanning(len(values))
    spectrum = np.abs(np.fft.rfft(swing, 8 * len(values)))
    return float(np.argmax(spectrum) / (8 * len(values) * CONTROL_PERIOD_S))
