"""What tuning makes of the power loop that a bike file gets by itself, over shipped and invented bicycles."""

from collections.abc import Iterator
from dataclasses import dataclass

from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers
from host_sim.tuning.drive import choose_drive
from host_sim.tuning.drive_bench import DriveBench, DriveSettings
from host_sim.tuning.identify import identify
from host_sim.tuning.score import PRIORITIES
from tests.tuning.invented import CONTROLLERS, VOLTS, WATTS, invented


@dataclass(frozen=True, slots=True)
class Derived:
    """Gain and integral time as derived and as tuned; the drive score at the tuned rise rate with each."""

    title: str
    derived: tuple[int, int]
    tuned: tuple[int, int]
    derived_score: float
    tuned_score: float

    @property
    def over_percent(self) -> float:
        """How much worse the derived gains are than the tuned ones, everything else tuned."""
        return 100.0 * (self.derived_score / self.tuned_score - 1.0)


def derived(bike: Bike) -> Derived:
    """Tune the drive of a bicycle, and ride the tuned rise rate with the derived gains as well."""
    plants = identify(bike)
    priority = PRIORITIES["balanced"]
    chosen = choose_drive(bike, plants, priority).chosen
    now = bike.firmware_settings
    rise = chosen.settings.rise_mv_per_s
    point = DriveBench(bike, plants, priority).ride(DriveSettings(rise, now.gain_uv_per_w, now.integral_ms))
    return Derived(
        bike.title,
        (now.gain_uv_per_w, now.integral_ms),
        (chosen.settings.gain_uv_per_w, chosen.settings.integral_ms),
        point.score,
        chosen.score,
    )


def bikes() -> list[Bike]:
    """Return the shipped bicycles with a power loop, and the invented ones."""
    others = [invented(volts, watts, kind) for kind in CONTROLLERS for volts in VOLTS for watts in WATTS]
    return [load_bike("cargo_trike"), load_bike("tandem"), *others]


def derived_all() -> Iterator[Derived]:
    """Yield all of them, ridden compiled."""
    with Workers(1) as workers:
        yield from workers.map(derived, bikes(), 1)
