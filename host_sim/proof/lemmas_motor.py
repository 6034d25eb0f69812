"""Lemmas about the motor model: every intermediate value fits, every prediction stays in its range."""

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
from host_sim.proof.domain import COMMAND_MAX_MV, SPEED_MAX_MM_PER_S, any_setting
from host_sim.proof.numbers import Numbers

LATE_MAX_MM_PER_S = 4_898  # Of any wheel; see `derived_wheel_numbers`.
CURRENT_MAX_MA = 200_000
MODEL_POWER_MAX_W = 20_000
LEARNED_SUM = (LEARNED_LOW << LEARNED_SHIFT, (LEARNED_HIGH + 1 << LEARNED_SHIFT) - 1)
FURTHEST_MV = 131_000  # The highest back-EMF, plus three tenths and a volt.


def any_model(ex: Numbers, kind: int) -> MotorModel:
    """Return the model of a known motor with any legal settings, in any state that its invariant allows."""
    model = MotorModel(Settings({"motor_kind": kind}))
    start_mv = any_setting(ex, "command_start_mv")
    highest_mv = any_setting(ex, "command_max_mv")
    ex.assume(start_mv < highest_mv)
    model._start_mv = start_mv
    model._span_mv = ex.integer("span", 1, COMMAND_MAX_MV)
    ex.assume(model._span_mv == highest_mv - start_mv)
    model._emf_mv_per_m_per_s = any_setting(ex, "back_emf_mv_per_m_per_s")
    model._resistance_mohm = any_setting(ex, "motor_resistance_mohm")
    model._current_limit_ma = any_setting(ex, "motor_current_limit_ma")
    model._battery_limit_ma = any_setting(ex, "battery_current_limit_ma")
    model._lagged = ex.integer("lagged", 0, 4 * COMMAND_MAX_MV)
    model._lagged_twice = ex.integer("lagged_twice", 0, 4 * COMMAND_MAX_MV)
    model.learned_permille = ex.integer("learned", LEARNED_LOW, LEARNED_HIGH)
    model.battery_mv = ex.integer("battery", 0, READING_MAX)
    model.current_ma = ex.integer("current", 0, CURRENT_MAX_MA)
    model._ceiling_ma = ex.integer("ceiling_current", 0, CURRENT_MAX_MA)
    ex.assume(model._ceiling_ma <= model._current_limit_ma)
    model.back_emf_mv = ex.integer("back_emf", 0, VOLTAGE_MAX_MV)
    return model


def _within(ex: Numbers, value: int, highest: int, what: str) -> None:
    ex.check(value >= 0, what + " is not negative")
    ex.check(value <= highest, what + " stays in its range")


def motor_lags(ex: Numbers) -> None:
    """Any command through the two lags, which never overshoot what they follow."""
    model = any_model(ex, MOTOR_SPEED)
    highest_mv = model._start_mv + model._span_mv
    ex.assume(model._lagged <= 4 * highest_mv)
    ex.assume(model._lagged_twice <= 4 * highest_mv)
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    ex.assume(command_mv <= highest_mv)
    model._follow(command_mv)
    ex.check(model._lagged >= 0, "the command that the power stage follows is not negative")
    ex.check(model._lagged <= 4 * highest_mv, "nor above the highest command")
    ex.check(model._lagged_twice >= 0, "the command that the measurement follows is not negative")
    ex.check(model._lagged_twice <= 4 * highest_mv, "nor above the highest command")
    ex.outcome(lagged=model._lagged, twice=model._lagged_twice)


def _take_wheel(ex: Numbers, kind: int) -> None:
    model = any_model(ex, kind)
    model._take_wheel(ex.integer("speed", 0, SPEED_MAX_MM_PER_S), ex.integer("late", 0, LATE_MAX_MM_PER_S))
    _within(ex, model.plain_emf_mv, VOLTAGE_MAX_MV, "the back-EMF before anything was learned")
    _within(ex, model.back_emf_mv, VOLTAGE_MAX_MV, "the back-EMF")
    _within(ex, model.lowest_emf_mv, VOLTAGE_MAX_MV, "the lowest back-EMF")
    _within(ex, model.highest_emf_mv, VOLTAGE_MAX_MV, "the highest back-EMF")
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


def motor_newton(ex: Numbers) -> None:
    """A step of Newton's method from any current, at any back-EMF, to any power."""
    model = any_model(ex, MOTOR_SPEED)
    _within(ex, model._drop_mv(model.current_ma), VOLTAGE_MAX_MV, "the drop in the winding")
    nearer_ma = model._nearer_ma(model.current_ma, ex.integer("power", 0, POWER_MAX_W))
    ex.check(nearer_ma >= 0, "the current is not negative")
    ex.check(nearer_ma <= model._current_limit_ma, "the current is at most the limit")
    ex.outcome(nearer=nearer_ma)


def motor_voltage(ex: Numbers) -> None:
    """What the speed kind must be doing, at any lagged command and any power."""
    model = any_model(ex, MOTOR_SPEED)
    over_mv = ex.integer("over", 0, COMMAND_MAX_MV)
    ex.assume(over_mv <= model._span_mv)
    model._predict_speed_kind(over_mv, ex.integer("power", 0, POWER_MAX_W))
    ex.check(model.motor_mv >= 0, "the voltage at the motor is not negative")
    ex.check(model.motor_mv <= model.battery_mv, "nor above the battery's")
    ex.check(model.current_ma <= model._current_limit_ma, "the current is at most the limit")
    _within(ex, model.drop_mv, VOLTAGE_MAX_MV, "the drop in the winding")
    ex.outcome(voltage=model.motor_mv, current=model.current_ma, drop=model.drop_mv)


def motor_power(ex: Numbers) -> None:
    """What the torque kind must be doing, at any lagged command and any range of back-EMF."""
    model = any_model(ex, MOTOR_TORQUE)
    model.lowest_emf_mv = ex.integer("lowest", 0, VOLTAGE_MAX_MV)
    model.highest_emf_mv = ex.integer("highest", 0, VOLTAGE_MAX_MV)
    over_mv = ex.integer("over", 0, COMMAND_MAX_MV)
    ex.assume(over_mv <= model._span_mv)
    model._predict_torque_kind(over_mv)
    ex.check(model.current_ma >= 0, "the current is not negative")
    ex.check(model.current_ma <= model._current_limit_ma, "the current is at most the limit")
    _within(ex, model._plain_w, MODEL_POWER_MAX_W, "the power before anything was learned")
    _within(ex, model.least_w, POWER_MAX_W * 5 // 4, "the least power")
    _within(ex, model.most_w, MODEL_POWER_MAX_W * 5 // 4, "the most power")
    ex.outcome(current=model.current_ma, least=model.least_w, most=model.most_w)


def motor_limited(ex: Numbers) -> None:
    """Whether a limit is reached, at any current and any power."""
    model = any_model(ex, MOTOR_TORQUE)
    power_w = ex.integer("power", 0, POWER_MAX_W)
    limited = model.limited(power_w)
    if not limited:
        ex.check(model.current_ma < model._current_limit_ma, "at the current limit the motor is limited")
    ex.outcome(limited=limited)


def _learn(ex: Numbers, kind: int) -> None:
    model = any_model(ex, kind)
    model._learned = ex.integer("learned_sum", LEARNED_SUM[0], LEARNED_SUM[1])
    ex.assume(model.learned_permille == model._learned >> LEARNED_SHIFT)
    model.plain_emf_mv = ex.integer("plain_emf", 0, VOLTAGE_MAX_MV)
    model.motor_mv = ex.integer("motor", 0, VOLTAGE_MAX_MV)
    model.drop_mv = ex.integer("drop", 0, VOLTAGE_MAX_MV)
    model._plain_w = ex.integer("plain", 0, MODEL_POWER_MAX_W)
    before = model.learned_permille
    model.learn(ex.integer("power", 0, POWER_MAX_W))
    ex.check(model.learned_permille >= LEARNED_LOW, "what is learned is at least three quarters")
    ex.check(model.learned_permille <= LEARNED_HIGH, "what is learned is at most five quarters")
    ex.check(model._learned >= LEARNED_SUM[0], "its sum is bounded below")
    ex.check(model._learned <= LEARNED_SUM[1], "its sum is bounded above")
    ex.check(model.learned_permille - before <= 1, "a step learns at most a permille more")
    ex.check(before - model.learned_permille <= 1, "a step learns at most a permille less")
    ex.outcome(learned=model.learned_permille, sum=model._learned)


def motor_learn_torque(ex: Numbers) -> None:
    """Learning from any power on the torque kind."""
    _learn(ex, MOTOR_TORQUE)


def motor_learn_speed(ex: Numbers) -> None:
    """Learning from any voltage on the speed kind."""
    _learn(ex, MOTOR_SPEED)


def motor_command_for(ex: Numbers) -> None:
    """Any voltage as a command, any battery."""
    model = any_model(ex, MOTOR_SPEED)
    voltage_mv = ex.integer("voltage", 0, FURTHEST_MV)
    command_mv = model.command_for(voltage_mv)
    battery_cv = model.battery_mv // 10
    set_cv = voltage_mv // 10 if voltage_mv < model.battery_mv else battery_cv
    ex.show(set_cv <= battery_cv, "no more is set than the battery has")
    if battery_cv > 0:
        above, whole = ex.wide(set_cv) * model._span_mv, ex.wide(battery_cv) * model._span_mv
        ex.show(above <= whole, "nor is its share of the span more than the whole")
        ex.show(above // battery_cv <= model._span_mv, "so the span is not left")
    ex.check(command_mv >= model._start_mv, "the command for a voltage is not in the dead band")
    ex.check(command_mv <= model._start_mv + model._span_mv, "nor above the highest command")
    ex.outcome(command=command_mv)


def motor_changes(ex: Numbers) -> None:
    """Any change of voltage as one of the command, and the command that meets the back-EMF."""
    model = any_model(ex, MOTOR_SPEED)
    highest_mv = model._start_mv + model._span_mv
    ex.assume(model._lagged <= 4 * highest_mv)
    model.motor_mv = ex.integer("motor", 0, VOLTAGE_MAX_MV)
    change_uv = model.command_change_uv(ex.integer("change", -125_000, 125_000))
    ex.check(change_uv >= -COMMAND_MAX_UV, "a change is bounded below")
    ex.check(change_uv <= COMMAND_MAX_UV, "a change is bounded above")
    found_mv = model.found_emf_mv(ex.integer("reading", 0, CURRENT_MAX_MA))
    ex.check(found_mv >= model._start_mv, "the command that meets the back-EMF is not in the dead band")
    ex.check(found_mv <= highest_mv, "nor above the highest command")
    ex.outcome(change=change_uv, found=found_mv)


def motor_ceiling(ex: Numbers) -> None:
    """The highest command for any allowed watts, from any current of an earlier call."""
    model = any_model(ex, MOTOR_TORQUE)
    highest_mv = model._start_mv + model._span_mv
    before_ma = model._ceiling_ma
    ceiling_mv = model.ceiling_mv(ex.integer("allowed", 1, 1500))
    ex.check(model._ceiling_ma >= 0, "the current of the ceiling is not negative")
    ex.show(model._ceiling_ma <= model._current_limit_ma, "the current of the ceiling is at most the limit")
    ex.check(ceiling_mv >= model._start_mv, "the ceiling is not in the dead band")
    ex.check(ceiling_mv <= highest_mv, "the ceiling is not above the highest command")
    ex.outcome(ceiling=ceiling_mv, current=model._ceiling_ma, before=before_ma)


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
    ex.check(model.current_ma <= model._current_limit_ma, "the current is at most the limit")
    ex.outcome(current=model.current_ma, voltage=model.motor_mv, most=model.most_w)


def motor_newton_above(ex: Numbers) -> None:
    """A step of Newton's method from any current falls short of the wanted power by less than 6 W.

    Without roundings E I' + R I'^2 - P = R (I' - I)^2, which is never negative.
    """
    model = MotorModel(Settings({"motor_kind": MOTOR_TORQUE}))
    model._resistance_mohm = any_setting(ex, "motor_resistance_mohm")
    model._current_limit_ma = CURRENT_MAX_MA
    model.back_emf_mv = ex.integer("back_emf", 0, VOLTAGE_MAX_MV)
    from_ma = ex.integer("from", 0, CURRENT_MAX_MA)
    wanted_w = ex.integer("wanted", 0, 1650)
    drop_mv = model._drop_mv(from_ma)
    ex.assume(drop_mv < VOLTAGE_MAX_MV)
    nearer_ma = model._nearer_ma(from_ma, wanted_w)
    ex.assume(nearer_ma < CURRENT_MAX_MA)
    total_w = wanted_w + drop_mv // 10 * (from_ma // 10) // 10_000
    ex.assume(total_w < POWER_MAX_W)
    slope_mv = model.back_emf_mv + 2 * drop_mv
    ex.assume(slope_mv >= 10)
    resistance_mohm, drop_mv, from_ma = ex.wide(model._resistance_mohm), ex.wide(drop_mv), ex.wide(from_ma)
    nearer_ma, slope_mv, back_emf_mv = ex.wide(nearer_ma), ex.wide(slope_mv), ex.wide(model.back_emf_mv)
    ex.show((nearer_ma + 1) * (slope_mv // 10) > ex.wide(total_w) * 100_000, "the quotient is rounded down")
    ex.show((nearer_ma + 1) * slope_mv >= (nearer_ma + 1) * (slope_mv // 10) * 10, "so is its divisor")
    given = drop_mv * from_ma - 9 * drop_mv - 9 * from_ma
    ex.show(ex.wide(drop_mv // 10) * (from_ma // 10) * 100 >= given, "so is the product")
    ex.show(
        ex.wide(total_w) * 1_000_000 >= ex.wide(wanted_w) * 1_000_000 + given - 1_000_000, "so is the power"
    )
    ex.show(resistance_mohm * from_ma < (drop_mv + 1) * 1000, "so is the drop")
    ex.show(resistance_mohm * from_ma >= drop_mv * 1000, "so is the drop")
    away_ma = nearer_ma - from_ma
    ex.show(resistance_mohm * away_ma * away_ma >= 0, "a square is not negative")
    ex.show(
        resistance_mohm * from_ma * from_ma <= (drop_mv + 1) * 1000 * from_ma, "the drop times the current"
    )
    ex.show(resistance_mohm * from_ma * nearer_ma >= drop_mv * 1000 * nearer_ma, "and times the next one")
    power_nw = back_emf_mv * nearer_ma * 1000 + resistance_mohm * nearer_ma * nearer_ma
    ex.check(power_nw >= (ex.wide(wanted_w) - 6) * 1_000_000_000, "the next current draws the wanted power")
    ex.outcome(nearer=nearer_ma)
