"""Exact contracts of what turns watts into a command: slew limiter, power loop, feed-forward."""

from typing import Any

from host_sim.proof.whole.contract import INPUTS, Call, Claims
from host_sim.proof.whole.exact import becomes, exact, fitted, gives, reading, setting, since_us
from host_sim.proof.whole.exact_motor import (
    change_uv,
    command_for,
    found_mv,
    is_speed_kind,
    share,
    span_mv,
)
from host_sim.proof.whole.exact_sense import knows_the_motor, within
from host_sim.proof.whole.ranges import STAMP
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
    less,
    maximum,
    minimum,
    multiply,
    negate,
    subtract,
)

MODEL = "_model."
VOLTS, RATE = (0, 5_000), (0, 10_000)
LONGEST_US, LONGEST_UNITS, HIGHEST_W = 100_000, 200, 3_000
NEAR_PERMILLE, NEAR_RATE_PERCENT, FURTHEST_PERMILLE, FURTHEST_MORE_MV = 430, 19, 1_300, 2_000
FIRST_CURRENT_MA, SAG_MV = 150, 300


def moved(call: Call, path: str, target_mv: Any, rate_mv_per_s: Any) -> dict[str, Any]:
    """Return what a move at a rate leaves: below a millivolt is carried, and the target never passed."""
    command_mv = call.store[call.key_of(f"{path}command_mv")]
    elapsed_us = within(since_us(call.of("now_us"), call.of(f"{path}_last_us")), 0, LONGEST_US)
    budget_nv = add(call.of(f"{path}_carry_nv"), multiply(rate_mv_per_s, elapsed_us))
    allowed_mv = divide(budget_nv, 1_000_000)
    arrives = at_most(absolute(subtract(target_mv, command_mv)), allowed_mv)
    way_mv = choose(less(command_mv, target_mv), allowed_mv, subtract(0, allowed_mv))
    return {
        "command_mv": choose(arrives, target_mv, add(command_mv, way_mv)),
        "_carry_nv": choose(arrives, 0, subtract(budget_nv, multiply(allowed_mv, 1_000_000))),
        "_last_us": call.of("now_us"),
    }


def stepped(call: Call, path: str, target_mv: Any) -> dict[str, Any]:
    """Return what a step leaves: up at the rise rate, down at the fall rate."""
    rising = less(call.store[call.key_of(f"{path}command_mv")], target_mv)
    rate = choose(rising, setting(call, "rise_mv_per_s"), setting(call, "fall_mv_per_s"))
    return moved(call, path, target_mv, rate)


def sought(call: Call, path: str, target_mv: Any, rate_mv_per_s: Any) -> dict[str, Any]:
    """Return what a search leaves: up at its rate where that is quicker."""
    rising = less(call.store[call.key_of(f"{path}command_mv")], target_mv)
    quicker = moved(call, path, target_mv, maximum(rate_mv_per_s, setting(call, "rise_mv_per_s")))
    slower = moved(call, path, target_mv, setting(call, "fall_mv_per_s"))
    return {name: choose(rising, quicker[name], slower[name]) for name in slower}


def _slewed(call: Call) -> Claims:
    values = stepped(call, "", call.of("target_mv"))
    return [*gives(call, values["command_mv"]), *becomes(call, **values)]


def _sought(call: Call) -> Claims:
    values = sought(call, "", call.of("target_mv"), call.of("rate_mv_per_s"))
    return [*gives(call, values["command_mv"]), *becomes(call, **values)]


def _reset(call: Call) -> Claims:
    return [
        ("command_mv is exact", equal(call.after("command_mv"), call.of("command_mv"))),
        *becomes(call, _carry_nv=0, _last_us=call.of("now_us")),
    ]


def range_uv(call: Call) -> Any:
    """Return the range of the command above the dead band in microvolts."""
    return multiply(span_mv(call), 1_000)


def over_uv(call: Call, applied_mv: Any) -> Any:
    """Return by how much a command lies above the dead band, in microvolts within the range."""
    return within(multiply(subtract(applied_mv, setting(call, "command_start_mv")), 1_000), 0, range_uv(call))


def _loop(call: Call) -> Claims:
    """The PI law whose integral follows what went out, or without a shunt the open map."""
    units = within(divide(since_us(call.of("now_us"), call.of("_last_us")), 100), 0, LONGEST_UNITS)
    asked = equal(call.of("applied_mv"), call.of("target_mv"))
    applied_uv = choose(asked, call.of("_target_uv"), over_uv(call, call.of("applied_mv")))
    integral_uv = call.of("_integral_uv")
    change = add(call.of("_carry"), multiply(subtract(applied_uv, integral_uv), units))
    lag_units = multiply(setting(call, "integral_ms"), 10)
    step_uv = divide(change, lag_units)
    followed_uv = add(integral_uv, step_uv)
    error_w = subtract(call.of("allowed_w"), minimum(call.of("power_w"), HIGHEST_W))
    of_loop_uv = within(
        add(multiply(setting(call, "gain_uv_per_w"), error_w), followed_uv), 0, range_uv(call)
    )
    of_map_uv = multiply(divide(range_uv(call), setting(call, "open_map_full_w")), call.of("allowed_w"))
    has_shunt = fitted(call, "shunt_fitted")
    target_uv = choose(has_shunt, of_loop_uv, minimum(of_map_uv, range_uv(call)))
    target_mv = add(setting(call, "command_start_mv"), divide(target_uv, 1_000))
    return [
        *gives(call, target_mv),
        *becomes(
            call,
            target_mv=target_mv,
            _target_uv=target_uv,
            _integral_uv=choose(has_shunt, followed_uv, integral_uv),
            _carry=choose(has_shunt, subtract(change, multiply(step_uv, lag_units)), call.of("_carry")),
            _last_us=choose(has_shunt, call.of("now_us"), call.of("_last_us")),
        ),
    ]


def _loop_rests(call: Call) -> Claims:
    zero = dict.fromkeys(("_integral_uv", "_target_uv", "_carry", "target_mv"), 0)
    return becomes(call, **zero, _last_us=call.of("now_us"))


def _shifted(call: Call) -> Claims:
    return becomes(
        call, _integral_uv=within(add(call.of("_integral_uv"), call.of("change_uv")), 0, range_uv(call))
    )


SOUGHT = ("_flows", "_followed_mv", "_seeking", "change_uv", "found_mv", "rise_mv_per_s", "seek_mv")
STOPPED: dict[str, Any] = {"_seeking": False, "seek_mv": 0, "rise_mv_per_s": 0}


def _forward_rests(call: Call) -> Claims:
    seeks = less(0, setting(call, "seek_mv_per_s"))
    values = {
        **STOPPED,
        "_seeking": seeks,
        "_flows": False,
        "_followed_mv": -1,
        "change_uv": 0,
        "found_mv": 0,
    }
    return becomes(call, **values)


def _sought_values(call: Call) -> dict[str, Any]:
    """Return what a step of the search leaves."""
    raw_ma, command_mv = reading(call, "current_ma"), call.of("command_mv")
    battery_tens = maximum(divide(call.of("_model.battery_mv"), 10), 1)
    free_ma = share(setting(call, "no_load_current_ma"), divide(call.of("_model.motor_mv"), 10), battery_tens)
    least_ma = add(add(call.of("_shunt.rest_peak_ma"), share(free_ma, 5, 4)), FIRST_CURRENT_MA)
    flows = at_least(raw_ma, least_ma)
    found = both(flows, call.of("_flows"))
    sags = less(reading(call, "battery_mv"), subtract(call.of("_shunt.rest_mv"), SAG_MV))
    emf_mv, rate = call.of("_model.back_emf_mv"), setting(call, "seek_mv_per_s")
    near_mv = command_for(call, MODEL, share(emf_mv, NEAR_PERMILLE, 1_000))
    furthest_mv = command_for(call, MODEL, add(share(emf_mv, FURTHEST_PERMILLE, 1_000), FURTHEST_MORE_MV))
    is_near = at_least(command_mv, near_mv)
    ends = either(either(found, sags), both(is_near, at_least(command_mv, furthest_mv)))
    return {
        "_flows": flows,
        "found_mv": choose(both(found, less(0, command_mv)), found_mv(call, MODEL, raw_ma), 0),
        "_seeking": negate(ends),
        "seek_mv": choose(ends, 0, choose(is_near, furthest_mv, near_mv)),
        "rise_mv_per_s": choose(ends, 0, choose(is_near, share(rate, NEAR_RATE_PERCENT, 100), rate)),
        "change_uv": 0,
    }


def _followed_values(call: Call) -> dict[str, Any]:
    """Return what a step that follows the back-EMF leaves."""
    emf_mv, before_mv = call.of("_model.plain_emf_mv"), call.of("_followed_mv")
    gained_mv = subtract(emf_mv, before_mv)
    falls = less(gained_mv, 0)
    follows = both(at_least(before_mv, 0), either(falls, call.of("_wheel.steady")))
    steeper_mv = choose(falls, share(gained_mv, 5, 4), gained_mv)
    return {
        "change_uv": choose(follows, change_uv(call, MODEL, steeper_mv), 0),
        "_followed_mv": emf_mv,
        "found_mv": 0,
    }


def _forward(call: Call) -> Claims:
    known = both(knows_the_motor(call), is_speed_kind(call))
    sought, followed = _sought_values(call), _followed_values(call)
    otherwise = {"change_uv": 0, "found_mv": 0}
    values = {}
    for name in SOUGHT:
        kept = call.of(name)
        driven = choose(call.of("_seeking"), sought.get(name, kept), followed.get(name, kept))
        values[name] = choose(known, driven, otherwise.get(name, kept))
    return becomes(call, **values)


SLEWED = ("_carry_nv", "_last_us", "command_mv")
LOOPED = ("_carry", "_integral_uv", "_last_us", "_target_uv", "target_mv")
EXACT_DRIVE = (
    exact("SlewLimiter.step", "drive.slew_limiter", {"target_mv": VOLTS, "now_us": STAMP}, SLEWED, _slewed),
    exact(
        "SlewLimiter.seek",
        "drive.slew_limiter",
        {"target_mv": VOLTS, "rate_mv_per_s": RATE, "now_us": STAMP},
        SLEWED,
        _sought,
    ),
    exact("SlewLimiter.reset", "drive.slew_limiter", {"command_mv": VOLTS, "now_us": STAMP}, SLEWED, _reset),
    exact(
        "PowerLoop.step",
        "drive.power_loop",
        {"allowed_w": (1, 1_500), "power_w": (0, 10_000), "applied_mv": VOLTS, "now_us": STAMP},
        LOOPED,
        _loop,
    ),
    exact("PowerLoop.rest", "drive.power_loop", {"now_us": STAMP}, LOOPED, _loop_rests),
    exact(
        "PowerLoop.preset",
        "drive.power_loop",
        {"applied_mv": VOLTS},
        ("_carry", "_integral_uv"),
        lambda call: becomes(call, _integral_uv=over_uv(call, call.of("applied_mv")), _carry=0),
    ),
    exact(
        "PowerLoop.shift",
        "drive.power_loop",
        {"change_uv": (-5_000_000, 5_000_000)},
        ("_integral_uv",),
        _shifted,
    ),
    exact("FeedForward.rest", "drive.feed_forward", {}, SOUGHT, _forward_rests),
    exact(
        "FeedForward.step", "drive.feed_forward", {"inputs": INPUTS, "command_mv": VOLTS}, SOUGHT, _forward
    ),
)
