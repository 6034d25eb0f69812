"""No rule is empty: bicycles and settings that break them, what is said about it, and what counts as held.

That every rule can fail on a firmware with a mistake is shown in `test_sabotage`. Here bicycles fail, with
the firmware as it is: too few magnets, wrong settings, missing parts.
"""

from typing import Any

import pytest

from host_sim.bikes.load import load_bike
from host_sim.rules.catalogue import RULES, rule_named
from host_sim.rules.judge import Finding, Verdict, measure
from tests.quick_first import quick_first
from tests.ride.riding import bike_with

ON_THE_TANDEM = ("least speed to engage", "help resumed at speed")
FOUR_MAGNETS = {"kind": "one channel", "pulses_per_rev": 4, "uneven_deg": 1.0}


class Failing:
    """A bicycle that breaks a rule, the rides that show it, and words that the cure must contain."""

    def __init__(
        self, rule: str, rides: list[tuple[str, int]], bike: str, changes: dict[str, Any], cure: list[str]
    ) -> None:
        self.rule = rule
        self.rides = rides
        self.bike = bike
        self.changes = changes
        self.cure = cure


FAILING = (
    Failing("forward pedalling only", [("backward", 0)], "folding", {}, ["two channels"]),
    Failing("rocking ends help", [("rocking on", 0)], "folding", {}, ["two channels"]),
    Failing(
        "rocking never engages",
        [("rocking", 3), ("rocking", 4), ("rocking", 7)],
        "folding",
        {"settings": {"engage_rpm": 6, "release_rpm": 4}},
        ["rocking from pedalling", "two channels"],
    ),
    Failing(
        # The file says that the motor controller lets go at once; it takes three times 0.1 s.
        "cut-off distance",
        [("sudden stop", 2), ("sudden stop", 3)],
        "cargo_trike",
        {
            "brakes": {"switches": "some"},
            "pedal_sensor": {"pulses_per_rev": 5, "uneven_deg": 1.0},
            "motor_controller": {"lag_s": 0.1},
            "settings": {"motor_lag_ms": 0, "edge_gap_permille": 1000, "stop_pitch_percent": 400},
        },
        ["2.00 m", "motor_lag_ms", "cutoff_distance_mm"],
    ),
    Failing(
        "steady help",
        [("slow legs at speed", 0), ("slow legs at speed", 2)],
        "folding",
        {"pedal_sensor": FOUR_MAGNETS},
        ["4 pulses", "2 m", "22.0 km/h", "more pulses", "lower cut-off"],
    ),
    Failing(
        "no hunting at the thresholds",
        [("steady cadence", number) for number in (1, 3, 5)],
        "cargo_trike",
        {"settings": {"engage_rpm": 20, "release_rpm": 19}},
        ["engage_rpm 20", "release_rpm 19"],
    ),
    Failing(
        "start-up speed",
        [("throttle from rest", 0)],
        "cargo_trike",
        {"wheel_sensor": {"pulses_per_rev": 1}},
        ["250 W", "1.89 m", "throttle_power_w"],
    ),
    Failing(
        "noise never engages",
        [("noise at rest", 0), ("noise at rest", 1)],
        "cargo_trike",
        {
            "pedal_sensor": {"kind": "one channel", "pulses_per_rev": 32, "uneven_deg": 0.1},
            "settings": {"engage_edges": 3},
        },
        [],
    ),
    Failing(
        "nothing from a standing crank",
        [("noise at rest", 0), ("noise at rest", 1)],
        "cargo_trike",
        {
            "pedal_sensor": {"kind": "one channel", "pulses_per_rev": 32, "uneven_deg": 0.1},
            "settings": {"engage_edges": 3},
        },
        [],
    ),
    Failing(
        "power settling",
        [("power steps", 0)],
        "cargo_trike",
        {"settings": {"gain_uv_per_w": 1, "integral_ms": 20000}},
        ["gain_uv_per_w 1,", "integral_ms 20000", "rise_mv_per_s 600"],
    ),
    Failing(
        "surge",
        [("power steps", 0), ("power steps", 1)],
        "tandem",
        {"settings": {"gain_uv_per_w": 50_000, "integral_ms": 20, "rise_mv_per_s": 10_000}},
        ["gain_uv_per_w 50000", "a third"],
    ),
    Failing(
        "power overshoot",
        [("power steps", 0), ("power steps", 1)],
        "tandem",
        {"settings": {"gain_uv_per_w": 50_000, "integral_ms": 20, "rise_mv_per_s": 10_000}},
        ["gain_uv_per_w 50000", "a third"],
    ),
    Failing(
        "no hunting in the taper",
        [("steady speed", number) for number in range(2)],
        "tandem",
        {"settings": {"gain_uv_per_w": 50_000, "integral_ms": 20, "rise_mv_per_s": 10_000}},
        [],
    ),
    Failing(
        "battery fold-back",
        [("battery runs low", 0)],
        "tandem",
        {"shunt": {"fitted": False}, "settings": {"assist_power_w": 500}},
        ["without a shunt", "open_map_full_w", "Fit a shunt"],
    ),
)


def verdict_on(failing: Failing) -> Verdict:
    bike = bike_with(failing.bike, **failing.changes)
    rule = rule_named(failing.rule)
    kinds = {scenario.name: scenario for scenario in rule.scenarios}
    findings: list[Finding] = []
    for name, number in failing.rides:
        findings += measure(bike, kinds[name], number, [rule])
    return Verdict(rule, bike, findings)


@pytest.mark.parametrize("failing", quick_first(4, FAILING), ids=[failing.rule for failing in FAILING])
def test_a_bicycle_that_can_not_keep_the_rule_breaks_it_and_is_told_why(failing: Failing) -> None:
    verdict = verdict_on(failing)
    assert verdict.measured is not None
    assert verdict.limit is not None
    assert verdict.holds is False
    assert verdict.margin == verdict.limit - verdict.measured < 0.0
    for words in failing.cure:
        assert words in verdict.cure


@pytest.mark.parametrize("rule", RULES, ids=[rule.name for rule in RULES])
def test_nothing_measured_neither_holds_nor_fails(rule: Any) -> None:
    bike = load_bike("tandem" if rule.name in ON_THE_TANDEM else "cargo_trike")
    verdict = Verdict(rule, bike, [])
    assert verdict.applies
    assert verdict.measured is None
    assert verdict.margin is None
    assert (verdict.outcome, verdict.holds, verdict.fails) == ("not shown", None, False)
    assert verdict.cure == ""
    assert "test it (" in verdict.why_not_shown or "tested it (" in verdict.why_not_shown


@pytest.mark.parametrize("rule", RULES, ids=[rule.name for rule in RULES])
def test_the_limit_itself_is_held_and_a_little_more_is_not(rule: Any) -> None:
    bike = load_bike("tandem" if rule.name in ON_THE_TANDEM else "cargo_trike")
    limit = rule.limit(bike)
    at_limit = Verdict(rule, bike, [Finding(rule.name, "a ride", 1, limit)])
    assert (at_limit.holds, at_limit.margin, at_limit.cure) == (True, 0.0, "")
    beyond = Verdict(rule, bike, [Finding(rule.name, "a ride", 1, limit + 0.001)])
    assert beyond.holds is False


@pytest.mark.parametrize(
    ("place", "cutoff_km_per_h", "the_limit_itself_is_too_much"),
    [
        # EN 15194:2017 4.2.11.1, by the parallel text TBIS 15194:2019: not more than 10 % above 25 km/h.
        ("eu", 27.5, False),
        # 15 USC 2085(b): "less than 20 mph". 1 mile is 1.609344 km.
        ("us_federal", 32.18688, True),
        # California Vehicle Code 312.5(a): up to 20 mph.
        ("us_class_1", 32.18688, False),
        # SI 2015/24 reg. 2(4): 15.5 mph.
        ("uk", 24.944832, False),
        # B.C. Reg. 151/2002: 32 km/h.
        ("british_columbia", 32.0, False),
    ],
)
def test_the_cut_off_is_strict_where_the_text_is(
    place: str, cutoff_km_per_h: float, the_limit_itself_is_too_much: bool
) -> None:
    rule = rule_named("cut-off speed")
    bike = bike_with("cargo_trike", place=place)
    assert rule.limit(bike) == pytest.approx(cutoff_km_per_h, abs=1e-9)
    limit = rule.limit(bike)
    assert limit is not None
    assert rule.holds(bike, limit, limit) is not the_limit_itself_is_too_much
    assert rule.holds(bike, limit - 0.001, limit) is True
    assert rule.holds(bike, limit + 0.001, limit) is False


@pytest.mark.parametrize(
    ("switches", "limit_m"),
    # EN 15194:2017 4.2.13.1 b and c, by the parallel text TBIS 15194:2019.
    [("none", 2.0), ("some", 2.0), ("all", 5.0)],
)
def test_the_cut_off_distance_is_longer_where_every_brake_has_a_switch(switches: str, limit_m: float) -> None:
    assert (
        rule_named("cut-off distance").limit(bike_with("cargo_trike", brakes={"switches": switches}))
        == limit_m
    )


def test_the_limits_of_time_are_these_numbers() -> None:
    trike = load_bike("cargo_trike")
    # One control period is 5 ms, a board lets go after 50 ms of silence: this project's own numbers.
    assert rule_named("brake cut").limit(trike) == 5.0
    assert rule_named("stop time").limit(trike) == 6.0
    # 50 ms of silence, 22 ms times ln(28 A / 0.8 A) = 3.5553, 10 ms.
    assert rule_named("stalled loop").limit(trike) == pytest.approx(138.22, abs=0.01)
    # Six samples and one more, 5 ms each.
    assert rule_named("lever wires").limit(trike) == 35.0
    # Six pulses a turn of 1.89 m: two take sqrt(4 * 0.315 m / 0.15 m/s2) = 2.898 s; and half a second.
    assert rule_named("wheel sensor lost").limit(trike) == pytest.approx(3.398)


def test_every_rule_says_what_it_is_and_where_its_limit_comes_from() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.sentence.endswith("."), rule.name
        assert rule.unit
        assert rule.scenarios
        assert len(rule.source) > 10, rule.name
