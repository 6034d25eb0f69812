"""The rides on which releasing is measured: slow, uneven pedalling that must not lapse, and stops.

On a roller. The torque of the legs makes the crank's speed vary: least at speed, most on a climb in the
lowest gear. A sound ring is ridden from tired legs on a climb to brisk ones. A ring with a flaw, one magnet
missing or the worst one weak, is ridden at everyday cadences: until it is mended it must get a rider home;
but no setting prevents lapses with a missing magnet on a slow climb.
"""

from dataclasses import dataclass
from math import pi
from random import Random

from host_sim.bench.course import Course, course_from
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.rules.riding import on_roller
from host_sim.tuning.ride_start import rest_s

PEDAL_S = 6.0
SETTLE_S = 1.5  # By then the legs have reached their cadence.
STOP_S = 2.5
SLOW_ABOVE_ENGAGE = 1.1  # Tired legs on a climb, a little above the engage cadence.
BRISK_RPM = 80.0
EVERYDAY_RPM = 45.0  # People ride between this and BRISK_RPM (common practice, no source).
HESITATE_S = 0.6  # Cadence varies so often, by so much either way (common practice, no source).
HESITATE_SHARE = 0.25
LESS_EVEN = 1.5  # Legs are less even than the formula for the climb says.
_CLIMB_W = 100.0
_CLIMB_RIPPLE_MOST = 0.3
RIPPLE_MOST = 0.45
PARTS = 3  # Every third turn forms a part that represents the whole ride.
_SOUND_TURNS = 48  # Half as many left a release cadence of 8 to 10 rpm to luck on a ring of six.
_FLAWED_TURNS = 30
WEAK_STRENGTH = 0.6  # Its pulse is two thirds as wide; at half, the channels of many rings no longer overlap.


@dataclass(frozen=True, slots=True)
class Flaw:
    """A flaw of the ring; `strength` of its worst magnet: 1 sound, 0 missing."""

    name: str
    strength: float

    @property
    def slow_share(self) -> float:
        """The share of the turns ridden at slow cadence."""
        return 0.5 if self.strength == 1.0 else 0.0

    @property
    def turns(self) -> int:
        """How often the rider pedals and stops."""
        return _SOUND_TURNS if self.strength == 1.0 else _FLAWED_TURNS


SOUND = Flaw("sound ring", 1.0)
WEAK = Flaw("worst magnet weak", WEAK_STRENGTH)
MISSING = Flaw("one magnet missing", 0.0)
FLAWS = (WEAK, MISSING)


@dataclass(frozen=True, slots=True)
class Turn:
    """The legs go at `begin_s` and stop at `stop_s`."""

    begin_s: float
    stop_s: float


def worst_magnet(bike: Bike) -> int:
    """Return the magnet furthest from its place, counted from 1; the second if all are in place."""
    errors_deg = [abs(error) for error in bike.pedal_sensor.magnet_errors_deg()]
    return errors_deg.index(max(errors_deg)) + 1 if any(errors_deg) else 2


def magnet_missed_most(bike: Bike) -> int:
    """Return the magnet whose loss leaves the widest gap, counted from 1; the second if all are in place."""
    errors_deg = bike.pedal_sensor.magnet_errors_deg()
    count = len(errors_deg)
    gaps = [errors_deg[(one + 1) % count] - errors_deg[one - 1] for one in range(count)]
    return gaps.index(max(gaps)) + 1 if any(errors_deg) else 2


def climb_ripple(bike: Bike, cadence_rpm: float) -> float:
    """Return how far the crank's speed varies about its mean on a climb in the lowest gear, as a share.

    dv / v = P a / (2 x 2 pi n m v^2) for torque Tm (1 - a cos 2 theta): the work of half a swing on the mass,
    with n turns a second and a rider's P = 100 W (derived; the torque profile is that of
    host_sim/plant/rider.py). Never below the ripple of the bike file, nor above 0.3, the end of the formula's
    validity.
    """
    rider, bicycle = bike.rider, bike.bicycle
    turns_per_s = cadence_rpm / 60.0
    speed_m_per_s = bicycle.development_low_m * turns_per_s
    profile = 1.0 - rider.dead_centre_share
    swing = _CLIMB_W * profile / (4.0 * pi * turns_per_s * bicycle.mass_kg * speed_m_per_s**2)
    return min(max(swing, rider.cadence_ripple), _CLIMB_RIPPLE_MOST)


def uneven(bike: Bike, slowest_rpm: float, flaw: Flaw) -> Bike:
    """Return the bicycle with legs as uneven as the slowest cadence of the ride makes them."""
    rpm = slowest_rpm if flaw.slow_share else EVERYDAY_RPM
    ripple = min(LESS_EVEN * climb_ripple(bike, rpm), RIPPLE_MOST)
    return bike.model_copy(update={"rider": bike.rider.model_copy(update={"cadence_ripple": ripple})})


def release_course(
    bike: Bike, slowest_rpm: float, seed: int = 1, flaw: Flaw = SOUND
) -> tuple[Course, list[Turn]]:
    """Return the ride and its turns; they don't depend on the settings of `bike`."""
    draw = Random(f"release {flaw.name} {seed}")
    first = on_roller(4)
    if flaw.strength < 1.0:
        magnet = magnet_missed_most(bike) if flaw.strength == 0.0 else worst_magnet(bike)
        first["fault"] = [{"name": "magnet weak", "magnet": magnet, "strength": flaw.strength}]
    lines: Lines = [first]
    turns: list[Turn] = []
    at_s = rest_s(bike) + 1.0
    # The delay depends on where between two magnets the legs stop: all parts of the pitch equally often.
    parts = _shuffled(flaw.turns, draw)
    for number in range(flaw.turns):
        cadence, roller_km_per_h = _pace(number // PARTS / (flaw.turns // PARTS - 1), slowest_rpm, flaw)
        stop_s = round(at_s + PEDAL_S + parts[number], 3)
        lines.append({"at_s": at_s, "cadence_rpm": cadence, "roller_km_per_h": roller_km_per_h})
        lines += _hesitation(cadence, at_s, stop_s, draw)
        lines.append({"at_s": stop_s, "cadence_rpm": 0})
        turns.append(Turn(at_s, stop_s))
        at_s = round(stop_s + STOP_S, 3)
    return course_from("release", f"Slow legs and stops, {flaw.name}", at_s, lines), turns


def _pace(place: float, slowest_rpm: float, flaw: Flaw) -> tuple[float, float]:
    """Return cadence and speed of the turn at this place of the ride, 0 to 1."""
    begin_rpm = slowest_rpm if flaw.slow_share else EVERYDAY_RPM
    share = max(place - flaw.slow_share, 0.0) / (1.0 - flaw.slow_share)
    return begin_rpm + (BRISK_RPM - begin_rpm) * share, 4.0 + 14.0 * share


def _shuffled(count: int, draw: Random) -> list[float]:
    """Return one value from each of `count` equal parts of 0 to 1, in any order."""
    parts = [(number + draw.random()) / count for number in range(count)]
    draw.shuffle(parts)
    return parts


def _hesitation(cadence: float, at_s: float, stop_s: float, draw: Random) -> Lines:
    """Return cadences that vary about their mean until the stop, up to both ends in every turn."""
    times_s = [at_s + SETTLE_S + HESITATE_S * number for number in range(int((stop_s - at_s) / HESITATE_S))]
    times_s = [time_s for time_s in times_s if time_s + 0.3 < stop_s]
    # From one end to the other in every turn, so the slowest cadence doesn't depend on the draw.
    levels = [2.0 * number / max(len(times_s) - 1, 1) - 1.0 for number in range(len(times_s))]
    draw.shuffle(levels)
    return [
        {"at_s": round(time_s, 3), "over_s": 0.3, "cadence_rpm": cadence * (1.0 + level * HESITATE_SHARE)}
        for time_s, level in zip(times_s, levels, strict=True)
    ]
