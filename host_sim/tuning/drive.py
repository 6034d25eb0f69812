"""Chooses rise rate, gain and integral time together: theory proposes, the bench decides.

The rise rate starts from the comfort limit, the gains from SIMC around the operating point where a volt
moves the most watts, for several closed-loop times. Every proposal is ridden; around the best one, small
steps are tried too. They are compared by `drive_score`, which includes the greatest Ms over the whole
operating range.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from host_sim.bikes.model import Bike
from host_sim.tuning.drive_rides import DriveMeasures, measure_drive
from host_sim.tuning.identify import Complexes, IdentifiedPlant, ProcessModel
from host_sim.tuning.margins import firmware_pi_response, loop_frequencies
from host_sim.tuning.open_loop import PERIOD_S
from host_sim.tuning.rates import fall_for, legal_rise, rates_for
from host_sim.tuning.score import Priority, drive_score
from host_sim.tuning.simc import PiGains, simc
from host_sim.tuning.variant import with_settings

CLOSED_LOOP_DEAD_TIMES = (1.0, 2.0, 4.0, 8.0, 16.0)  # tau_c as multiples of the dead time; 1 is tight.
RISE_FACTORS = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
ROUNDS = 6
AS_GOOD = 1.03  # Times the least score: no rider feels the difference.
KEPT = 1.02
STEPS = (1.25, 0.8)
GAIN_MOST_UV_PER_W = 50_000
INTEGRAL_LEAST_MS, INTEGRAL_MOST_MS = 20, 20_000


Names = tuple[str, ...]


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


@dataclass(frozen=True, slots=True)
class DrivePoint:
    """One candidate: its settings, its measures on the bench, its greatest Ms, its score."""

    settings: DriveSettings
    measures: DriveMeasures
    sensitivity: float
    score: float


@dataclass(frozen=True, slots=True)
class DriveChoice:
    """The chosen point, everything that was ridden, and the model that the gains were made for.

    `before_keeping`: the point that was chosen before some settings were kept on request; None if none were
    kept.
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

    def __init__(self, bike: Bike, plants: list[IdentifiedPlant], priority: Priority, seed: int = 1) -> None:
        """Store the bicycle; `plants` may be empty for one without a shunt."""
        self._bike = bike
        self._priority = priority
        self._seed = seed
        self._frequencies = loop_frequencies()
        self._responses: list[Complexes] = [plant.response_at(self._frequencies) for plant in plants]
        self._found: dict[DriveSettings, DrivePoint] = {}

    def ride(self, settings: DriveSettings) -> DrivePoint:
        """Return the rated point of `settings`."""
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

    @property
    def tried(self) -> list[DrivePoint]:
        """All points that were ridden, in order."""
        return list(self._found.values())


def loop_model(plants: list[IdentifiedPlant]) -> ProcessModel | None:
    """Return the model that the gains are computed for: that of the point where a volt moves the most watts.

    Half a control period is added to the dead time: that is how long a command is held on average before the
    next one.
    """
    if not plants:
        return None
    strongest = max((plant.model for plant in plants), key=lambda model: model.gain)
    return replace(strongest, dead_time_s=strongest.dead_time_s + PERIOD_S / 2.0)


def legal_gains(gains: PiGains) -> tuple[int, int]:
    """Return gain and integral time as the whole, legal settings nearest to `gains`."""
    gain = min(max(round(gains.gain * 1e6), 1), GAIN_MOST_UV_PER_W)
    return gain, min(max(round(gains.integral_s * 1000.0), INTEGRAL_LEAST_MS), INTEGRAL_MOST_MS)


def choose_drive(bike: Bike, plants: list[IdentifiedPlant], priority: Priority, seed: int = 1) -> DriveChoice:
    """Return rise rate, gain and integral time with the least score, by theory and a search around it."""
    bench = DriveBench(bike, plants, priority, seed)
    model = loop_model(plants)
    comfort = rates_for(bike, priority.jerk_m_per_s3).rise_mv_per_s
    pairs = _gain_pairs(bike, model)
    best = min((bench.ride(one) for one in _proposals(bike, pairs, comfort)), key=lambda point: point.score)
    for _ in range(ROUNDS):
        before = best
        # All proposals of gain at the best rise rate as well: small steps alone could end in a local minimum.
        same_rise = [DriveSettings(before.settings.rise_mv_per_s, *pair) for pair in pairs]
        for settings in same_rise + _around(before.settings, bike.shunt.fitted):
            best = min(best, bench.ride(settings), key=lambda point: point.score)
        if best.score > 0.995 * before.score:
            break
    # Noise would pick one of many that are equally good; their middle depends less on it.
    middle = bench.ride(_middle([point for point in bench.tried if point.score <= AS_GOOD * best.score]))
    chosen = middle if middle.score <= 1.01 * best.score else best
    # If the present settings are as good, they stay.
    now = bike.firmware_settings
    kept = replace(chosen.settings, gain_uv_per_w=now.gain_uv_per_w, integral_ms=now.integral_ms)
    if bench.ride(kept).score <= KEPT * best.score:
        chosen = bench.ride(kept)
    return DriveChoice(chosen, bench.tried, model)


def with_kept(
    choice: DriveChoice, bike: Bike, plants: list[IdentifiedPlant], priority: Priority, seed: int, keep: Names
) -> DriveChoice:
    """Return the choice with the settings in `keep` as the bicycle has them, ridden like any other point."""
    now = bike.firmware_settings
    kept = {field.name: getattr(now, field.name) for field in fields(DriveSettings) if field.name in keep}
    settings = replace(choice.chosen.settings, **kept)
    if settings == choice.chosen.settings:
        return choice
    point = DriveBench(bike, plants, priority, seed).ride(settings)
    return replace(choice, chosen=point, tried=[*choice.tried, point], before_keeping=choice.chosen.settings)


def _middle(points: list[DrivePoint]) -> DriveSettings:
    """Return the geometric mean of settings."""

    def mean(values: list[int]) -> float:
        return float(np.exp(np.mean(np.log(values))))

    return DriveSettings(
        legal_rise(mean([point.settings.rise_mv_per_s for point in points])),
        round(mean([point.settings.gain_uv_per_w for point in points])),
        round(mean([point.settings.integral_ms for point in points])),
    )


def _gain_pairs(bike: Bike, model: ProcessModel | None) -> list[tuple[int, int]]:
    """Return gains and integral times by SIMC, from tight to slow; the bicycle's own if there is no loop."""
    if model is None:
        return [(bike.firmware_settings.gain_uv_per_w, bike.firmware_settings.integral_ms)]
    return [legal_gains(simc(model, share * model.dead_time_s)) for share in CLOSED_LOOP_DEAD_TIMES]


def _proposals(bike: Bike, pairs: list[tuple[int, int]], comfort: int) -> list[DriveSettings]:
    """Return every pair of gains at every share of the comfort limit, and the bicycle's present settings."""
    now = bike.firmware_settings
    found = [DriveSettings(legal_rise(factor * comfort), *pair) for factor in RISE_FACTORS for pair in pairs]
    # Then the recommendation is never worse than the present settings.
    return [*found, DriveSettings(now.rise_mv_per_s, now.gain_uv_per_w, now.integral_ms)]


def _around(settings: DriveSettings, loop: bool) -> list[DriveSettings]:
    """Return the neighbours: each value a fifth less and a quarter more."""
    found = [replace(settings, rise_mv_per_s=legal_rise(settings.rise_mv_per_s * step)) for step in STEPS]
    if loop:
        for step in STEPS:
            gain, integral = legal_gains(settings.gains.scaled(step))
            found.append(replace(settings, gain_uv_per_w=gain, integral_ms=integral))
            slower = replace(settings.gains, integral_s=settings.gains.integral_s * step)
            found.append(replace(settings, integral_ms=legal_gains(slower)[1]))
    return [one for one in found if one != settings]
