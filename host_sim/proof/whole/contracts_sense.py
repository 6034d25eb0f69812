"""Contracts of what turns readings into facts: supply, rotation, and the straight lines of `integers.py`."""

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import READING, Call, Claims, Contract
from host_sim.proof.whole.ranges import SPEED_MAX_MM_PER_S, STAMP, TRUTH
from host_sim.proof.whole.terms import at_least, at_most, both, equal, implies, less, multiply, subtract


def _rate_needs(call: Call) -> Claims:
    waited_us = subtract(call.of("now_us"), call.of("_last_us"))
    recent = both(at_least(waited_us, -(1 << 29)), less(waited_us, 1 << 29))
    return [
        ("a period of at least 10 us", at_least(call.of("_period_us"), 10)),
        ("a recent stamp", terms.either(call.of("standing"), recent)),
    ]


def _rate_gives(call: Call) -> Claims:
    waited_us = subtract(call.of("now_us"), call.of("_last_us"))
    stands = terms.either(call.of("standing"), less(call.of("_still_us"), waited_us))
    slow = at_most(call.of("_scale"), multiply(terms.divide(call.of("_period_us"), 10), SPEED_MAX_MM_PER_S))
    return [
        ("a standstill is latched", terms.same(call.after("standing"), stands)),
        ("what stands has no rate", implies(stands, equal(call.result, 0))),
        ("no more than its scale", at_most(call.result, call.of("_scale"))),
        (
            "no quicker than a wheel whose last period was none",
            implies(slow, at_most(call.result, SPEED_MAX_MM_PER_S)),
        ),
    ]


def _fading_gives(call: Call) -> Claims:
    value = call.of("value")
    return [
        ("nothing from the end on", implies(at_least(value, call.of("end")), equal(call.result, 0))),
        (
            "all up to the start",
            implies(
                both(at_most(value, call.of("start")), less(value, call.of("end"))), equal(call.result, 1000)
            ),
        ),
    ]


def _rising_gives(call: Call) -> Claims:
    value = call.of("value")
    return [
        ("nothing up to the start", implies(at_most(value, call.of("start")), equal(call.result, 0))),
        (
            "all from the end on",
            implies(
                both(at_least(value, call.of("end")), less(call.of("start"), value)), equal(call.result, 1000)
            ),
        ),
    ]


CONTRACTS = (
    Contract(
        "Supply.step",
        "firmware.sense.supply",
        {"battery_mv": READING, "current_ma": READING},
        {
            "_started": TRUTH,
            "_voltage_sum": (0, 3_200_031),
            "_current_sum": (0, 400_003),
            "battery_mv": READING,
            "current_ma": READING,
            "power_w": (0, 10_000),
        },
        None,
        lambda call: [
            ("a voltage sum in its range", at_most(call.of("_voltage_sum"), 3_200_031)),
            ("a current sum in its range", at_most(call.of("_current_sum"), 400_003)),
        ],
        lambda call: [("a start", call.after("_started"))],
    ),
    Contract(
        "Rotation.rate",
        "firmware.sense.rotation",
        {"now_us": STAMP},
        {"standing": TRUTH},
        (0, 300_000_000),
        _rate_needs,
        _rate_gives,
    ),
    Contract(
        "fading_permille",
        "firmware.integers",
        {"value": (-500, 30_000), "start": (0, 14_000), "end": (0, 14_000)},
        {},
        (0, 1_000),
        lambda call: [("start before the end", terms.at_most(call.of("start"), call.of("end")))],
        _fading_gives,
    ),
    Contract(
        "rising_permille",
        "firmware.integers",
        {"value": (0, 100_000), "start": (0, 100_000), "end": (0, 100_000)},
        {},
        (0, 1_000),
        lambda call: [("start before the end", less(call.of("start"), call.of("end")))],
        _rising_gives,
    ),
)
