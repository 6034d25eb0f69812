"""Exact contracts of the controller's own parts: clock, slew, bounds, output; and how a controller starts."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import INPUTS, Call, Claims, Contract, nothing
from host_sim.proof.whole.exact import ANY, becomes, exact, fitted, gives, is_one_formula, setting, since_us
from host_sim.proof.whole.exact_crank import restamped
from host_sim.proof.whole.exact_decide import ASSISTING, NOTHING, READY, THROTTLING, release_gap_us
from host_sim.proof.whole.exact_drive import SOUGHT, over_uv, range_uv, sought, stepped
from host_sim.proof.whole.exact_motor import ceiling, is_speed_kind
from host_sim.proof.whole.exact_sense import within
from host_sim.proof.whole.invariants import Clause, State
from host_sim.proof.whole.ranges import RANGES, STAMP, TRUTH
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.terms import (
    at_least,
    at_most,
    both,
    choose,
    either,
    equal,
    less,
    maximum,
    minimum,
    negate,
    some,
)

MODULE = "controller"
VALID_US, LAPSED_RISE_MV = 50_000, 1
VOLTS = (0, 5_000)
LIMITER = ("_carry_nv", "_last_us", "command_mv")


def _drives(call: Call) -> Any:
    state = call.of("engagement.state")
    return either(equal(state, ASSISTING), equal(state, THROTTLING))


def _slew(call: Call) -> Claims:
    """Cut at once, cross the dead band at once, seek, or move at the rates."""
    path, target_mv, start_mv = "slew_limiter.", call.of("target_mv"), setting(call, "command_start_mv")
    command_mv, seek_mv = call.of("slew_limiter.command_mv"), call.of("feed_forward.seek_mv")
    cut = some(call.of("_stalled"), negate(_drives(call)), equal(call.of("ceilings.ceiling_w"), 0))
    starts = both(less(0, target_mv), less(command_mv, start_mv))
    ends = both(equal(target_mv, 0), at_most(command_mv, start_mv))
    quicker = sought(call, path, target_mv, call.of("feed_forward.rise_mv_per_s"))
    plain = stepped(call, path, target_mv)
    moves = {name: choose(less(0, seek_mv), quicker[name], plain[name]) for name in plain}
    still = choose(ends, 0, moves["command_mv"])
    values = {
        "command_mv": choose(cut, 0, choose(starts, start_mv, still)),
        "_carry_nv": choose(some(cut, starts, ends), 0, moves["_carry_nv"]),
        "_last_us": call.of("now_us"),
    }
    claims = becomes(call, **{f"{path}{name}": value for name, value in values.items()})
    return [*gives(call, values["command_mv"]), *claims]


def _bounded(call: Call) -> Claims:
    """What the power loop or the search aims at, but no more than the model allows."""
    target_mv, applied_mv = call.of("power_loop.target_mv"), call.of("applied_mv")
    waits = both(call.of("shunt_watch.lapsed"), is_speed_kind(call))
    target_mv = choose(waits, minimum(target_mv, terms.add(applied_mv, LAPSED_RISE_MV)), target_mv)
    highest_mv, current_ma = ceiling(call, "motor_model.")
    result = minimum(maximum(target_mv, call.of("feed_forward.seek_mv")), highest_mv)
    return [*gives(call, result), *becomes(call, **{"motor_model._ceiling_ma": current_ma})]


def _fed_forward(call: Call) -> Claims:
    """The loop restarts from the command while and when the search ends, else it moves with the speed."""
    command_mv, found_mv = call.of("outputs.command_mv"), call.after("feed_forward.found_mv")
    found = less(0, found_mv)
    applied_mv = choose(found, minimum(found_mv, command_mv), command_mv)
    restarts = either(found, less(0, call.after("feed_forward.seek_mv")))
    integral_uv = call.of("power_loop._integral_uv")
    shifted_uv = terms.add(integral_uv, call.after("feed_forward.change_uv"))
    values = {
        "power_loop._integral_uv": choose(
            restarts, over_uv(call, applied_mv), within(shifted_uv, 0, range_uv(call))
        ),
        "power_loop._carry": choose(restarts, 0, call.of("power_loop._carry")),
        "slew_limiter.command_mv": choose(found, applied_mv, call.of("slew_limiter.command_mv")),
        "slew_limiter._carry_nv": choose(found, 0, call.of("slew_limiter._carry_nv")),
        "slew_limiter._last_us": choose(found, call.of("now_us"), call.of("slew_limiter._last_us")),
    }
    return [*gives(call, applied_mv), *becomes(call, **values)]


def _put_out(call: Call) -> Claims:
    """The outputs, and a limiter that goes on from what was let through."""
    permitted_mv, now_us = call.of("permitted_mv"), call.of("now_us")
    lowered = less(permitted_mv, call.of("command_mv"))
    cause, drives = call.of("faults.cause"), less(0, permitted_mv)
    ready = choose(at_least(call.of("engagement.state"), READY), 1, 0)
    limiter = {"command_mv": permitted_mv, "_carry_nv": 0, "_last_us": now_us}
    values = {
        f"slew_limiter.{name}": choose(lowered, value, call.of(f"slew_limiter.{name}"))
        for name, value in limiter.items()
    }
    values |= {
        "outputs.command_mv": permitted_mv,
        "outputs.drive_enabled": drives,
        "outputs.fault_cause": cause,
        "outputs.valid_for_us": VALID_US,
        "outputs.indicator": choose(less(0, cause), 3, choose(drives, 2, ready)),
        "_last_us": now_us,
    }
    return becomes(call, **values)


def _clock(call: Call) -> Claims:
    """A stall, or a clock that went back: then no run is left and every time counts from now."""
    now_us = call.of("now_us")
    elapsed_us = since_us(now_us, call.of("_last_us"))
    back = less(elapsed_us, 0)
    values = {
        **{f"crank.{name}": value for name, value in restamped(now_us).items()},
        **dict.fromkeys(WHEEL_TIMES, now_us),
        "pedalling.stopped": True,
    }
    changed = {name: choose(back, value, call.of(name)) for name, value in values.items()}
    return becomes(call, **changed, _stalled=either(back, less(VALID_US, elapsed_us)))


OUTPUT = ("command_mv", "drive_enabled", "fault_cause", "indicator", "valid_for_us")
WHEEL_TIMES = ("wheel._last_us", "wheel._rotation._last_us")
CLOCKED = ("_stalled", *(f"crank.{name}" for name in restamped(0)), *WHEEL_TIMES, "pedalling.stopped")
FED = (
    *(f"feed_forward.{name}" for name in SOUGHT),
    "power_loop._carry",
    "power_loop._integral_uv",
    *(f"slew_limiter.{name}" for name in LIMITER),
)
EXACT_STEP = (
    Contract(
        "Controller._feed_forward",
        f"firmware.{MODULE}",
        {"inputs": INPUTS, "now_us": STAMP},
        dict.fromkeys(FED, ANY),
        None,
        nothing,
        _fed_forward,
    ),
    exact(
        "Controller._slew",
        MODULE,
        {"target_mv": VOLTS, "now_us": STAMP},
        tuple(f"slew_limiter.{name}" for name in LIMITER),
        _slew,
    ),
    exact(
        "Controller._bounded_mv",
        MODULE,
        {"allowed_w": (1, 1_500), "applied_mv": VOLTS},
        ("motor_model._ceiling_ma",),
        _bounded,
    ),
    exact(
        "Controller._put_out",
        MODULE,
        {"permitted_mv": VOLTS, "command_mv": VOLTS, "now_us": STAMP},
        (
            *(f"slew_limiter.{name}" for name in LIMITER),
            *(f"outputs.{name}" for name in OUTPUT),
            "_last_us",
        ),
        _put_out,
    ),
    exact("Controller._look_at_the_clock", MODULE, {"now_us": STAMP}, CLOCKED, _clock),
)


class _Settings:
    """Stands for a call where only settings are asked for."""

    def __init__(self, situation: Situation) -> None:
        self.whole = situation.interpreter
        self.store = situation.built


def start_pieces() -> list[tuple[list[Any], list[Clause]]]:
    """Return that a new controller remembers nothing, rests, and has learned nothing."""
    situation = Situation(None)
    state = State(situation)
    settings: Any = _Settings(situation)
    unfitted = negate(fitted(settings, "throttle_fitted"))
    absent = equal(setting(settings, "selector_positions"), 0)
    known = {
        "pedalling.stopped": True,
        "pedalling.slow": True,
        "pedalling.stop_gap_us": release_gap_us(settings),
        "pedalling._cadence.standing": True,
        "pedalling._cadence._period_us": 10,
        "wheel._rotation.standing": True,
        "wheel._rotation._period_us": 10,
        "wheel.late_mm_per_s": state.of("wheel._late_unseen_mm_per_s"),
        "guard._wheel_period_us": 3_000_000,
        "guard._throttle_rest_seen": unfitted,
        "throttle.rest_seen": unfitted,
        "selector.share_permille": choose(absent, 1_000, 0),
        "engagement.event": NOTHING,
        "outputs.valid_for_us": VALID_US,
        "motor_model._ceiling_ma": setting(settings, "motor_current_limit_ma"),
        "motor_model._learned": 1_000 * 512,
        "motor_model.learned_permille": 1_000,
        "feed_forward._followed_mv": -1,
        "feed_forward._seeking": less(0, setting(settings, "seek_mv_per_s")),
    }
    claims: list[Clause] = []
    for path, span in RANGES.items():
        if span != STAMP:
            value, wanted = state.of(path), known.get(path, False if span == TRUTH else 0)
            alike = terms.same(value, wanted) if span == TRUTH else terms.equal(value, wanted)
            claims.append((f"{path} starts as it should", is_one_formula(value, wanted, {}) or alike))
    return [([situation.legal], claims)]
