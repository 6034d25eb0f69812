"""What the controller's own functions should call: its parts, in order, each with its own readings."""

from typing import Any

from host_sim.proof.whole.contract import INPUTS
from host_sim.proof.whole.joining import Case, Joined, Joining, always
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.terms import either, equal, minimum, negate, unequal

EDGES = 2


def _takes_edges(call: Joined) -> None:
    """Each edge in its order, with its own levels and time, to the sensing part and to the gate."""
    for side in ("crank", "wheel"):
        call.play(side, "begin_step")
        log = f"inputs.{side}"
        for place in range(EDGES):
            levels, time_us = call.read(f"{log}._levels.{place}"), call.read(f"{log}._times_us.{place}")
            call.play(side, "edge", levels, time_us)
            call.play("guard", f"{side}_edge", levels, time_us)
            call.put(**{f"{log}.levels": levels, f"{log}.time_us": time_us, f"{log}._read": place + 1})
        call.play(side, "settle", call.read("now_us"))


def _senses(call: Joined) -> None:
    call.play("throttle", "step", call.read("inputs.throttle_mv"))
    call.play("selector", "step", call.read("inputs.selector_mv"))
    call.play("supply", "step", call.read("inputs.battery_mv"), call.read("inputs.current_ma"))
    speed = call.read("wheel.speed_mm_per_s")
    call.play("pedalling", "step", call.read("crank"), speed, call.read("now_us"))


def _compares(call: Joined) -> None:
    command_mv = call.read("outputs.command_mv")
    call.play("motor_model", "step", command_mv, call.read("wheel"), call.read("supply"))
    call.play("shunt_watch", "step", call.read("inputs"), command_mv)
    call.play("plausibility", "step", command_mv)


def _engages(call: Joined) -> None:
    event = call.play("events", "choose", call.read("faults.cause"), call.read("inputs.brake_pulled"))
    state = call.play("engagement", "step", event)
    shares = call.read("selector.share_permille"), call.read("throttle.share_permille")
    call.play("request", "step", state, *shares)
    readings = call.read("supply.battery_mv"), call.read("inputs.motor_decicelsius")
    call.play("ceilings", "step", state, call.read("wheel.speed_mm_per_s"), *readings)


def _withholds(call: Joined) -> None:
    _engages(call)
    call.play("ceilings", "withhold")


def _doubted(call: Joined) -> Any:
    return either(call.of("plausibility.withheld"), call.of("wheel.overdue"))


def _allowed_w(call: Joined) -> Any:
    return minimum(call.of("request.wanted_w"), call.of("ceilings.ceiling_w"))


def _rests(call: Joined) -> int:
    call.play("power_loop", "rest", call.read("now_us"))
    call.play("feed_forward", "rest")
    return 0


def _aims(call: Joined) -> Any:
    now_us, allowed_w = call.read("now_us"), _allowed_w(call)
    applied_mv = call.play("", "_feed_forward", call.read("inputs"), now_us)
    call.play("power_loop", "step", allowed_w, call.read("supply.power_w"), applied_mv, now_us)
    return call.play("", "_bounded_mv", allowed_w, applied_mv)


def _steps(call: Joined) -> Any:
    """Sense, compare, faults, engage, drive, gate, output."""
    inputs, now_us = call.read("inputs"), call.read("now_us")
    call.play("", "_take_edges", inputs, now_us)
    call.play("", "_look_at_the_clock", now_us)
    call.play("", "_sense", inputs, now_us)
    call.play("", "_compare", inputs)
    call.play("faults", "step", inputs, call.read("outputs.command_mv"))
    call.play("", "_engage", inputs)
    command_mv = call.play("", "_slew", call.play("", "_target_mv", inputs, now_us), now_us)
    permitted_mv = call.play("guard", "permit", command_mv, inputs, now_us)
    call.play("", "_put_out", permitted_mv, command_mv, now_us)
    return call.read("outputs")


RUN: dict[str, Any] = {"inputs": INPUTS, "now_us": STAMP}
JOINS_CONTROLLER = (
    Joining(
        "Controller._take_edges",
        "controller",
        RUN,
        (always(_takes_edges),),
        EDGES,
        EDGES,
    ),
    Joining("Controller._sense", "controller", RUN, (always(_senses),)),
    Joining("Controller._compare", "controller", {"inputs": INPUTS}, (always(_compares),)),
    Joining(
        "Controller._engage",
        "controller",
        {"inputs": INPUTS},
        (
            Case("nothing is in doubt", lambda call: negate(_doubted(call)), _engages),
            Case("help is withheld", _doubted, _withholds),
        ),
    ),
    Joining(
        "Controller._target_mv",
        "controller",
        RUN,
        (
            Case("nothing is allowed", lambda call: equal(_allowed_w(call), 0), _rests),
            Case("some watts are allowed", lambda call: unequal(_allowed_w(call), 0), _aims),
        ),
    ),
    Joining("Controller.step", "controller", RUN, (always(_steps),)),
)
