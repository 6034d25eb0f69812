"""Exact contracts of the motor model: its law in whole millivolts, milliamperes and watts."""

from typing import Any

from host_sim.proof.whole.contract import READING, Call, Claims
from host_sim.proof.whole.exact import becomes, exact, gives, setting
from host_sim.proof.whole.exact_sense import knows_the_motor, within
from host_sim.proof.whole.ranges import MODEL
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

MODULE = "sense.motor_model"
HIGHEST_MV, HIGHEST_W, CEILING_LEAST_W = 100_000, 10_000, 20
LEARNED = (750, 1_250)


def is_speed_kind(call: Call) -> Any:
    """Tell whether the motor controller sets a voltage."""
    return equal(setting(call, "motor_kind"), 2)


def span_mv(call: Call) -> Any:
    """Return the range of the command above the dead band."""
    return subtract(setting(call, "command_max_mv"), setting(call, "command_start_mv"))


def share(value: Any, factor: Any, divisor: Any) -> Any:
    """Return a value times a factor by a divisor, rounded down."""
    return divide(multiply(value, factor), divisor)


def drop_mv(call: Call, current_ma: Any) -> Any:
    """Return what a current drops in the winding."""
    return minimum(share(setting(call, "motor_resistance_mohm"), current_ma, 1_000), HIGHEST_MV)


def nearer_ma(call: Call, current_ma: Any, power_w: Any, emf_mv: Any) -> Any:
    """Return a step of Newton's method for E I + R I^2 = P."""
    drop = drop_mv(call, current_ma)
    lost_w = divide(multiply(divide(drop, 10), divide(current_ma, 10)), 10_000)
    total_w = minimum(add(power_w, lost_w), HIGHEST_W)
    slope_mv = add(emf_mv, multiply(drop, 2))
    return minimum(
        divide(multiply(total_w, 100_000), maximum(divide(slope_mv, 10), 1)),
        setting(call, "motor_current_limit_ma"),
    )


def battery_limit_w(call: Call, battery_mv: Any) -> Any:
    """Return the power at the battery current's limit."""
    return divide(multiply(divide(battery_mv, 10), setting(call, "battery_current_limit_ma")), 100_000)


def _power_w(call: Call, battery_mv: Any, current_ma: Any, emf_mv: Any, limiting_emf_mv: Any) -> Any:
    left_mv = maximum(subtract(battery_mv, limiting_emf_mv), 0)
    flows_ma = minimum(current_ma, share(left_mv, 1_000, setting(call, "motor_resistance_mohm")))
    volts_mv = minimum(add(emf_mv, drop_mv(call, flows_ma)), HIGHEST_MV)
    return divide(multiply(divide(volts_mv, 10), divide(flows_ma, 10)), 10_000)


def _lagged(call: Call) -> tuple[Any, Any]:
    """Return the command after the lags of the power stage and of the measurement, times 4."""
    once, twice = call.of("_lagged"), call.of("_lagged_twice")
    once = add(once, divide(subtract(multiply(call.of("command_mv"), 4), once), 4))
    return once, add(twice, divide(subtract(once, twice), 4))


def _emf(call: Call) -> dict[str, Any]:
    emf = setting(call, "back_emf_mv_per_m_per_s")
    plain_mv = minimum(share(emf, call.of("wheel.speed_mm_per_s"), 1_000), HIGHEST_MV)
    late_mv = minimum(share(emf, call.of("wheel.late_mm_per_s"), 1_000), HIGHEST_MV)
    learned_mv = minimum(share(plain_mv, call.of("learned_permille"), 1_000), HIGHEST_MV)
    back_mv = choose(is_speed_kind(call), learned_mv, plain_mv)
    return {
        "plain_emf_mv": plain_mv,
        "back_emf_mv": back_mv,
        "lowest_emf_mv": maximum(subtract(back_mv, late_mv), 0),
        "highest_emf_mv": minimum(add(back_mv, late_mv), HIGHEST_MV),
    }


def _step(call: Call) -> Claims:
    """Everything that a step brings up to date, for a motor of either kind."""
    once, twice = _lagged(call)
    battery_mv, emf = call.of("supply.battery_mv"), _emf(call)
    over_mv = within(subtract(divide(twice, 4), setting(call, "command_start_mv")), 0, span_mv(call))
    speed = is_speed_kind(call)
    of_speed = _of_speed_kind(call, battery_mv, over_mv, emf["back_emf_mv"])
    of_torque = _of_torque_kind(call, battery_mv, over_mv, emf)
    values = {
        name: choose(speed, of_speed.get(name, call.of(name)), of_torque.get(name, call.of(name)))
        for name in {**of_speed, **of_torque}
    }
    values |= {**emf, "_lagged": once, "_lagged_twice": twice, "battery_mv": battery_mv}
    known = knows_the_motor(call)
    return becomes(call, **{name: choose(known, value, call.of(name)) for name, value in values.items()})


def _of_speed_kind(call: Call, battery_mv: Any, over_mv: Any, emf_mv: Any) -> dict[str, Any]:
    current_ma = nearer_ma(call, call.of("current_ma"), call.of("supply.power_w"), emf_mv)
    return {
        "motor_mv": divide(multiply(multiply(divide(battery_mv, 10), over_mv), 10), span_mv(call)),
        "current_ma": current_ma,
        "drop_mv": drop_mv(call, current_ma),
    }


def _of_torque_kind(call: Call, battery_mv: Any, over_mv: Any, emf: dict[str, Any]) -> dict[str, Any]:
    current_ma = share(setting(call, "motor_current_limit_ma"), over_mv, span_mv(call))
    lowest, highest = emf["lowest_emf_mv"], emf["highest_emf_mv"]
    least_w = _power_w(call, battery_mv, current_ma, lowest, share(highest, 5, 4))
    most_w = _power_w(call, battery_mv, current_ma, highest, share(lowest, 4, 5))
    learned = call.of("learned_permille")
    return {
        "current_ma": current_ma,
        "_plain_w": _power_w(call, battery_mv, current_ma, emf["back_emf_mv"], emf["back_emf_mv"]),
        "least_w": share(minimum(least_w, battery_limit_w(call, battery_mv)), learned, 1_000),
        "most_w": share(most_w, learned, 1_000),
    }


def found_mv(call: Call, path: str, current_ma: Any) -> Any:
    """Return the command that meets the back-EMF, from a battery current that flows."""
    followed_mv = divide(call.of(f"{path}_lagged"), 4)
    lost_mv = share(drop_mv(call, current_ma), span_mv(call), maximum(call.of(f"{path}motor_mv"), 1_000))
    return maximum(subtract(followed_mv, lost_mv), setting(call, "command_start_mv"))


def learned_values(call: Call, path: str, power_w: Any) -> tuple[Any, Any]:
    """Return the learned factor, times 512 and as it is used, after the model has learned once."""
    of_speed = divide(
        multiply(subtract(call.of(f"{path}motor_mv"), call.of(f"{path}drop_mv")), 1_000),
        maximum(call.of(f"{path}plain_emf_mv"), 1),
    )
    of_torque = share(power_w, 1_000, maximum(call.of(f"{path}_plain_w"), 1))
    found = choose(is_speed_kind(call), of_speed, of_torque)
    known, total = call.of(f"{path}learned_permille"), call.of(f"{path}_learned")
    near = at_most(absolute(subtract(found, known)), divide(known, 4))
    learned = add(total, subtract(within(found, *LEARNED), divide(total, 512)))
    return choose(near, learned, total), choose(near, divide(learned, 512), known)


def _learn(call: Call) -> Claims:
    total, permille = learned_values(call, "", call.of("power_w"))
    return becomes(call, _learned=total, learned_permille=permille)


def command_for(call: Call, path: str, voltage_mv: Any) -> Any:
    """Return the command that sets a voltage at the motor."""
    start_mv, battery_mv = setting(call, "command_start_mv"), call.of(f"{path}battery_mv")
    over_mv = share(divide(minimum(voltage_mv, battery_mv), 10), span_mv(call), divide(battery_mv, 10))
    return choose(less(battery_mv, 10), start_mv, add(start_mv, over_mv))


def change_uv(call: Call, path: str, voltage_mv: Any) -> Any:
    """Return a change of voltage at the motor as one of the command."""
    volts = maximum(divide(call.of(f"{path}battery_mv"), 1_000), 1)
    return within(share(voltage_mv, span_mv(call), volts), -5_000_000, 5_000_000)


def ceiling(call: Call, path: str) -> tuple[Any, Any]:
    """Return the highest command for `allowed_w`, and the current of the ceiling."""
    allowed_w, start_mv = call.of("allowed_w"), setting(call, "command_start_mv")
    wanted_w = add(allowed_w, maximum(divide(allowed_w, 10), CEILING_LEAST_W))
    wanted_w = share(wanted_w, 1_000, maximum(call.of(f"{path}learned_permille"), 1_000))
    before_ma = call.of(f"{path}_ceiling_ma")
    current_ma = nearer_ma(call, before_ma, wanted_w, call.of(f"{path}back_emf_mv"))
    torque = both(knows_the_motor(call), negate(is_speed_kind(call)))
    of_current_mv = share(current_ma, span_mv(call), setting(call, "motor_current_limit_ma"))
    highest_mv = add(start_mv, choose(torque, of_current_mv, span_mv(call)))
    return highest_mv, choose(torque, current_ma, before_ma)


def _ceiling(call: Call) -> Claims:
    highest_mv, current_ma = ceiling(call, "")
    return [*gives(call, highest_mv), *becomes(call, _ceiling_ma=current_ma)]


def limited(call: Call, path: str, power_w: Any) -> Any:
    """Tell whether a limit, taken a fifth nearer, or the battery voltage may hold the power back."""
    left_mv = maximum(subtract(call.of(f"{path}battery_mv"), share(call.of(f"{path}back_emf_mv"), 5, 4)), 0)
    current_ma = call.of(f"{path}current_ma")
    starved = less(share(left_mv, 1_000, setting(call, "motor_resistance_mohm")), current_ma)
    by_motor = at_least(current_ma, multiply(divide(setting(call, "motor_current_limit_ma"), 5), 4))
    limit_w = battery_limit_w(call, call.of(f"{path}battery_mv"))
    by_battery = at_least(power_w, multiply(divide(limit_w, 5), 4))
    return either(both(negate(is_speed_kind(call)), starved), either(by_motor, by_battery))


CHANGED = tuple(
    name for name in (path.removeprefix("motor_model.") for path in MODEL)
    if name not in ("_ceiling_ma", "_learned", "learned_permille")
)  # fmt: skip
EXACT_MOTOR = (
    exact(
        "MotorModel.step",
        MODULE,
        {"command_mv": (0, 5_000), "wheel": "wheel", "supply": "supply"},
        CHANGED,
        _step,
    ),
    exact(
        "MotorModel.found_emf_mv",
        MODULE,
        {"current_ma": READING},
        (),
        lambda call: gives(call, found_mv(call, "", call.of("current_ma"))),
    ),
    exact("MotorModel.learn", MODULE, {"power_w": (0, 10_000)}, ("_learned", "learned_permille"), _learn),
    exact(
        "MotorModel.command_for",
        MODULE,
        {"voltage_mv": (0, 200_000)},
        (),
        lambda call: gives(call, command_for(call, "", call.of("voltage_mv"))),
    ),
    exact(
        "MotorModel.command_change_uv",
        MODULE,
        {"voltage_mv": (-125_000, 125_000)},
        (),
        lambda call: gives(call, change_uv(call, "", call.of("voltage_mv"))),
    ),
    exact("MotorModel.ceiling_mv", MODULE, {"allowed_w": (1, 1_500)}, ("_ceiling_ma",), _ceiling),
    exact(
        "MotorModel.limited",
        MODULE,
        {"power_w": (0, 10_000)},
        (),
        lambda call: gives(call, limited(call, "", call.of("power_w"))),
    ),
)
