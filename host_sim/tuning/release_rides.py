"""How late a stop is detected and how often help lapses: a sound ring and flawed ones, for any settings."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from firmware.settings import Settings
from host_sim.bikes.model import Bike
from host_sim.tuning.release_course import FLAWS, MISSING, PARTS, SLOW_ABOVE_ENGAGE, SOUND
from host_sim.tuning.ring_ride import RingMeasures, RingRide
from host_sim.tuning.variant import with_settings

PATIENT = {"release_rpm": 4, "stop_pitch_percent": 400}


@dataclass(frozen=True, slots=True)
class ReleaseMeasures:
    """The sound ring; and for each flaw the lapses a minute that more patient settings would avoid.

    `run_on_s` mean, `longest_s` worst time from standing crank to detected stop; `lapses_per_min` of
    pedalling.
    """

    run_on_s: float
    longest_s: float
    lapses_per_min: float
    weak_lapses_per_min: float
    missing_lapses_per_min: float


class ReleaseRide:
    """The sound ring and those with a flaw, each ridden once, evaluated for any settings."""

    def __init__(self, bike: Bike, slowest_rpm: float, seed: int = 1) -> None:
        """Ride all three rings."""
        self.slowest_rpm = slowest_rpm
        self._sound = RingRide(bike, slowest_rpm, seed, SOUND)
        self._flawed = [RingRide(bike, slowest_rpm, seed, flaw) for flaw in FLAWS]
        patient = with_settings(bike, PATIENT).firmware_settings
        # Lapses that no setting avoids, as with channels that no longer overlap, don't influence the choice.
        self._least = [ride.parts(patient) for ride in self._flawed]

    def measures(self, settings: Settings) -> ReleaseMeasures:
        """Return the measures with `settings`."""
        return pooled(self.parts(settings))

    def parts(self, settings: Settings) -> list[ReleaseMeasures]:
        """Return the measures of each part of the rides with `settings`."""
        flawed = [
            _avoidable(ride.parts(settings), least)
            for ride, least in zip(self._flawed, self._least, strict=True)
        ]
        return [
            ReleaseMeasures(sound.run_on_s, sound.longest_s, sound.lapses_per_min, *lapses)
            for sound, *lapses in zip(self._sound.parts(settings), *flawed, strict=True)
        ]

    @property
    def incurable_per_min(self) -> float:
        """The lapses a minute with a magnet missing that no setting avoids."""
        return sum(one.lapses_per_min for one in self._least[FLAWS.index(MISSING)]) / PARTS

    def stops(self, settings: Settings) -> tuple[float, float]:
        """Return mean and longest run-on of the sound ring."""
        parts = self._sound.parts(settings)
        return sum(one.run_on_s for one in parts) / PARTS, max(one.longest_s for one in parts)


def _avoidable(parts: list[RingMeasures], least: list[RingMeasures]) -> list[float]:
    """Return the lapses a minute of each part above the least that any setting reaches."""
    return [
        max(one.lapses_per_min - other.lapses_per_min, 0.0) for one, other in zip(parts, least, strict=True)
    ]


def pooled(parts: list[ReleaseMeasures]) -> ReleaseMeasures:
    """Combine the measures of parts of equal length."""

    def mean(values: Iterable[float]) -> float:
        return sum(values) / len(parts)

    return ReleaseMeasures(
        mean(one.run_on_s for one in parts),
        max(one.longest_s for one in parts),
        mean(one.lapses_per_min for one in parts),
        mean(one.weak_lapses_per_min for one in parts),
        mean(one.missing_lapses_per_min for one in parts),
    )


class ReleaseRides:
    """The rides of one bicycle by the cadence of its slowest legs; each is ridden once."""

    def __init__(self, bike: Bike, seed: int = 1) -> None:
        """Store the bicycle; nothing is ridden yet."""
        self._bike = bike
        self._seed = seed
        self._rides: dict[float, ReleaseRide] = {}

    def for_engage(self, engage_rpm: int) -> ReleaseRide:
        """Return the rides whose slowest legs are a little above an engage cadence."""
        slowest_rpm = SLOW_ABOVE_ENGAGE * engage_rpm
        if slowest_rpm not in self._rides:
            self._rides[slowest_rpm] = ReleaseRide(self._bike, slowest_rpm, self._seed)
        return self._rides[slowest_rpm]

    def compared(self, settings: Settings, other_engage_rpm: int) -> ReleaseMeasures:
        """Return the measures of `settings` on their rides, comparable with those of another engage cadence.

        Lapses count above their own engage cadence: below it no help is promised. Stops are timed on
        the rides of the higher of both cadences, so that both are timed on the same ones.
        """
        own = self.for_engage(settings.engage_rpm).measures(settings)
        if other_engage_rpm <= settings.engage_rpm:
            return own
        run_on_s, longest_s = self.for_engage(other_engage_rpm).stops(settings)
        return replace(own, run_on_s=run_on_s, longest_s=longest_s)
