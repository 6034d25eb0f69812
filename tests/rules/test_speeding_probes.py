"""What the rules about speed measure, and what they leave to others."""

from types import SimpleNamespace
from typing import Any

import pytest

from firmware.decide.ceilings import BY_BATTERY, BY_HEAT, BY_SPEED
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.course import load_course
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case
from host_sim.rules.catalogue import rule_named
from host_sim.rules.judge import measure
from host_sim.rules.speeding import TaperRise
from tests.on_compiled import on_compiled
from tests.quick_first import quick_first
from tests.ride.riding import bike_with

TAPER = rule_named("taper falls")


def taper_rises_w(bike: Bike, rides: int = 4) -> list[float]:
    (sweep,) = TAPER.scenarios
    return [found.measured for seed in range(rides) for found in measure(bike, sweep, seed, [TAPER])]


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "foldback_mv"), quick_first(1, [("cargo_trike", 41_500), ("tandem", 53_000)])
)
@on_compiled
def test_a_battery_that_recovers_as_the_help_fades_is_no_rise_of_the_taper(name: str, foldback_mv: int):
    # Within its fold-back the battery's ceiling rises by a watt now and then while the bicycle goes faster.
    assert taper_rises_w(bike_with(name, settings={"battery_foldback_mv": foldback_mv})) == [0.0] * 4


@pytest.mark.parametrize(("lowest", "measured"), [(BY_SPEED, 5.0), (BY_HEAT, None), (BY_BATTERY, None)])
def test_only_what_the_speed_allows_counts(lowest: int, measured: float | None):
    probe = TaperRise(Case(load_bike("tandem"), load_course("errand"), 1))
    controller: Any = SimpleNamespace(
        engagement=SimpleNamespace(state=ASSISTING), wheel=SimpleNamespace(), ceilings=SimpleNamespace()
    )
    probe.begin(None, controller)  # type: ignore[arg-type]
    for speed_mm_per_s, ceiling_w in ((6000, 100), (6100, 105), (6050, 300)):
        controller.wheel.speed_mm_per_s = speed_mm_per_s
        controller.ceilings.ceiling_w, controller.ceilings.lowest = ceiling_w, lowest
        probe.look(Outputs())
    assert probe.measured == measured
