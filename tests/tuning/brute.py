"""Brute force: settings swept over a grid on the whole bench, to hold a recommendation against.

No theory and no model: every point is ridden with its settings in the firmware, and scored as `score` says.
`compare` does it over a grid of bikes, `python -m tests.benchmarks.tuning_brute_force` prints it.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.tuning.drive_bench import DriveBench, DriveSettings
from host_sim.tuning.drive_rides import DriveMeasures, measure_drive
from host_sim.tuning.engage_rides import EngageRides
from host_sim.tuning.engage_thresholds import edge_candidates, least_engage_rpm
from host_sim.tuning.identify import IdentifiedPlant
from host_sim.tuning.measures import Scores
from host_sim.tuning.release_rides import ReleaseRides
from host_sim.tuning.release_thresholds import safe_percents
from host_sim.tuning.score import PRIORITIES, Priority, drive_score, engage_score, release_score
from host_sim.tuning.variant import with_settings

Map = Callable[[Callable[[Any], Any], Iterable[Any]], Iterator[Any]]


@dataclass(frozen=True, slots=True)
class Grid:
    """What is swept: the values of each setting."""

    engage_edges: tuple[int, ...]
    engage_rpm: tuple[int, ...]
    release_rpm: tuple[int, ...]
    stop_pitch_percent: tuple[int, ...]
    rise_mv_per_s: tuple[int, ...]
    gain_factors: tuple[float, ...]
    integral_ms: tuple[int, ...]


FULL_GRID = Grid(
    engage_edges=(2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 24, 28),
    engage_rpm=(10, 15, 18, 20, 22, 25, 30, 40),
    release_rpm=(4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 16, 18, 20),
    stop_pitch_percent=(100, 110, 120, 135, 150, 175, 200, 250, 320),
    rise_mv_per_s=(150, 250, 350, 500, 700, 1000, 1400, 2000, 3000, 5000),
    gain_factors=(0.06, 0.12, 0.25, 0.5, 1.0),
    integral_ms=(20, 30, 50, 120),
)


@dataclass(frozen=True, slots=True)
class Best:
    """The least scores that a sweep found, and with which settings."""

    scores: Scores
    settings: dict[str, int]


@dataclass(frozen=True, slots=True)
class Trial:
    """A bike with settings to ride."""

    bike: Bike
    seed: int


def ride_drive(trial: Trial) -> DriveMeasures:
    """Ride the step and the start."""
    return measure_drive(trial.bike, trial.seed)


def sweep_engage(bike: Bike, priority: Priority, grid: Grid, seed: int = 1) -> tuple[float, dict[str, int]]:
    """Return the least engage score over what of the grid makes sense for the ring, and its settings.

    Ridden once, read with each of them: that this is what the firmware does with them is a test of its own.
    """
    rides = EngageRides(bike, seed)
    candidates = edge_candidates(bike)
    floor_rpm = least_engage_rpm(bike)
    points = [
        {"engage_edges": edges, "engage_rpm": rpm}
        for edges in grid.engage_edges
        for rpm in grid.engage_rpm
        if candidates[0] <= edges <= candidates[-1] and rpm >= floor_rpm
    ]
    scores = [
        engage_score(rides.measures(point["engage_edges"], point["engage_rpm"]), priority) for point in points
    ]
    return min(zip(scores, points, strict=True), key=lambda pair: pair[0])


def sweep_release(bike: Bike, engage_rpm: int, grid: Grid, seed: int = 1) -> tuple[float, dict[str, int]]:
    """Return the least release score over the grid and its settings; ridden once, read with each of them."""
    ride = ReleaseRides(bike, seed).for_engage(engage_rpm)
    points = [
        {"engage_rpm": engage_rpm, "release_rpm": rpm, "stop_pitch_percent": percent}
        for rpm in grid.release_rpm
        for percent in grid.stop_pitch_percent
        if rpm < engage_rpm and percent <= safe_percents(bike)[-1]
    ]
    scores = [release_score(ride.measures(with_settings(bike, point).firmware_settings)) for point in points]
    return min(zip(scores, points, strict=True), key=lambda pair: pair[0])


def sweep_drive(
    bike: Bike,
    plants: list[IdentifiedPlant],
    priority: Priority,
    tight: DriveSettings,
    grid: Grid,
    mapped: Map,
    seed: int = 1,
) -> tuple[float, dict[str, int]]:
    """Return the least drive score over the grid; gains are factors of `tight`, the tight SIMC setting."""
    looped = bike.shunt.fitted
    settings = [
        DriveSettings(rise, max(round(tight.gain_uv_per_w * factor), 1), integral)
        for rise in grid.rise_mv_per_s
        for factor in (grid.gain_factors if looped else (1.0,))
        for integral in (grid.integral_ms if looped else (100,))
    ]
    bench = DriveBench(bike, plants, priority, seed)
    trials = [Trial(with_settings(bike, one.changes(bike)), seed) for one in settings]
    measured = mapped(ride_drive, trials)
    scores = [
        drive_score(measures, bench.sensitivity(one.gains), priority)
        for one, measures in zip(settings, measured, strict=True)
    ]
    score, best = min(zip(scores, settings, strict=True), key=lambda pair: pair[0])
    return score, best.changes(bike)


def bike_grid() -> list[tuple[str, Bike, Priority]]:
    """Return bikes that differ in what matters: ring, controller, lag, mass, battery, shunt, priority."""
    trike, tandem, folding = (load_bike(name) for name in ("cargo_trike", "tandem", "folding"))

    def ring(bike: Bike, **keys: Any) -> dict[str, Any]:
        return {"pedal_sensor": bike.pedal_sensor.model_copy(update={"angle_errors_deg": [], **keys})}

    def part(bike: Bike, section: str, **keys: Any) -> dict[str, Any]:
        return {section: getattr(bike, section).model_copy(update=keys)}

    duty = ring(trike, kind="duty-coded", pulses_per_rev=16, duty_percent=70.0, uneven_deg=0.8)
    quick_ring = ring(trike, pulses_per_rev=32, uneven_deg=0.3, hysteresis_deg=0.4)
    light = part(trike, "bicycle", own_mass_kg=24.0, load_kg=0.0)
    slow_stage = part(tandem, "motor_controller", lag_s=0.08) | part(tandem, "battery", resistance_ohm=0.25)
    as_torque = part(tandem, "motor_controller", kind="torque")
    shunt = part(folding, "shunt", fitted=True, noise_a=0.1, step_a=0.05)
    heavy = part(trike, "bicycle", own_mass_kg=75.0, load_kg=100.0)  # 250 kg with its rider.
    cells = {"full_v": 29.4, "empty_v": 21.0, "resistance_ohm": 0.1}  # 24 V, 7 cells in a row.
    low = part(trike, "battery", **cells) | part(trike, "motor", torque_constant_nm_per_a=1.0)
    six = ring(trike, pulses_per_rev=6, uneven_deg=2.0)
    as_speed = part(trike, "motor_controller", kind="speed") | part(trike, "bicycle", load_kg=120.0)
    return [
        ("trike", trike, PRIORITIES["balanced"]),
        ("cargo trike of 250 kg", with_settings(trike, {}, heavy), PRIORITIES["balanced"]),
        ("trike of 24 V, ring of 6", with_settings(trike, {}, low | six), PRIORITIES["balanced"]),
        ("tandem", tandem, PRIORITIES["balanced"]),
        ("folding", folding, PRIORITIES["balanced"]),
        ("trike, duty-coded ring of 16", with_settings(trike, {}, duty), PRIORITIES["calm"]),
        ("light trike, ring of 32", with_settings(trike, {}, quick_ring | light), PRIORITIES["quick"]),
        ("tandem, slow power stage, weak pack", with_settings(tandem, {}, slow_stage), PRIORITIES["calm"]),
        ("tandem, torque controller", with_settings(tandem, {}, as_torque), PRIORITIES["quick"]),
        ("folding with a shunt", with_settings(folding, {}, shunt), PRIORITIES["calm"]),
        ("heavy trike, speed controller", with_settings(trike, {}, as_speed), PRIORITIES["quick"]),
    ]
