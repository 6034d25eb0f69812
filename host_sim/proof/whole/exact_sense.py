"""Exact contracts of supply, levers and the watch on the shunt, and of the helpers in `integers.py`."""

from typing import Any

from host_sim.proof.whole.contract import INPUTS, Call, Claims, Span
from host_sim.proof.whole.exact import becomes, exact, fitted, gives, reading, setting
from host_sim.proof.whole.terms import (
    absolute,
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
    subtract,
    unequal,
)

VOLTS: tuple[int, int] = (0, 5_000)
ANY_READING = (-200_000, 200_000)
SILENT_MA, SAG_MV, SAG_STEPS, STUCK_STEPS = 150, 300, 12, 20
STUCK_MORE_MA, FALLEN_PERCENT, HELD_MV, ROAD_MM_PER_S = 1_000, 40, 20, 200
"""A current within 150 mA of rest is none, a battery 300 mV below rest sags; 60 ms and 0.1 s of it count."""


def within(value: Any, lowest: Any, highest: Any) -> Any:
    """Return a value, moved to the nearest end of its range."""
    return choose(less(value, lowest), lowest, choose(less(highest, value), highest, value))


def rising(value: Any, start: Any, end: Any) -> Any:
    """Return 0 up to the start, 1000 from the end on, the straight line between."""
    between = divide(multiply(subtract(value, start), 1_000), subtract(end, start))
    return choose(at_most(value, start), 0, choose(at_least(value, end), 1_000, between))


def fading(value: Any, start: Any, end: Any) -> Any:
    """Return 0 from the end on, else 1000 up to the start, the straight line between."""
    between = divide(multiply(subtract(end, value), 1_000), subtract(end, start))
    return choose(at_least(value, end), 0, choose(at_most(value, start), 1_000, between))


def _supply(call: Call) -> Claims:
    """First-order low passes of 32 and 4 steps; the first voltage counts at once."""
    raw_mv, raw_ma = (within(call.of(name), 0, 100_000) for name in ("battery_mv", "current_ma"))
    sum_mv = choose(call.of("_started"), call.of("_voltage_sum"), multiply(raw_mv, 32))
    sum_mv = add(sum_mv, subtract(raw_mv, divide(sum_mv, 32)))
    sum_ma = add(call.of("_current_sum"), subtract(raw_ma, divide(call.of("_current_sum"), 4)))
    voltage_mv, current_ma = divide(sum_mv, 32), divide(sum_ma, 4)
    power_w = divide(multiply(divide(voltage_mv, 10), current_ma), 100_000)
    values = {"_started": True, "_voltage_sum": sum_mv, "_current_sum": sum_ma, "power_w": power_w}
    return [
        *becomes(call, **values),
        ("battery_mv is exact", equal(call.after("battery_mv"), voltage_mv)),
        ("current_ma is exact", equal(call.after("current_ma"), current_ma)),
    ]


def _wires(call: Call, lever: str) -> tuple[Any, Any]:
    value_mv = call.of(f"{lever}_mv")
    return less(value_mv, setting(call, f"{lever}_open_mv")), less(
        setting(call, f"{lever}_short_mv"), value_mv
    )


def _throttle(call: Call) -> Claims:
    is_fitted, value_mv = fitted(call, "throttle_fitted"), call.of("throttle_mv")
    is_open, is_short = _wires(call, "throttle")
    broken = either(is_open, is_short)
    rests = both(negate(broken), at_most(value_mv, setting(call, "throttle_rest_mv")))
    turned = rising(value_mv, setting(call, "throttle_rest_mv"), setting(call, "throttle_full_mv"))
    share = choose(either(broken, rests), 0, choose(call.of("rest_seen"), turned, call.of("share_permille")))
    after = {
        "wire_open": is_open,
        "wire_shorted": is_short,
        "rest_seen": either(call.of("rest_seen"), rests),
        "share_permille": share,
    }
    return becomes(call, **{name: choose(is_fitted, value, call.of(name)) for name, value in after.items()})


def _selector(call: Call) -> Claims:
    value_mv, positions = call.of("selector_mv"), setting(call, "selector_positions")
    is_open, is_short = _wires(call, "selector")
    broken = either(is_open, is_short)
    turned = rising(value_mv, setting(call, "selector_low_mv"), setting(call, "selector_high_mv"))
    steps = multiply(turned, subtract(positions, 1))
    far = less(750, absolute(subtract(steps, multiply(call.of("position"), 1_000))))
    steps_used = every(negate(broken), unequal(positions, 0), unequal(positions, 1))
    position = choose(both(steps_used, far), divide(add(steps, 500), 1_000), call.of("position"))
    share: Any = setting(call, "share_6_permille")
    for place in range(5):
        share = choose(equal(position, place), setting(call, f"share_{place + 1}_permille"), share)
    share = choose(broken, 0, choose(equal(positions, 1), turned, share))
    there = unequal(positions, 0)
    return becomes(
        call,
        wire_open=choose(there, is_open, call.of("wire_open")),
        wire_shorted=choose(there, is_short, call.of("wire_shorted")),
        position=position,
        share_permille=choose(there, share, call.of("share_permille")),
    )


def knows_the_motor(call: Call) -> Any:
    """Tell whether the model can be used: the kind of motor is known and a shunt fitted."""
    return both(unequal(setting(call, "motor_kind"), 0), fitted(call, "shunt_fitted"))


def _watch(call: Call) -> Claims:
    """Rest, sag, standstill and fall of the current reading."""
    known = knows_the_motor(call)
    rests = at_most(call.of("command_mv"), setting(call, "command_start_mv"))
    rest, driven = _watch_rest(call), _watch_driven(call)
    return becomes(
        call,
        **{
            name: choose(
                known,
                choose(rests, rest.get(name, call.of(name)), driven.get(name, call.of(name))),
                call.of(name),
            )
            for name in {**rest, **driven}
        },
    )


def _watch_rest(call: Call) -> dict[str, Any]:
    peak_ma = call.of("rest_peak_ma")
    faded_ma = subtract(peak_ma, divide(peak_ma, 128))
    return {
        **dict.fromkeys(("sags", "stuck", "fallen", "drawn", "lapsed"), False),
        "_sag_steps": 0,
        "_stuck_steps": 0,
        "rest_peak_ma": maximum(faded_ma, reading(call, "current_ma")),
        "rest_ma": call.of("_supply.current_ma"),
        "rest_mv": minimum(reading(call, "battery_mv"), call.of("_supply.battery_mv")),
        "_current_sum": multiply(call.of("_supply.current_ma"), 16),
        "_command_sum": multiply(call.of("command_mv"), 16),
    }


def _watch_driven(call: Call) -> dict[str, Any]:
    now_ma, raw_ma, raw_mv = (
        call.of("_supply.current_ma"),
        reading(call, "current_ma"),
        reading(call, "battery_mv"),
    )
    flows = less(SILENT_MA, absolute(subtract(now_ma, call.of("rest_ma"))))
    low = at_most(raw_mv, subtract(call.of("rest_mv"), SAG_MV))
    sagging = choose(low, minimum(add(call.of("_sag_steps"), 1), SAG_STEPS), 0)
    sag_steps = choose(flows, 0, sagging)
    least_ma = add(multiply(setting(call, "no_load_current_ma"), 2), STUCK_MORE_MA)
    moves = either(unequal(raw_ma, call.of("_last_ma")), less(raw_ma, least_ma))
    stuck_steps = choose(moves, 0, minimum(add(call.of("_stuck_steps"), 1), STUCK_STEPS))
    moved_mv = absolute(subtract(raw_mv, call.of("_stuck_mv")))
    mean_ma, mean_mv = divide(call.of("_current_sum"), 16), divide(call.of("_command_sum"), 16)
    fallen_ma = subtract(mean_ma, now_ma)
    road_mv = divide(multiply(setting(call, "back_emf_mv_per_m_per_s"), ROAD_MM_PER_S), 1_000)
    road_ma = divide(multiply(road_mv, 1_000), setting(call, "motor_resistance_mohm"))
    steep = both(less(road_ma, fallen_ma), less(multiply(mean_ma, FALLEN_PERCENT), multiply(fallen_ma, 100)))
    held = less(subtract(mean_mv, HELD_MV), call.of("command_mv"))
    return {
        "drawn": either(flows, call.of("drawn")),
        "lapsed": both(negate(flows), call.of("drawn")),
        "_sag_steps": sag_steps,
        "sags": both(negate(flows), equal(sagging, SAG_STEPS)),
        "_last_ma": choose(moves, raw_ma, call.of("_last_ma")),
        "_stuck_mv": choose(moves, raw_mv, call.of("_stuck_mv")),
        "_stuck_steps": stuck_steps,
        "stuck": every(negate(moves), equal(stuck_steps, STUCK_STEPS), at_least(moved_mv, SAG_MV)),
        "_current_sum": subtract(call.of("_current_sum"), fallen_ma),
        "_command_sum": add(call.of("_command_sum"), subtract(call.of("command_mv"), mean_mv)),
        "fallen": both(steep, held),
    }


WATCHED = (
    "_command_sum", "_current_sum", "_last_ma", "_sag_steps", "_stuck_mv", "_stuck_steps", "drawn", "fallen",
    "lapsed", "rest_ma", "rest_mv", "rest_peak_ma", "sags", "stuck",
)  # fmt: skip
LINE: dict[str, Span] = {"value": (-500, 100_000), "start": (0, 100_000), "end": (0, 100_000)}
EXACT_SENSE = (
    exact(
        "clamp",
        "integers",
        {"value": ANY_READING, "lowest": ANY_READING, "highest": ANY_READING},
        (),
        lambda call: gives(call, within(call.of("value"), call.of("lowest"), call.of("highest"))),
    ),
    exact(
        "rising_permille",
        "integers",
        LINE,
        (),
        lambda call: gives(call, rising(call.of("value"), call.of("start"), call.of("end"))),
    ),
    exact(
        "fading_permille",
        "integers",
        LINE,
        (),
        lambda call: gives(call, fading(call.of("value"), call.of("start"), call.of("end"))),
    ),
    exact(
        "Supply.step",
        "sense.supply",
        {"battery_mv": ANY_READING, "current_ma": ANY_READING},
        ("_current_sum", "_started", "_voltage_sum", "battery_mv", "current_ma", "power_w"),
        _supply,
    ),
    exact(
        "Throttle.step",
        "sense.levers",
        {"throttle_mv": VOLTS},
        ("rest_seen", "share_permille", "wire_open", "wire_shorted"),
        _throttle,
    ),
    exact(
        "Selector.step",
        "sense.levers",
        {"selector_mv": VOLTS},
        ("position", "share_permille", "wire_open", "wire_shorted"),
        _selector,
    ),
    exact("ShuntWatch.step", "sense.shunt_watch", {"inputs": INPUTS, "command_mv": VOLTS}, WATCHED, _watch),
)
