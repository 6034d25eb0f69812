"""Random rides with random faults on random legal bikes: none of them may break a rule of safety.

`uv run pytest -m slow -s` rides 10,000 of them and prints the seed; a ride is repeated by its number alone.
"""

from collections.abc import Iterator
from os import cpu_count

from firmware.settings import ONE_CHANNEL
from host_sim.compiled.workers import Workers
from host_sim.rules.case import Case
from host_sim.rules.catalogue import rule_named
from host_sim.rules.probe import Probe, watched_by
from host_sim.rules.rule import Rule
from tests.rules.campaign_rides import random_case
from tests.rules.campaign_rules import CAMPAIGN_RULES

SAFETY = (
    "output range",
    "rise rate",
    "brake cut",
    "a fault stays",
    "nothing from a standing crank",
    "two actions to start",
    "no drive over speed",
    "forward pedalling only",
)
ASKED: tuple[Rule, ...] = (*(rule_named(name) for name in SAFETY), *CAMPAIGN_RULES)
# Faults that turn a rule's question round: a crank whose wires are swapped runs backward for the controller.
# With one pulse a turn the speed is known after two turns of the wheel, and a strong motor is faster than
# walking by then.
SPEED_KNOWN_MM_PER_S = 4000
BLINDING = ("channels swapped", "channel stuck low", "channel stuck high", "channel dead")
EXPLAINED = {
    "forward pedalling only": (*BLINDING, "noise", "throttle stuck"),  # A throttle that sticks drives.
    "two actions to start": BLINDING,  # A crank that the sensor does not show looks like one at rest.
    "no drive over speed": ("wheel sensor lost",),  # See "lost wheel above the cut-off".
    "brake cut": ("loop stalls",),  # Then the board's own time limit ends the drive; see "stalled loop".
}
BATCH = 20


class Violation:
    """A ride that broke a rule."""

    def __init__(self, number: int, rule: str, measured: float, limit: float, unit: str) -> None:
        """Note it."""
        self.number = number
        self.rule = rule
        self.measured = measured
        self.limit = limit
        self.unit = unit

    def __str__(self) -> str:
        return f"ride {self.number}: {self.rule}: {self.measured:g} against {self.limit:g} {self.unit}"


def _asked(rule: Rule, case: Case) -> bool:
    """Tell whether this ride can answer the rule's question."""
    if rule.limit(case.bike) is None:
        return False
    faults = {fault.name for stretch in case.course.stretches for fault in stretch.faults}
    one_channel = case.settings.sensor_kind == ONE_CHANNEL
    if one_channel and rule.name == "forward pedalling only":
        return False  # It can't tell.
    if rule.name == "no drive over speed" and case.settings.cutoff_speed_mm_per_s < SPEED_KNOWN_MM_PER_S:
        return False
    if rule.name == "nothing from a standing crank" and "noise" in faults and case.settings.sensor_kind != 0:
        return False  # Slow noise on one channel looks like slow pedalling.
    return not faults.intersection(EXPLAINED.get(rule.name, ()))


def measured_on(number: int) -> list[tuple[Rule, Probe, Case]]:
    """Ride one ride of the campaign and return what every rule that it can answer has measured."""
    case = random_case(number)
    bench = case.bench()
    watched = [(rule, watched_by(bench, rule.probe(case))) for rule in ASKED if _asked(rule, case)]
    bench.ride(case.script(), case.course.seconds)
    for _, probe in watched:
        probe.end()
    return [(rule, probe, case) for rule, probe in watched]


def ride_number(number: int) -> list[Violation]:
    """Ride one ride of the campaign and return what it broke."""
    broken = []
    for rule, probe, case in measured_on(number):
        limit, measured = rule.limit(case.bike), probe.measured
        if limit is not None and measured is not None and not rule.holds(case.bike, measured, limit):
            broken.append(Violation(number, rule.name, measured, limit, rule.unit))
    return broken


def campaign(first: int, rides: int, workers: int | None = None) -> Iterator[tuple[int, list[Violation]]]:
    """Ride numbers `first` to `first + rides - 1`; yield how many are done and what the last broke."""
    with Workers(workers or cpu_count() or 1) as processes:
        numbers = range(first, first + rides)
        yield from enumerate(processes.map(ride_number, numbers, BATCH), start=1)
