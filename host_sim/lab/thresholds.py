"""Lesson 2: how soon the motor may start and how soon it must stop, with a ring of few or many magnets."""

from dataclasses import dataclass

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.lab.checking import Check, check_all
from host_sim.lab.riding import Lines, Ridden, lesson_bike, ride

START_S, SLOW_S, STOP_S, END_S = 1.8, 3.6, 6.5, 7.5
BRISK_RPM, SLOW_RPM = 55.0, 32.0
UNEVEN_DEG = 2.5  # Magnets glued by hand.
ANGLE_MOST_DEG = 100.0
RUN_ON_MOST_S = 0.2


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What the ride came to.

    `help_deg` is the angle of crank before the first help, None if none came;
    `lapses_s` the times at which help lapsed while the legs turned; `run_on_s` help after the legs stopped.
    """

    pulses: int
    engage_edges: int
    stop_percent: int
    ridden: Ridden
    help_deg: float | None
    help_s: float | None
    lapses_s: list[float]
    run_on_s: float


class _RunOn(StepWatch):
    """How long the command outlasts the legs at the end of the ride."""

    def __init__(self) -> None:
        self.run_on_s = 0.0

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world

    def look(self, outputs: Outputs) -> None:
        now_s = self._world.now_us / US_PER_S
        if now_s > STOP_S and outputs.command_mv > 0:
            self.run_on_s = now_s - STOP_S


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
    stop = _RunOn()
    ridden = ride(bike, lines, END_S, [stop])
    samples = ridden.samples
    spans = samples.spans(ASSISTING)
    help_deg = help_s = None
    if spans:
        at = samples.time_s.index(spans[0][0])
        help_s, help_deg = spans[0][0], samples.crank_deg[at] - samples.crank_deg[0]
    lapses_s = [end for _, end in spans if end < STOP_S]
    return Thresholds(pulses, engage_edges, stop_percent, ridden, help_deg, help_s, lapses_s, stop.run_on_s)


def check_thresholds(tried: Thresholds) -> Check:
    """Tell whether the start is soon enough, nothing lapses, and the stop is quick enough."""
    late = "no help at all" if tried.help_deg is None else f"help comes after {tried.help_deg:.0f}°"
    return check_all(
        [
            (
                tried.help_deg is not None and tried.help_deg <= ANGLE_MOST_DEG,
                f"{late}, wanted within {ANGLE_MOST_DEG:.0f}°",
            ),
            (not tried.lapses_s, f"help lapses {len(tried.lapses_s)} times while the legs turn"),
            (
                tried.run_on_s <= RUN_ON_MOST_S,
                f"it runs on for {tried.run_on_s:.2f} s, wanted {RUN_ON_MOST_S:g} s",
            ),
        ],
        "More magnets make both ends better at once; the two settings only trade one for the other.",
    )
