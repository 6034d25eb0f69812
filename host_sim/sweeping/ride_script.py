"""The ride of a sweep, on which every measure can be taken.

It consists of rest until the firmware has seen the controls at rest, a start up a gentle slope, steady
riding, a steeper slope half-way, then stops with the crank at evenly spread places of a pitch. For a single
stop it is random when the last magnet passed; the mean of these stops doesn't depend on it.
"""

from dataclasses import dataclass
from math import pi

from host_sim.bench.clock import US_PER_S
from host_sim.bench.script import RAD_PER_S_PER_RPM, Script
from host_sim.bikes.model import Bike
from host_sim.rules.riding import rest
from host_sim.rules.stopping_probes import release_gap_s

SLOPE, STEEPER = 0.02, 0.04
EFFORT_W = 100.0  # What a healthy adult keeps up easily (princeton.edu/~maelabs/hpt).
CADENCE_RPM = 60.0
STOP_BEFORE_END_S = 6.0
# A ring has one, two or four edges a pitch, so five places lie at different distances from an edge.
STOPS, STOPS_OF_A_SHORT_RIDE = 5, 3
SHORT_RIDE_S = 45.0
COAST_LEAST_S, COAST_MOST_S = 1.0, 2.0
RIDDEN_ON_S = 2.2
SHIFT_MOST_S = 0.1
SLOWEST_RAD_PER_S = 1.0  # Don't wait for a slower crank.


@dataclass(frozen=True, slots=True)
class Change:
    """What the rider does from `at_s` on; a stop waits until the crank is at `place` (0 to 1) of a pitch."""

    at_s: float
    cadence_rpm: float
    grade: float
    place: float | None = None


def first_stop_s(bike: Bike, seconds: float) -> float:
    """Return when the first stop of a ride of `seconds` is due."""
    stops, _, period_s = _stops(bike, seconds)
    return seconds - STOP_BEFORE_END_S - (stops - 1) * period_s


def changes(bike: Bike, seconds: float, shift: float = 0.0) -> list[Change]:
    """Return the ride of this bike, in the order of time.

    `shift` (0 to 1) moves the places of the stops by that share of the distance from one to the next, and the
    start by that share of 0.1 s. No effect of a setting may depend on it.
    """
    stops, coast_s, period_s = _stops(bike, seconds)
    start_s, stop_s = rest(bike) + SHIFT_MOST_S * shift, first_stop_s(bike, seconds)
    # A third above the engage cadence certainly counts as pedalling.
    cadence_rpm = max(CADENCE_RPM, 1.33 * bike.firmware_settings.engage_rpm)
    ride = [
        Change(0.0, 0.0, SLOPE),
        Change(start_s, cadence_rpm, SLOPE),
        Change(start_s + 0.5 * (stop_s - start_s), cadence_rpm, STEEPER),
    ]
    for stop in range(stops):
        at_s = stop_s + stop * period_s
        ride.append(Change(at_s, 0.0, STEEPER, (stop + shift) / stops))
        if stop < stops - 1:
            ride.append(Change(at_s + coast_s, cadence_rpm, STEEPER))
    return ride


def _stops(bike: Bike, seconds: float) -> tuple[int, float, float]:
    """Return how many stops there are, how long one lasts, and the time from one to the next."""
    lag_s = bike.firmware_settings.motor_lag_ms / 1000.0
    # How long a stop waits, as a share of a turn that takes a second.
    pitch_s = 1.0 / bike.firmware_settings.pulses_per_rev
    coast_s = min(max(release_gap_s(bike) + lag_s + 0.3, COAST_LEAST_S) + pitch_s, COAST_MOST_S)
    return STOPS_OF_A_SHORT_RIDE if seconds < SHORT_RIDE_S else STOPS, coast_s, coast_s + RIDDEN_ON_S


class SweepScript(Script):
    """Plays the ride of a sweep."""

    def __init__(self, bike: Bike, seconds: float, shift: float = 0.0) -> None:
        """Play it on this bike for `seconds`; see `changes`."""
        super().__init__("sweep", "Start, steady, steeper, stops", seconds)
        self._changes = changes(bike, seconds, shift)
        self._pitch_rad = 2.0 * pi / bike.firmware_settings.pulses_per_rev
        self.rewind()

    def rewind(self) -> None:
        """Restart from the beginning."""
        self._next = 0
        self._waited = False

    def happen(self) -> None:
        """Apply the changes that are due; a stop first waits for its place of the crank."""
        change = self._changes[self._next]
        now_us = self._agenda.now_us
        if change.place is not None and not self._waited:
            self._waited = True
            wait_us = self._until_place_us(change.place)
            if wait_us > 0:
                self._agenda.put(now_us + wait_us, self)
                return
        self._waited = False
        self._apply(change)
        self._next += 1
        if self._next < len(self._changes):
            self._agenda.put(max(round(self._changes[self._next].at_s * US_PER_S), now_us + 1), self)

    def _until_place_us(self, place: float) -> int:
        """Return how long the crank takes until it is next at `place` of a pitch."""
        rider = self._world.rider
        if rider.crank_rad_per_s < SLOWEST_RAD_PER_S:
            return 0
        left = (place - rider.crank_rad / self._pitch_rad) % 1.0
        return round(left * self._pitch_rad / rider.crank_rad_per_s * US_PER_S)

    def _apply(self, change: Change) -> None:
        rider = self._world.rider  # The cadence is held, as from the start.
        rider.development_m = 0.0
        rider.power_w = EFFORT_W
        rider.target_rad_per_s = change.cadence_rpm * RAD_PER_S_PER_RPM
        self._world.grade = change.grade
        self._world.selector_v = self._levers.selector_v(1.0, None)
