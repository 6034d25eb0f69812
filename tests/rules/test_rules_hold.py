"""The firmware as it is keeps every rule, on the example bikes and on many others made from them.

A rule that a bicycle physically can't keep is in its row, with the reason; any other failure is a
fault of ours. The 50 rides of each kind and more are ridden by `treadle verify`.
"""

from typing import Any

import pytest

from host_sim.rules.catalogue import RULES
from host_sim.rules.judge import judge
from tests.ride.riding import bike_with

# One channel tells neither backward from forward nor rocking from pedalling, so help ends late there.
ONE_CHANNEL_CANT = frozenset(
    {"forward pedalling only", "cut-off distance", "rocking never engages", "rocking ends help"}
)
# A duty-coded ring tells the direction by times: rocking over an edge can look like slow pedalling.
DUTY_CANT = frozenset({"rocking never engages", "rocking ends help"})
# Few magnets at speed: the next edge comes later than the cut-off distance allows to wait.
FEW_MAGNETS_CANT = frozenset({"steady help", "no hunting at the thresholds"})
# On one wire with many magnets a pulse of noise is as long as a magnet's.
NOISE_ON_ONE_WIRE = frozenset({"noise never engages", "nothing from a standing crank"})


def sensor(**keys: Any) -> dict[str, Any]:
    return {"pedal_sensor": keys}


class Row:
    """A bike, how it differs from the example, the first of its rides, and what it can't keep."""

    def __init__(
        self,
        name: str,
        bike: str = "cargo_trike",
        changes: dict[str, Any] | None = None,
        first: int = 0,
        rides: int = 1,
        cannot: frozenset[str] = frozenset(),
    ) -> None:
        self.name = name
        self.bike = bike
        self.changes = changes or {}
        self.first = first
        self.rides = rides
        self.cannot = cannot


ROWS = (
    Row("the cargo trike", rides=3),
    Row("the tandem", "tandem", rides=3),
    Row("the folding bicycle", "folding", rides=4, cannot=ONE_CHANNEL_CANT | FEW_MAGNETS_CANT),
    Row("sensor on the left, lead set by its side", changes=sensor(side="left"), first=3),
    Row("wires of the sensor swapped, and said so", changes=sensor(leads_on_the_right="B"), first=6),
    Row(
        "duty-coded, forward is high",
        changes=sensor(kind="duty-coded", duty_percent=70),
        first=9,
        cannot=DUTY_CANT,
    ),
    Row(
        "duty-coded, forward is low",
        changes=sensor(kind="duty-coded", duty_percent=30),
        first=12,
        cannot=DUTY_CANT,
    ),
    Row(
        "duty-coded tandem", "tandem", sensor(kind="duty-coded", duty_percent=33), first=15, cannot=DUTY_CANT
    ),
    Row("32 pulses", changes=sensor(pulses_per_rev=32, uneven_deg=0.4), first=18),
    Row("64 pulses", "tandem", sensor(pulses_per_rev=64, uneven_deg=0.2, hysteresis_deg=0.3), first=21),
    Row("4 pulses", changes=sensor(pulses_per_rev=4), first=24, cannot=FEW_MAGNETS_CANT),
    Row(
        "one channel of 12 pulses",
        changes=sensor(kind="one channel", pulses_per_rev=12),
        first=27,
        cannot=ONE_CHANNEL_CANT | NOISE_ON_ONE_WIRE,
    ),
    Row("a speed controller on the trike", changes={"motor_controller": {"kind": "speed"}}, first=30),
    Row("a torque controller on the tandem", "tandem", {"motor_controller": {"kind": "torque"}}, first=33),
    Row("no shunt", changes={"shunt": {"fitted": False}}, first=36),
    Row("no throttle", changes={"throttle": {"fitted": False}}, first=42),
    Row("no switch in any brake", changes={"brakes": {"switches": "none"}}, first=45),
    Row("two positions", changes={"selector": {"positions": 2, "shares_percent": [0, 100]}}, first=48),
    Row(
        "six positions",
        changes={"selector": {"positions": 6, "shares_percent": [0, 20, 40, 60, 80, 100]}},
        first=51,
    ),
    Row(
        "no selector",
        changes={"selector": {"kind": "none", "positions": None, "shares_percent": []}},
        first=60,
    ),
    Row("in the United Kingdom", changes={"place": "uk"}, first=63),
    Row("in the United States", changes={"place": "us_federal"}, first=66),
    Row("class 1", changes={"place": "us_class_1"}, first=69),
    Row("class 2: throttle at any speed", changes={"place": "us_class_2"}, first=72),
    Row("class 3: up to 28 mph", changes={"place": "us_class_3"}, first=75),
    Row("in British Columbia", changes={"place": "british_columbia"}, first=78),
    Row("in Australia: throttle never", changes={"place": "australia"}, first=81),
    Row("in New South Wales: fading from 6 km/h on", changes={"place": "new_south_wales"}, first=84),
    Row("on private ground", "tandem", {"place": "private_ground"}, first=87),
)


def silent(finished: int, jobs: int) -> None:
    """Nobody watches."""


# These run always, the others with -m slow.
QUICK = {
    "the cargo trike",
    "the tandem",
    "the folding bicycle",
    "sensor on the left, lead set by its side",
    "duty-coded, forward is high",
    "4 pulses",
    "a speed controller on the trike",
    "no shunt",
    "class 2: throttle at any speed",
}


def params() -> list[Any]:
    """Return the rows, those that take long to ride all together marked as slow."""
    return [
        pytest.param(row, id=row.name, marks=() if row.name in QUICK else pytest.mark.slow) for row in ROWS
    ]


@pytest.mark.long
@pytest.mark.parametrize("row", params())
def test_the_bicycle_keeps_every_rule_that_it_can(row: Row) -> None:
    bike = bike_with(row.bike, **row.changes)
    verdicts = judge(bike, RULES, row.first, row.rides, silent)
    assert sum(verdict.applies for verdict in verdicts) >= 25
    assert [verdict.rule.name for verdict in verdicts if verdict.not_shown] == []
    broken = [verdict for verdict in verdicts if verdict.fails]
    told = [
        f"{verdict.rule.name}: {verdict.measured} against {verdict.limit} {verdict.rule.unit} "
        f"on {verdict.scenario} {verdict.seed}"
        for verdict in broken
        if verdict.rule.name not in row.cannot
    ]
    assert told == []
    for verdict in broken:
        if verdict.rule.name not in NOISE_ON_ONE_WIRE:
            assert verdict.cure, "the cure names the numbers that conflict"
