"""Contracts of the decisions: stop gap, event, state and ceiling."""

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import READING, Call, Claims, Contract, nothing
from host_sim.proof.whole.ranges import SPEED_MAX_MM_PER_S, TRUTH
from host_sim.proof.whole.terms import (
    at_least,
    at_most,
    both,
    equal,
    implies,
    less,
    multiply,
    negate,
    subtract,
)


def _gap_gives(call: Call) -> Claims:
    pitches_us = multiply(terms.divide(call.of("pitch_us"), 100), call.of("_stop_pitch_percent"))
    speed = call.of("speed_mm_per_s")
    left_ms = subtract(
        terms.divide(multiply(call.of("_cutoff_distance_mm"), 1000), speed), call.of("_spent_ms")
    )
    left_us = multiply(terms.maximum(left_ms, 0), 1000)
    return [
        (
            "no more than the edge gap at the release cadence",
            at_most(call.result, call.of("_release_gap_us")),
        ),
        (
            "no more than its share of the pitch",
            implies(less(0, call.of("pitch_us")), at_most(call.result, pitches_us)),
        ),
        (
            "no more than what the cut-off distance leaves",
            implies(less(0, speed), at_most(call.result, left_us)),
        ),
    ]


def _event_gives(call: Call) -> Claims:
    event = call.result
    stopped, slow = call.of("_pedalling.stopped"), call.of("_pedalling.slow")
    shared = less(0, call.of("_throttle.share_permille"))
    freely = equal(call.of("_throttle_unpedalled"), 2)
    below = less(call.of("_wheel.speed_mm_per_s"), call.of("_startup_speed_mm_per_s"))
    may = terms.either(freely, both(equal(call.of("_throttle_unpedalled"), 1), below))
    fault = less(0, call.of("fault_cause"))
    by_throttle = terms.either(equal(event, 4), equal(event, 8))
    return [
        ("a fault and nothing else for a cause", terms.same(equal(event, 0), fault)),
        ("at least a brake for a brake", implies(call.of("brake_pulled"), at_most(event, 1))),
        ("at least backward for backward", implies(call.of("_pedalling.backward"), at_most(event, 2))),
        ("pedalling only where it engages", implies(equal(event, 3), call.of("_pedalling.engages"))),
        ("the throttle only where it is open and may drive", implies(by_throttle, both(shared, may))),
        (
            "the last two only where nothing has stopped",
            implies(at_least(event, 8), both(negate(stopped), negate(slow))),
        ),
    ]


def _state_gives(call: Call) -> Claims:
    event, before, after = call.of("event"), call.of("state"), call.after("state")
    stays = both(equal(before, 2), at_least(event, 8))
    return [
        ("what it returns", equal(call.result, after)),
        ("the event", equal(call.after("event"), event)),
        ("a fault's state for a fault and nothing else", terms.same(equal(after, 5), equal(event, 0))),
        (
            "no drive for brake and backward",
            implies(at_most(event, 2), terms.either(less(after, 2), less(3, after))),
        ),
        (
            "assisting by pedalling, or as before",
            implies(equal(after, 2), terms.either(equal(event, 3), stays)),
        ),
        (
            "no drive in one step from waiting, a brake or a fault",
            implies(
                terms.some(*(equal(before, state) for state in (0, 4, 5))),
                terms.either(less(after, 2), less(3, after)),
            ),
        ),
        (
            "throttling by the throttle",
            implies(equal(after, 3), terms.either(equal(event, 4), equal(event, 8))),
        ),
    ]


def _ceilings_give(call: Call) -> Claims:
    """Return what the ceilings give."""
    nothing = equal(call.result, 0)
    fast = at_least(call.of("speed_mm_per_s"), call.of("_cutoff_speed_mm_per_s"))
    empty = at_most(call.of("battery_mv"), call.of("_battery_empty_mv"))
    hot = both(
        call.of("_heat_sensor_fitted"),
        at_least(call.of("motor_decicelsius"), call.of("_heat_limit_decicelsius")),
    )
    return [
        ("what it returns", equal(call.result, call.after("ceiling_w"))),
        ("at most the power limit", at_most(call.result, call.of("_power_limit_w"))),
        ("nothing at the cut-off speed", implies(fast, nothing)),
        ("nothing from an empty battery", implies(empty, nothing)),
        ("nothing at the highest heat", implies(hot, nothing)),
    ]


def _ceilings_need(call: Call) -> Claims:
    pairs = (
        ("_taper_start_mm_per_s", "_cutoff_speed_mm_per_s"),
        ("_startup_speed_mm_per_s", "_cutoff_speed_mm_per_s"),
        ("_battery_empty_mv", "_battery_foldback_mv"),
        ("_heat_foldback_decicelsius", "_heat_limit_decicelsius"),
    )
    return [(f"{low} below {high}", less(call.of(low), call.of(high))) for low, high in pairs]


CONTRACTS = (
    Contract(
        "Pedalling._stop_gap_us",
        "firmware.decide.pedalling",
        {"pitch_us": (0, 4_000_000), "speed_mm_per_s": (0, SPEED_MAX_MM_PER_S)},
        {},
        (0, 3_750_000),
        nothing,
        _gap_gives,
    ),
    Contract(
        "Events.choose",
        "firmware.decide.events",
        {"fault_cause": (0, 17), "brake_pulled": TRUTH},
        {"_rest_samples": (0, 20)},
        (0, 9),
        lambda call: [("rest counted up to its limit", at_most(call.of("_rest_samples"), 20))],
        _event_gives,
    ),
    Contract(
        "Engagement.step",
        "firmware.decide.engagement",
        {"event": (0, 9)},
        {"event": (0, 9), "state": (0, 5)},
        (0, 5),
        lambda call: [
            ("a state of the table", both(at_least(call.of("state"), 0), at_most(call.of("state"), 5)))
        ],
        _state_gives,
    ),
    Contract(
        "Ceilings.step",
        "firmware.decide.ceilings",
        {
            "state": (0, 5),
            "speed_mm_per_s": (0, SPEED_MAX_MM_PER_S),
            "battery_mv": READING,
            "motor_decicelsius": (-500, 3_000),
        },
        {"ceiling_w": (0, 1_500), "lowest": (0, 4)},
        (0, 1_500),
        _ceilings_need,
        _ceilings_give,
    ),
)
