"""Rides settings of the drive: candidates with their measures, their greatest Ms and their score."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from host_sim.bikes.model import Bike
from host_sim.tuning.drive_rides import DriveMeasures, measure_drive
from host_sim.tuning.identify import Complexes, IdentifiedPlant, ProcessModel
from host_sim.tuning.margins import firmware_pi_response, loop_frequencies
from host_sim.tuning.rates import fall_for, legal_rise
from host_sim.tuning.score import Priority, drive_score
from host_sim.tuning.simc import PiGains
from host_sim.tuning.variant import NOTHING_FIXED, with_settings

AS_GOOD = 1.03  # Times the least score: no rider feels the difference.


@dataclass(frozen=True, slots=True)
class DriveSettings:
    """The settings that are chosen together; without a shunt the last two have no effect."""

    rise_mv_per_s: int
    gain_uv_per_w: int
    integral_ms: int

    def changes(self, bike: Bike) -> dict[str, int]:
        """Return the settings by name, with the fall rate that belongs to the rise rate."""
        found = {"rise_mv_per_s": self.rise_mv_per_s, "fall_mv_per_s": fall_for(bike, self.rise_mv_per_s)}
        if bike.shunt.fitted:
            found |= {"gain_uv_per_w": self.gain_uv_per_w, "integral_ms": self.integral_ms}
        return found

    @property
    def gains(self) -> PiGains:
        """The gains in V/W and s."""
        return PiGains(self.gain_uv_per_w * 1e-6, self.integral_ms / 1000.0)


def settings_now(bike: Bike) -> DriveSettings:
    """Return the bicycle's present values of these settings."""
    now = bike.firmware_settings
    return DriveSettings(now.rise_mv_per_s, now.gain_uv_per_w, now.integral_ms)


@dataclass(frozen=True, slots=True)
class DrivePoint:
    """One candidate: its settings, its measures on the bench, its greatest Ms, its score."""

    settings: DriveSettings
    measures: DriveMeasures
    sensitivity: float
    score: float

    def fits(self, fixed: Mapping[str, int]) -> bool:
        """Tell whether its settings have the values in `fixed`; names of other settings don't count."""
        return all(getattr(self.settings, name, value) == value for name, value in fixed.items())


@dataclass(frozen=True, slots=True)
class DriveChoice:
    """The chosen point, everything that was ridden, and the model that the gains were made for.

    `before_keeping`: what would be chosen if no setting had to keep its value; None if none has to.
    """

    chosen: DrivePoint
    tried: list[DrivePoint]
    model: ProcessModel | None
    before_keeping: DriveSettings | None = None

    @property
    def recommended(self) -> DriveSettings:
        """The point that would be chosen if no setting had to be kept."""
        return self.chosen.settings if self.before_keeping is None else self.before_keeping


class DriveBench:
    """Rides candidate settings of one bicycle, each set once."""

    def __init__(
        self,
        bike: Bike,
        plants: list[IdentifiedPlant],
        priority: Priority,
        seed: int = 1,
        fixed: Mapping[str, int] = NOTHING_FIXED,
    ) -> None:
        """Prepare; `plants` may be empty without a shunt. `fixed` overrides the settings of every ride."""
        self._bike = bike
        self._fixed = {
            field.name: fixed[field.name] for field in fields(DriveSettings) if field.name in fixed
        }
        self._priority = priority
        self._seed = seed
        self._frequencies = loop_frequencies()
        self._responses: list[Complexes] = [plant.response_at(self._frequencies) for plant in plants]
        self._found: dict[DriveSettings, DrivePoint] = {}

    def ride(self, settings: DriveSettings) -> DrivePoint:
        """Return the point of `settings`, changed by what is fixed."""
        settings = replace(settings, **self._fixed)
        if settings not in self._found:
            changed = with_settings(self._bike, settings.changes(self._bike))
            measures = measure_drive(changed, self._seed)
            sensitivity = self.sensitivity(settings.gains)
            score = drive_score(measures, sensitivity, self._priority)
            self._found[settings] = DrivePoint(settings, measures, sensitivity, score)
        return self._found[settings]

    def sensitivity(self, gains: PiGains) -> float:
        """Return the greatest Ms over all plants on the frequency grid, which is quick; 1 without plants."""
        if gains.gain <= 0.0 or not self._responses:
            return 1.0
        controller = firmware_pi_response(gains, self._frequencies)
        return max(1.0 / float(np.min(np.abs(1.0 + controller * plant))) for plant in self._responses)

    def middle(self, some: list[DriveSettings], best: DrivePoint) -> DriveSettings:
        """Return the geometric mean of `some` and the best, weighed by score; the best if that is better."""
        points = [best, *(self.ride(one) for one in some)]
        least = min(point.score for point in points)
        weights = np.exp([(least - point.score) / ((AS_GOOD - 1.0) * least) for point in points])

        def mean(values: list[int]) -> float:
            return float(np.exp(np.average(np.log(values), weights=weights)))

        settings = DriveSettings(
            legal_rise(mean([point.settings.rise_mv_per_s for point in points])),
            round(mean([point.settings.gain_uv_per_w for point in points])),
            round(mean([point.settings.integral_ms for point in points])),
        )
        return settings if self.ride(settings).score <= AS_GOOD * best.score else best.settings

    @property
    def tried(self) -> list[DrivePoint]:
        """All points that were ridden, in order."""
        return list(self._found.values())
