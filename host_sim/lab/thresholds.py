"""Lesson 2: how soon the motor may start and how soon it must stop, with a ring of few or many magnets."""

from dataclasses import dataclass
from math import degrees, pi

from firmware.decide.engagement import ASSISTING
from host_sim.bench.clock import US_PER_S
from host_sim.bikes.model import Bike
from host_sim.lab.branching import Branch, ride_to
from host_sim.lab.checking import Check, check_all
from host_sim.lab.riding import Lines, largest, lesson_bike
from host_sim.lab.worst_stops import WorstStop, edges_ahead, ride_to_stop, worst_stops
from host_sim.plant.rider import LEG_ACCELERATION_RAD_PER_S2
from host_sim.report.samples import Samples

START_S, SLOW_S, STOP_S, END_S = 1.8, 3.6, 6.5, 7.5
BRISK_RPM, SLOW_RPM = 55.0, 32.0
UNEVEN_DEG = 2.0  # Magnets glued by hand.
ANGLE_MOST_DEG = 100.0
RUN_ON_MOST_S = 0.2
STOPS = 6  # Spread evenly over a turn of the crank, for the mean.
STOPS_TRIED = 3  # Those that are predicted to be the worst.
SOONER_S = 0.003  # How much sooner the crank may reach a pulse: one control period decides whether it counts.
STARTS = 4  # Places between two magnets at which the crank starts.
FEWEST_PULSES = 16  # Of the selectable counts those that can meet all targets; the tests try all settings.
_SLOW_RAD_PER_S = SLOW_RPM * pi / 30.0
REST_S = STOP_S + _SLOW_RAD_PER_S / LEG_ACCELERATION_RAD_PER_S2  # When the crank stands.
_TURN_S = 60.0 / SLOW_RPM
_BEFORE_STOP_S = 0.3
_SHORT_START_S, _START_ENDS_S = 1.05, 3.25  # Soon after switching on, pedalling gets no help.
_LONGEST_GAP_S = 1.5
_LEGS_STOP_S = 0.07  # Longer than slow legs take to stop.
_PLACES = sorted(number * 0.618034 % 1.0 for number in range(STOPS))  # Not a multiple of any magnet spacing.
_BEFORE_EDGE_S = 0.08


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The result of the ride, and of copies that stop or start elsewhere between two magnets.

    `help_deg` is the largest angle of the crank before the first help, None if a start got none; `lapses_s`
    are the times at which help lapsed during pedalling in the ride drawn, `lapses` how often it did until one
    turn of slow pedalling after that ride's stop. `run_ons_s` is the help after the crank has come to rest:
    for STOPS spread over a turn, the first one that of the ride drawn, then for the worst ones.
    """

    pulses: int
    engage_edges: int
    stop_percent: int
    samples: Samples
    help_deg: float | None
    helps_deg: list[float | None]
    lapses_s: list[float]
    lapses: int
    run_ons_s: list[float]

    @property
    def run_on_s(self) -> float:
        """The worst run-on of all stops."""
        return max(self.run_ons_s)

    @property
    def mean_run_on_s(self) -> float:
        """The mean run-on of the stops that are spread evenly over a turn."""
        return sum(self.run_ons_s[:STOPS]) / STOPS


def try_thresholds(pulses: int, engage_edges: int, stop_percent: int) -> Thresholds:
    """Start, pedal more slowly, then stop. 4 to 32 pulses, 2 to 24 edges, 100 to 240 %.

    The ring is duty-coded, its magnets glued by hand: it gives information only once per pitch, so a stop
    shows as a missing pitch, and a magnet that is late looks like a stop.
    """
    bike = bike_with_ring(pulses, engage_edges, stop_percent)
    before = ride_to(bike, slow_lines(), STOP_S - _BEFORE_STOP_S, [Samples()])
    drawn = before.copy()
    drawn.ride_on(STOP_S)
    drawn.stop_pedalling()
    drawn.ride_on(END_S)
    samples: Samples = drawn.watches[0]
    ahead = edges_ahead(before, STOP_S + _TURN_S)
    likely = worst_stops(ahead, STOP_S, _SLOW_RAD_PER_S, stop_percent / 100.0)
    run_ons_s = _run_ons_s(before, likely)
    before.ride_on(STOP_S + _TURN_S)
    helps = [_help_deg(samples), *(_started(bike, pulses, at) for at in range(1, STARTS))]
    spans = before.watches[0].spans(ASSISTING)
    return Thresholds(
        pulses, engage_edges, stop_percent, samples,
        help_deg=largest(helps),
        helps_deg=helps,
        lapses_s=[end_s for _, end_s in samples.spans(ASSISTING) if end_s < STOP_S],
        lapses=sum(1 for _, end_s in spans if end_s < before.watches[0].time_s[-1]),  # Some for good.
        run_ons_s=run_ons_s,
    )  # fmt: skip


def bike_with_ring(pulses: int, engage_edges: int, stop_percent: int) -> Bike:
    """Return the trike with a duty-coded ring."""
    ring = {"kind": "duty-coded", "pulses_per_rev": pulses, "uneven_deg": UNEVEN_DEG, "duty_percent": 65}
    settings = {"engage_edges": engage_edges, "stop_pitch_percent": stop_percent}
    return lesson_bike({"pedal_sensor": ring, "settings": settings})


def slow_lines() -> Lines:
    """Return the course up to the stop: brisk pedalling, then slow."""
    return [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": START_S, "cadence_rpm": BRISK_RPM},
        {"at_s": SLOW_S, "over_s": 0.8, "cadence_rpm": SLOW_RPM},
    ]


def _run_ons_s(scout: Branch, likely: list[WorstStop]) -> list[float]:
    """Ride on, stop in copies midway, and return their run-ons: of stops over a turn, then the worst."""
    likely = sorted(likely[:STOPS_TRIED], key=lambda one: one.edge_s)
    marks: list[tuple[float, int, WorstStop | None]] = [
        (STOP_S + _TURN_S * place, at, None) for at, place in enumerate(_PLACES)
    ]
    marks += [(stop.edge_s - _BEFORE_EDGE_S, STOPS + at, stop) for at, stop in enumerate(likely)]
    found = [0.0] * len(marks)
    for at_s, at, stop in sorted(marks, key=lambda mark: mark[:2]):
        scout.ride_on(at_s)
        branch = scout.copy(watched=False)
        if stop is not None:
            ride_to_stop(branch, stop, SOONER_S)
        found[at] = _run_on_s(branch)
    return found


def _run_on_s(branch: Branch) -> float:
    """Stop pedalling now; return how long the command stays above zero after the crank stands, in s."""
    begun_s = branch.now_s
    branch.stop_pedalling()
    branch.ride_on(begun_s + _LEGS_STOP_S + _LONGEST_GAP_S, over=lambda outputs: outputs.command_mv == 0)
    return max(0.0, branch.now_s - branch.world.last_forward_us / US_PER_S)


def _started(bike: Bike, pulses: int, number: int) -> float | None:
    """Start with the crank at another place between two magnets; return its angle until the first help."""
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": _SHORT_START_S, "cadence_rpm": BRISK_RPM},
    ]
    branch = ride_to(bike, lines, _SHORT_START_S - 0.05, crank_deg=360.0 / pulses * number / STARTS)
    stood_rad = branch.world.rider.crank_rad
    branch.ride_on(_START_ENDS_S, over=lambda outputs: branch.controller.engagement.state == ASSISTING)
    if branch.controller.engagement.state != ASSISTING:
        return None
    return degrees(branch.world.rider.crank_rad - stood_rad)


def _help_deg(samples: Samples) -> float | None:
    """Return the angle of the crank until the first help of the ride drawn."""
    spans = samples.spans(ASSISTING)
    if not spans:
        return None
    return samples.crank_deg[samples.time_s.index(spans[0][0])] - samples.crank_deg[0]


def check_thresholds(tried: Thresholds) -> Check:
    """Check whether the start is soon enough, nothing lapses, and the stop is quick enough."""
    late = "no help at all" if tried.help_deg is None else f"help begins after {tried.help_deg:.0f}°"
    return check_all(
        [
            (
                tried.help_deg is not None and tried.help_deg <= ANGLE_MOST_DEG,
                f"{late}, wanted within {ANGLE_MOST_DEG:.0f}°",
            ),
            (tried.lapses == 0, f"help lapses {tried.lapses} times while the rider pedals"),
            (
                tried.run_on_s <= RUN_ON_MOST_S,
                f"in the worst case it runs on for {tried.run_on_s:.2f} s, wanted {RUN_ON_MOST_S:g} s",
            ),
            (tried.pulses <= FEWEST_PULSES, "fewer magnets can meet the targets too"),
        ],
        "More magnets improve both start and stop; the two settings only trade one against the other.",
    )
