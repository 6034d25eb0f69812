"""The power loop of a recommendation: margins, predicted against measured, and rival methods."""

from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any

from host_sim.bikes.model import Bike
from host_sim.tuning.drive import loop_model
from host_sim.tuning.drive_bench import DriveChoice
from host_sim.tuning.drive_rides import STEP_SPEED_SHARE, DriveMeasures
from host_sim.tuning.identify import IdentifiedPlant, ProcessModel
from host_sim.tuning.margins import Margins, WorstCase, loop_margins, proportional_limit, worst_case
from host_sim.tuning.operating import OperatingPoint
from host_sim.tuning.predict import Prediction, predict
from host_sim.tuning.rates import fall_for
from host_sim.tuning.simc import PiGains, simc, ziegler_nichols_oscillation
from host_sim.tuning.surge import SurgeCheck, SurgePoint, check_surge
from host_sim.units import KM_PER_H_PER_M_PER_S


@dataclass(frozen=True, slots=True)
class Rival:
    """Gains of one method with their least margins over the operating range."""

    method: str
    gains: PiGains
    margins: Margins


@dataclass(frozen=True, slots=True)
class LoopReport:
    """`worst` and `by_point` for the chosen gains, `rivals` for comparison; predicted and measured values."""

    model: ProcessModel
    gains: PiGains
    worst: WorstCase
    by_point: list[tuple[OperatingPoint, Margins]]
    rivals: list[Rival]
    predicted: Prediction
    measured: DriveMeasures
    surge: SurgeCheck
    w_per_mv: float


def loop_report(
    bike: Bike, plants: list[IdentifiedPlant], drive: DriveChoice, measured: DriveMeasures, seed: int = 1
) -> LoopReport:
    """Return margins, rivals, prediction and surge limit of the chosen loop; ValueError without a plant."""
    chosen = drive.chosen.settings
    model = loop_model(plants)
    if model is None:
        raise ValueError("plants must contain one plant or more")
    worst = worst_case(plants, chosen.gains)
    strongest = max(plants, key=lambda plant: plant.model.gain)
    methods = {
        "SIMC, tight": simc(model),
        "Ziegler-Nichols, oscillation": ziegler_nichols_oscillation(*proportional_limit(strongest)),
    }
    fall = fall_for(bike, chosen.rise_mv_per_s)
    return LoopReport(
        model=model,
        gains=chosen.gains,
        worst=worst,
        by_point=[(plant.point, loop_margins(plant, chosen.gains)) for plant in plants],
        rivals=[Rival(name, gains, worst_case(plants, gains).margins) for name, gains in methods.items()],
        predicted=predict(bike, step_plant(bike, plants), chosen.gains, chosen.rise_mv_per_s, fall),
        measured=measured,
        surge=check_surge(bike, chosen, worst, plants, seed),
        w_per_mv=strongest.model.gain / 1000.0,
    )


def step_plant(bike: Bike, plants: list[IdentifiedPlant]) -> IdentifiedPlant:
    """Return the plant nearest to the step ride: its speed, its charge, full load."""
    speed_m_per_s = STEP_SPEED_SHARE * bike.firmware_settings.taper_start_mm_per_s / 1000.0

    def distance(plant: IdentifiedPlant) -> tuple[float, float, float]:
        point = plant.point
        return (
            abs(point.load - 1.0),
            abs(point.speed_m_per_s - speed_m_per_s),
            abs(point.charge - bike.battery.charge),
        )

    return min(plants, key=distance)


def margins_json(margins: Margins) -> dict[str, float | None]:
    """Return margins by name, None for what is infinite."""
    found = {
        "gain_margin": margins.gain,
        "phase_margin_deg": margins.phase_deg,
        "delay_margin_s": margins.delay_s,
        "ms": margins.sensitivity,
        "surge_hz": margins.surge_hz,
        "crossover_rad_per_s": margins.crossover_rad_per_s,
    }
    return {name: rounded(value) for name, value in found.items()}


def rounded(value: float | None, digits: int = 4) -> float | None:
    """Return a number for people and JSON; None if there is none, or if it is infinite or NaN."""
    return None if value is None or not isfinite(value) else round(value, digits)


def _surge_json(how: str, point: SurgePoint | None) -> dict[str, float | None]:
    return {
        f"{how}_times": None if point is None else rounded(point.factor, 2),
        f"{how}_hz": None if point is None else rounded(point.frequency_hz, 2),
    }


def loop_json(report: LoopReport, bike: Bike) -> dict[str, Any]:
    """Return the loop under its documented keys."""
    surge = report.surge
    return {
        "plant": {
            "kind": "integrating" if report.model.integrating else "first order with dead time",
            "gain_w_per_v": rounded(report.model.gain, 2),
            "lag_s": rounded(report.model.lag_s),
            "dead_time_s": rounded(report.model.dead_time_s),
        },
        "worst_case": margins_json(report.worst.margins),
        "points": [
            {
                "speed_km_per_h": rounded(point.speed_m_per_s * KM_PER_H_PER_M_PER_S, 2),
                "charge": point.charge,
                "load": point.load,
                **margins_json(margins),
            }
            for point, margins in report.by_point
        ],
        "methods": [
            {
                "method": rival.method,
                "gain_uv_per_w": round(rival.gains.gain * 1e6),
                "integral_ms": round(rival.gains.integral_s * 1000.0),
                **margins_json(rival.margins),
            }
            for rival in report.rivals
        ],
        "predicted": {name: rounded(value) for name, value in asdict(report.predicted).items()},
        "measured": {name: rounded(value) for name, value in asdict(report.measured).items()},
        "surge": {
            "where": surge.point.words(bike),
            "sentence": surge.sentence(bike),
            **_surge_json("predicted", surge.felt.predicted),
            **_surge_json("simulated", surge.felt.simulated),
        },
        "w_per_mv": rounded(report.w_per_mv, 2),
    }
