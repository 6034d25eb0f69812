"""Lesson 2: how soon the motor may start and how soon it must stop, with a ring of few or many magnets."""

from dataclasses import dataclass
from itertools import pairwise

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.lab.checking import Check, check_all
from host_sim.lab.riding import Lines, Ridden, lesson_bike, ride

START_S, SLOW_S, STOP_S, END_S = 1.8, 3.6, 6.5, 7.5
BRISK_RPM, SLOW_RPM = 55.0, 32.0
UNEVEN_DEG = 2.5  # Magnets glued by hand.
ANGLE_MOST_DEG = 100.0
RUN_ON_MOST_S = 0.2
STOPS = 6  # Short rides beside the one that is drawn; each stops at another place between two magnets.
HALVINGS = 3  # So that a worst stop is found within a twenty-fourth of a pitch.
_ANOTHER_PULSE_S = 0.025  # Help that ends so much later ends after another pulse.
FEWEST_PULSES = 16  # That can meet all wishes, of the counts to choose; the tests try all settings.
_SHORT_START_S, _SHORT_SLOW_S, _SHORT_STOP_S, _SHORT_MORE_S = 1.2, 2.6, 4.4, 0.7


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What the ride came to, and shorter ones that stop elsewhere between two magnets.

    `help_deg` is the largest angle of crank before the first help, None if none came in the ride drawn;
    `lapses_s` the times at which help lapsed in it while the legs turned, `lapses` the most in one ride.
    `run_ons_s` is the help after the legs stopped, stop by stop, that of the ride drawn first.
    """

    pulses: int
    engage_edges: int
    stop_percent: int
    ridden: Ridden
    help_deg: float | None
    help_s: float | None
    lapses_s: list[float]
    lapses: int
    run_ons_s: list[float]

    @property
    def run_on_s(self) -> float:
        """The worst run-on of all stops."""
        return max(self.run_ons_s)

    @property
    def mean_run_on_s(self) -> float:
        """The mean run-on of the stops that are spread evenly over two pitches."""
        return sum(self.run_ons_s[1 : 1 + STOPS]) / STOPS


class _RunOn(StepWatch):
    """How long the command outlasts the legs at the end of the ride."""

    def __init__(self, stop_s: float) -> None:
        self._stop_s = stop_s
        self.run_on_s = 0.0

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world

    def look(self, outputs: Outputs) -> None:
        now_s = self._world.now_us / US_PER_S
        if now_s > self._stop_s and outputs.command_mv > 0:
            self.run_on_s = now_s - self._stop_s


def try_thresholds(pulses: int, engage_edges: int, stop_percent: int) -> Thresholds:
    """Ride away, then with slower legs, then stop. 4 to 32 pulses, 2 to 24 edges, 100 to 250 %.

    The ring is a duty-coded one, its magnets glued by hand: it tells something once a pitch only, so a stop
    shows as a pitch that does not come, and a magnet that sits late looks like a stop.
    """
    bike = lesson_bike(
        {
            "pedal_sensor": {
                "kind": "duty-coded",
                "pulses_per_rev": pulses,
                "uneven_deg": UNEVEN_DEG,
                "duty_percent": 65,
            },
            "settings": {"engage_edges": engage_edges, "stop_pitch_percent": stop_percent},
        }
    )
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": START_S, "cadence_rpm": BRISK_RPM},
        {"at_s": SLOW_S, "over_s": 0.8, "cadence_rpm": SLOW_RPM},
        {"at_s": STOP_S, "cadence_rpm": 0},
    ]
    main = _ridden(bike, lines, STOP_S, END_S)
    short = _short_rides(bike, pulses)
    help_deg = main.help_deg
    if help_deg is not None:
        help_deg = max([help_deg, *(one.help_deg for one in short if one.help_deg is not None)])
    return Thresholds(
        pulses, engage_edges, stop_percent, main.ridden, help_deg, main.help_s, main.lapses_s,
        lapses=max(len(one.lapses_s) for one in (main, *short)),
        run_ons_s=[one.run_on_s for one in (main, *short)],
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _One:
    """One ride of several."""

    ridden: Ridden
    help_deg: float | None
    help_s: float | None
    lapses_s: list[float]
    run_on_s: float


def _short_rides(bike: Bike, pulses: int) -> list[_One]:
    """Return rides with slow legs that stop at places spread over two pitches: magnets lean to and fro.

    Help ends a stop gap after the last pulse, so the worst stop comes right after a pulse. Where two
    neighbouring stops end help after different pulses, the place between them is halved until it is found.
    """
    spread_s = 2.0 * 60.0 / (SLOW_RPM * pulses)
    rides = {at: _short_ride(bike, at) for at in (_SHORT_STOP_S + spread_s * n / STOPS for n in range(STOPS))}
    stops_s = sorted(rides)
    for early_s, late_s in pairwise(stops_s):
        ends_s = early_s + rides[early_s].run_on_s
        if late_s + rides[late_s].run_on_s - ends_s < _ANOTHER_PULSE_S:
            continue
        for _ in range(HALVINGS):
            middle_s = (early_s + late_s) / 2.0
            rides[middle_s] = _short_ride(bike, middle_s)
            if middle_s + rides[middle_s].run_on_s - ends_s < _ANOTHER_PULSE_S:
                early_s = middle_s
            else:
                late_s = middle_s
    return list(rides.values())


def _short_ride(bike: Bike, stop_s: float) -> _One:
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": _SHORT_START_S, "cadence_rpm": BRISK_RPM},
        {"at_s": _SHORT_SLOW_S, "over_s": 0.6, "cadence_rpm": SLOW_RPM},
        {"at_s": stop_s, "cadence_rpm": 0},
    ]
    return _ridden(bike, lines, stop_s, stop_s + _SHORT_MORE_S)


def _ridden(bike: Bike, lines: Lines, stop_s: float, end_s: float) -> _One:
    stop = _RunOn(stop_s)
    ridden = ride(bike, lines, end_s, [stop])
    samples = ridden.samples
    spans = samples.spans(ASSISTING)
    help_deg = help_s = None
    if spans:
        at = samples.time_s.index(spans[0][0])
        help_s, help_deg = spans[0][0], samples.crank_deg[at] - samples.crank_deg[0]
    return _One(ridden, help_deg, help_s, [end for _, end in spans if end < stop_s], stop.run_on_s)


def check_thresholds(tried: Thresholds) -> Check:
    """Tell whether the start is soon enough, nothing lapses, and the stop is quick enough."""
    late = "no help at all" if tried.help_deg is None else f"help comes after {tried.help_deg:.0f}°"
    return check_all(
        [
            (
                tried.help_deg is not None and tried.help_deg <= ANGLE_MOST_DEG,
                f"{late}, wanted within {ANGLE_MOST_DEG:.0f}°",
            ),
            (tried.lapses == 0, f"help lapses {tried.lapses} times while the legs turn"),
            (
                tried.run_on_s <= RUN_ON_MOST_S,
                f"at worst it runs on for {tried.run_on_s:.2f} s, wanted {RUN_ON_MOST_S:g} s",
            ),
            (
                tried.pulses <= FEWEST_PULSES,
                "fewer magnets can do it as well",
            ),
        ],
        "More magnets make both ends better at once; the two settings only trade one for the other.",
    )
