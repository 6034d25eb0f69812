"""Exact contracts of what is decided: pedalling, events, states, watts wanted and allowed."""

from typing import Any

from firmware.decide.engagement import TRANSITIONS
from host_sim.proof.whole.contract import Call, Claims
from host_sim.proof.whole.exact import becomes, exact, fitted, gives, setting, since_us
from host_sim.proof.whole.exact_sense import fading, rising
from host_sim.proof.whole.exact_wheel import rate
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.terms import (
    add,
    at_least,
    at_most,
    both,
    choose,
    divide,
    either,
    equal,
    every,
    less,
    maximum,
    minimum,
    multiply,
    negate,
    some,
    subtract,
)

US_PER_MINUTE, PERIOD_MS, LONGEST_MS = 60_000_000, 5, 10_000
WAITING, READY, ASSISTING, THROTTLING = 0, 1, 2, 3
FAULT, BRAKE, BACKWARD, PEDALLING, THROTTLE_ALONE, REST, STOPPED, SLOW, THROTTLE, NOTHING = range(10)
BY_LIMIT, BY_SPEED, BY_BATTERY, BY_HEAT, BY_DOUBT = range(5)
REST_STEPS = 20
PERMILLE, STATE = (0, 1_000), (0, 5)


def release_pitch_us(call: Call) -> Any:
    """Return the time between two pulses at the release cadence."""
    return divide(US_PER_MINUTE, multiply(setting(call, "pulses_per_rev"), setting(call, "release_rpm")))


def release_gap_us(call: Call) -> Any:
    """Return the gap at the release cadence, of a duty-coded ring a whole pitch."""
    duty_coded = equal(setting(call, "sensor_kind"), 2)
    permille = choose(duty_coded, 1_000, setting(call, "edge_gap_permille"))
    return divide(multiply(divide(release_pitch_us(call), 10), permille), 100)


def stop_gap_us(call: Call, pitch_us: Any) -> Any:
    """Return the least of the release gap, a share of the pitch and what the cut-off distance leaves."""
    speed = call.of("speed_mm_per_s")
    of_pitch_us = multiply(divide(pitch_us, 100), setting(call, "stop_pitch_percent"))
    longest_us = release_gap_us(call)
    gap_us = choose(both(less(0, pitch_us), less(of_pitch_us, longest_us)), of_pitch_us, longest_us)
    spent_ms = add(setting(call, "motor_lag_ms"), PERIOD_MS)
    left_ms = subtract(divide(multiply(setting(call, "cutoff_distance_mm"), 1_000), speed), spent_ms)
    soon = both(less(left_ms, LONGEST_MS), less(multiply(left_ms, 1_000), gap_us))
    of_distance_us = choose(at_most(left_ms, 0), 0, choose(soon, multiply(left_ms, 1_000), gap_us))
    return choose(less(0, speed), of_distance_us, gap_us)


def _cadence(call: Call) -> tuple[Any, dict[str, Any]]:
    """Return the cadence now, and what is remembered of it."""
    pitch_us, measured = call.of("crank.pitch_us"), call.of("crank.pitch_measured")
    none = equal(pitch_us, 0)
    takes = both(negate(none), measured)
    kept = {
        "_last_us": choose(takes, call.of("crank.pitch_edge_us"), call.of("_cadence._last_us")),
        "_period_us": choose(takes, pitch_us, call.of("_cadence._period_us")),
        "standing": choose(none, True, both(negate(takes), call.of("_cadence.standing"))),
    }
    cadence_rpm, stands = rate(call, "_cadence.", call.of("now_us"), **kept)
    return cadence_rpm, {f"_cadence.{name}": value for name, value in {**kept, "standing": stands}.items()}


def _facts(call: Call) -> Claims:
    """What a step says of the legs."""
    cadence_rpm, remembered = _cadence(call)
    gap_us = stop_gap_us(call, call.of("crank.pitch_us"))
    waited_us = since_us(call.of("now_us"), call.of("crank.last_forward_us"))
    stopped = both(call.of("stopped"), negate(call.of("crank.ground_gained")))
    stops = both(negate(stopped), less(gap_us, waited_us))
    run = choose(stops, 0, call.of("crank.forward_run"))
    return becomes(
        call,
        **remembered,
        cadence_rpm=cadence_rpm,
        stop_gap_us=gap_us,
        stopped=either(stopped, stops),
        backward=at_least(call.of("crank.backward_run"), setting(call, "backward_edges")),
        slow=less(cadence_rpm, setting(call, "release_rpm")),
        engages=every(
            negate(either(stopped, stops)),
            at_least(run, setting(call, "engage_edges")),
            at_least(cadence_rpm, setting(call, "engage_rpm")),
            at_least(call.of("speed_mm_per_s"), setting(call, "engage_speed_mm_per_s")),
        ),
        **{"crank.forward_run": run},
    )


def _event(call: Call) -> Claims:
    """The most urgent event, in written order."""
    share = call.of("_throttle.share_permille")
    rests = every(call.of("_crank.standing"), call.of("_throttle.rest_seen"), equal(share, 0))
    rest_steps = choose(rests, minimum(add(call.of("_rest_samples"), 1), REST_STEPS), 0)
    slow_enough = less(call.of("_wheel.speed_mm_per_s"), setting(call, "startup_speed_mm_per_s"))
    unpedalled = setting(call, "throttle_unpedalled")
    drives = both(less(0, share), either(equal(unpedalled, 2), both(equal(unpedalled, 1), slow_enough)))
    stopped, slow = call.of("_pedalling.stopped"), call.of("_pedalling.slow")
    event: Any = choose(drives, THROTTLE, NOTHING)
    for number, holds in (
        (SLOW, slow),
        (STOPPED, stopped),
        (REST, equal(rest_steps, REST_STEPS)),
        (THROTTLE_ALONE, both(drives, either(stopped, slow))),
        (PEDALLING, call.of("_pedalling.engages")),
        (BACKWARD, call.of("_pedalling.backward")),
        (BRAKE, call.of("brake_pulled")),
        (FAULT, less(0, call.of("fault_cause"))),
    ):
        event = choose(holds, number, event)
    return [*gives(call, event), *becomes(call, _rest_samples=rest_steps)]


def _transition(call: Call) -> Claims:
    state, event = call.of("state"), call.of("event")
    following: Any = WAITING
    for before, row in enumerate(TRANSITIONS):
        for number, after in enumerate(row):
            following = choose(both(equal(state, before), equal(event, number)), after, following)
    return [
        *gives(call, following),
        ("state is exact", equal(call.after("state"), following)),
        ("event is exact", equal(call.after("event"), event)),
    ]


def _watts(call: Call) -> Claims:
    state = call.of("state")
    by_throttle = divide(multiply(setting(call, "throttle_power_w"), call.of("throttle_permille")), 1_000)
    by_pedals = divide(multiply(setting(call, "assist_power_w"), call.of("share_permille")), 1_000)
    assists = equal(state, ASSISTING)
    wanted_w = choose(either(assists, equal(state, THROTTLING)), by_throttle, 0)
    wanted_w = choose(assists, maximum(wanted_w, by_pedals), wanted_w)
    return [*gives(call, wanted_w), *becomes(call, wanted_w=wanted_w)]


def _ceiling(call: Call) -> Claims:
    """The least of the limit and its fades, and which that was."""
    speed, startup = call.of("speed_mm_per_s"), setting(call, "startup_speed_mm_per_s")
    starting = both(
        equal(call.of("state"), THROTTLING), negate(equal(setting(call, "throttle_unpedalled"), 2))
    )
    by_speed = choose(
        starting,
        fading(speed, divide(startup, 2), startup),
        fading(speed, setting(call, "taper_start_mm_per_s"), setting(call, "cutoff_speed_mm_per_s")),
    )
    by_battery = rising(
        call.of("battery_mv"), setting(call, "battery_empty_mv"), setting(call, "battery_foldback_mv")
    )
    heat = call.of("motor_decicelsius")
    by_heat = fading(
        heat, setting(call, "heat_foldback_decicelsius"), setting(call, "heat_limit_decicelsius")
    )
    lowest, which = 1_000, BY_LIMIT
    for number, permille, there in (
        (BY_SPEED, by_speed, True),
        (BY_BATTERY, by_battery, True),
        (BY_HEAT, by_heat, fitted(call, "heat_sensor_fitted")),
    ):
        lower = both(there, less(permille, lowest))
        lowest, which = choose(lower, permille, lowest), choose(lower, number, which)
    ceiling_w = divide(multiply(setting(call, "power_limit_w"), lowest), 1_000)
    return [*gives(call, ceiling_w), *becomes(call, ceiling_w=ceiling_w, lowest=which)]


EXACT_DECIDE = (
    exact(
        "Pedalling.step",
        "decide.pedalling",
        {"crank": "crank", "speed_mm_per_s": (0, 30_000), "now_us": STAMP},
        (
            "_cadence._last_us", "_cadence._period_us", "_cadence.standing", "backward", "cadence_rpm",
            "crank.forward_run", "engages", "slow", "stop_gap_us", "stopped",
        ),
        _facts,
    ),
    exact("Pedalling.stop", "decide.pedalling", {}, ("stopped",), lambda call: becomes(call, stopped=True)),
    exact(
        "Events.choose",
        "decide.events",
        {"fault_cause": (0, 17), "brake_pulled": "truth"},
        ("_rest_samples",),
        _event,
    ),
    exact("Engagement.step", "decide.engagement", {"event": (0, 9)}, ("event", "state"), _transition),
    exact(
        "Engagement.driving",
        "decide.engagement",
        {},
        (),
        lambda call: gives(call, some(*(equal(call.of("state"), one) for one in (ASSISTING, THROTTLING)))),
    ),
    exact(
        "Request.step",
        "decide.request",
        {"state": STATE, "share_permille": PERMILLE, "throttle_permille": PERMILLE},
        ("wanted_w",),
        _watts,
    ),
    exact(
        "Ceilings.step",
        "decide.ceilings",
        {
            "state": STATE,
            "speed_mm_per_s": (0, 30_000),
            "battery_mv": (0, 100_000),
            "motor_decicelsius": (-500, 3_000),
        },
        ("ceiling_w", "lowest"),
        _ceiling,
    ),
    exact(
        "Ceilings.withhold",
        "decide.ceilings",
        {},
        ("ceiling_w", "lowest"),
        lambda call: becomes(call, ceiling_w=0, lowest=BY_DOUBT),
    ),
)  # fmt: skip
