"""Steps of the motor model: every intermediate value fits, every prediction stays in its range."""

from firmware.sense.motor_model import (
    COMMAND_MAX_UV,
    LEARNED_HIGH,
    LEARNED_LOW,
    LEARNED_SHIFT,
    POWER_MAX_W,
    VOLTAGE_MAX_MV,
    MotorModel,
)
from firmware.sense.rotation import Wheel
from firmware.sense.supply import READING_MAX, Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, Settings
from host_sim.proof.domain import COMMAND_MAX_MV, SPEED_MAX_MM_PER_S
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_motor import CURRENT_MAX_MA, any_model, within
from host_sim.proof.numbers import Numbers

LATE_MAX_MM_PER_S = 4_898  # Of any wheel; see `derived_wheel_numbers`.
MODEL_POWER_MAX_W = 20_000
LEARNED_SUM = (LEARNED_LOW << LEARNED_SHIFT, (LEARNED_HIGH + 1 << LEARNED_SHIFT) - 1)
FURTHEST_MV = 131_000  # The highest back-EMF, plus three tenths and a volt.


def motor_lags(ex: Numbers) -> None:
    """Any command through the two lags, which never overshoot what they follow."""
    model = any_model(ex, MOTOR_SPEED)
    inner = Inside(model)
    highest_mv = inner.start_mv + inner.span_mv
    ex.assume(inner.lagged <= 4 * highest_mv)
    ex.assume(inner.lagged_twice <= 4 * highest_mv)
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    ex.assume(command_mv <= highest_mv)
    inner.follow(command_mv)
    ex.check(inner.lagged >= 0, "the command that the power stage follows is not negative")
    ex.check(inner.lagged <= 4 * highest_mv, "nor above the highest command")
    ex.check(inner.lagged_twice >= 0, "the command that the measurement follows is not negative")
    ex.check(inner.lagged_twice <= 4 * highest_mv, "nor above the highest command")
    ex.outcome(lagged=inner.lagged, twice=inner.lagged_twice)


def _take_wheel(ex: Numbers, kind: int) -> None:
    model = any_model(ex, kind)
    speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    Inside(model).take_wheel(speed_mm_per_s, ex.integer("late", 0, LATE_MAX_MM_PER_S))
    within(ex, model.plain_emf_mv, VOLTAGE_MAX_MV, "the back-EMF before anything was learned")
    within(ex, model.back_emf_mv, VOLTAGE_MAX_MV, "the back-EMF")
    within(ex, model.lowest_emf_mv, VOLTAGE_MAX_MV, "the lowest back-EMF")
    within(ex, model.highest_emf_mv, VOLTAGE_MAX_MV, "the highest back-EMF")
    ex.check(model.lowest_emf_mv <= model.back_emf_mv, "the lowest back-EMF is no higher than the back-EMF")
    ex.check(model.highest_emf_mv >= model.back_emf_mv, "the highest back-EMF is no lower than the back-EMF")
    if kind == MOTOR_TORQUE:
        ex.check(model.back_emf_mv == model.plain_emf_mv, "the torque kind learns no back-EMF")
    ex.outcome(emf=model.back_emf_mv, lowest=model.lowest_emf_mv, highest=model.highest_emf_mv)


def motor_emf_torque(ex: Numbers) -> None:
    """Any speed, and how late it may be, as back-EMF of the torque kind."""
    _take_wheel(ex, MOTOR_TORQUE)


def motor_emf_speed(ex: Numbers) -> None:
    """Any speed, and how late it may be, as back-EMF of the speed kind."""
    _take_wheel(ex, MOTOR_SPEED)


def motor_voltage(ex: Numbers) -> None:
    """What the speed kind must be doing, at any lagged command and any power."""
    model = any_model(ex, MOTOR_SPEED)
    inner = Inside(model)
    over_mv = ex.integer("over", 0, COMMAND_MAX_MV)
    ex.assume(over_mv <= inner.span_mv)
    inner.predict_speed_kind(over_mv, ex.integer("power", 0, POWER_MAX_W))
    ex.check(model.motor_mv >= 0, "the voltage at the motor is not negative")
    ex.check(model.motor_mv <= model.battery_mv, "nor above the battery's")
    ex.check(model.current_ma <= inner.current_limit_ma, "the current is at most the limit")
    within(ex, model.drop_mv, VOLTAGE_MAX_MV, "the drop in the winding")
    ex.outcome(voltage=model.motor_mv, current=model.current_ma, drop=model.drop_mv)


def motor_power(ex: Numbers) -> None:
    """What the torque kind must be doing, at any lagged command and any range of back-EMF."""
    model = any_model(ex, MOTOR_TORQUE)
    inner = Inside(model)
    model.lowest_emf_mv = ex.integer("lowest", 0, VOLTAGE_MAX_MV)
    model.highest_emf_mv = ex.integer("highest", 0, VOLTAGE_MAX_MV)
    over_mv = ex.integer("over", 0, COMMAND_MAX_MV)
    ex.assume(over_mv <= inner.span_mv)
    inner.predict_torque_kind(over_mv)
    ex.check(model.current_ma >= 0, "the current is not negative")
    ex.check(model.current_ma <= inner.current_limit_ma, "the current is at most the limit")
    within(ex, inner.plain_w, MODEL_POWER_MAX_W, "the power before anything was learned")
    within(ex, model.least_w, POWER_MAX_W * 5 // 4, "the least power")
    within(ex, model.most_w, MODEL_POWER_MAX_W * 5 // 4, "the most power")
    ex.outcome(current=model.current_ma, least=model.least_w, most=model.most_w)


def motor_limited(ex: Numbers) -> None:
    """Whether a limit is reached, at any current and any power."""
    model = any_model(ex, MOTOR_TORQUE)
    power_w = ex.integer("power", 0, POWER_MAX_W)
    limited = model.limited(power_w)
    if not limited:
        ex.check(
            model.current_ma < Inside(model).current_limit_ma, "at the current limit the motor is limited"
        )
    ex.outcome(limited=limited)


def _learn(ex: Numbers, kind: int) -> None:
    model = any_model(ex, kind)
    inner = Inside(model)
    inner.learned = ex.integer("learned_sum", LEARNED_SUM[0], LEARNED_SUM[1])
    ex.assume(model.learned_permille == inner.learned >> LEARNED_SHIFT)
    model.plain_emf_mv = ex.integer("plain_emf", 0, VOLTAGE_MAX_MV)
    model.motor_mv = ex.integer("motor", 0, VOLTAGE_MAX_MV)
    model.drop_mv = ex.integer("drop", 0, VOLTAGE_MAX_MV)
    inner.plain_w = ex.integer("plain", 0, MODEL_POWER_MAX_W)
    before = model.learned_permille
    model.learn(ex.integer("power", 0, POWER_MAX_W))
    ex.check(model.learned_permille >= LEARNED_LOW, "what is learned is at least three quarters")
    ex.check(model.learned_permille <= LEARNED_HIGH, "what is learned is at most five quarters")
    ex.check(inner.learned >= LEARNED_SUM[0], "its sum is bounded below")
    ex.check(inner.learned <= LEARNED_SUM[1], "its sum is bounded above")
    ex.check(model.learned_permille - before <= 1, "a step learns at most a permille more")
    ex.check(before - model.learned_permille <= 1, "a step learns at most a permille less")
    ex.outcome(learned=model.learned_permille, sum=inner.learned)


def motor_learn_torque(ex: Numbers) -> None:
    """Learning from any power on the torque kind."""
    _learn(ex, MOTOR_TORQUE)


def motor_learn_speed(ex: Numbers) -> None:
    """Learning from any voltage on the speed kind."""
    _learn(ex, MOTOR_SPEED)


def motor_command_for(ex: Numbers) -> None:
    """Any voltage as a command, any battery."""
    model = any_model(ex, MOTOR_SPEED)
    inner = Inside(model)
    voltage_mv = ex.integer("voltage", 0, FURTHEST_MV)
    command_mv = model.command_for(voltage_mv)
    battery_cv = model.battery_mv // 10
    set_cv = voltage_mv // 10 if voltage_mv < model.battery_mv else battery_cv
    ex.show(set_cv <= battery_cv, "no more is set than the battery has")
    if battery_cv > 0:
        above, whole = ex.wide(set_cv) * inner.span_mv, ex.wide(battery_cv) * inner.span_mv
        ex.show(above <= whole, "nor is its share of the span more than the whole")
        ex.show(above // battery_cv <= inner.span_mv, "so the span is not left")
    ex.check(command_mv >= inner.start_mv, "the command for a voltage is not in the dead band")
    ex.check(command_mv <= inner.start_mv + inner.span_mv, "nor above the highest command")
    ex.outcome(command=command_mv)


def motor_changes(ex: Numbers) -> None:
    """Any change of voltage as one of the command, and the command that meets the back-EMF."""
    model = any_model(ex, MOTOR_SPEED)
    inner = Inside(model)
    highest_mv = inner.start_mv + inner.span_mv
    ex.assume(inner.lagged <= 4 * highest_mv)
    model.motor_mv = ex.integer("motor", 0, VOLTAGE_MAX_MV)
    change_uv = model.command_change_uv(ex.integer("change", -125_000, 125_000))
    ex.check(change_uv >= -COMMAND_MAX_UV, "a change is bounded below")
    ex.check(change_uv <= COMMAND_MAX_UV, "a change is bounded above")
    found_mv = model.found_emf_mv(ex.integer("reading", 0, CURRENT_MAX_MA))
    ex.check(found_mv >= inner.start_mv, "the command that meets the back-EMF is not in the dead band")
    ex.check(found_mv <= highest_mv, "nor above the highest command")
    ex.outcome(change=change_uv, found=found_mv)


def motor_ceiling(ex: Numbers) -> None:
    """The highest command for any allowed watts, from any current of an earlier call."""
    model = any_model(ex, MOTOR_TORQUE)
    inner = Inside(model)
    highest_mv = inner.start_mv + inner.span_mv
    before_ma = inner.ceiling_ma
    ceiling_mv = model.ceiling_mv(ex.integer("allowed", 1, 1500))
    ex.check(inner.ceiling_ma >= 0, "the current of the ceiling is not negative")
    ex.show(inner.ceiling_ma <= inner.current_limit_ma, "the current of the ceiling is at most the limit")
    ex.check(ceiling_mv >= inner.start_mv, "the ceiling is not in the dead band")
    ex.check(ceiling_mv <= highest_mv, "the ceiling is not above the highest command")
    ex.outcome(ceiling=ceiling_mv, current=inner.ceiling_ma, before=before_ma)


def motor_step(ex: Numbers) -> None:
    """One whole step of both kinds, at rest and at any speed, with the default settings."""
    kind = MOTOR_SPEED if ex.boolean("speed_kind") else MOTOR_TORQUE
    model = MotorModel(Settings({"motor_kind": kind}))
    wheel, supply = Wheel(2_100, 1), Supply()
    wheel.speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    wheel.late_mm_per_s = ex.integer("late", 0, LATE_MAX_MM_PER_S)
    supply.battery_mv = ex.integer("battery", 0, READING_MAX)
    supply.power_w = ex.integer("power", 0, POWER_MAX_W)
    model.step(ex.integer("command", 0, COMMAND_MAX_MV), wheel, supply)
    ex.check(model.battery_mv == supply.battery_mv, "the model takes the smoothed battery voltage")
    ex.check(model.current_ma <= Inside(model).current_limit_ma, "the current is at most the limit")
    ex.outcome(current=model.current_ma, voltage=model.motor_mv, most=model.most_w)
