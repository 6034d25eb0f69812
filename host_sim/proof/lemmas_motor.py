"""Lemmas about the motor model and what seeks with it: Newton's method, the search for the back-EMF."""

from firmware.drive.feed_forward import FIRST_CURRENT_MA, FeedForward
from firmware.records import Inputs
from firmware.sense.motor_model import (
    LEARNED_HIGH,
    LEARNED_LOW,
    POWER_MAX_W,
    VOLTAGE_MAX_MV,
    MotorModel,
)
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import SAG_MV, ShuntWatch
from firmware.sense.supply import READING_MAX, Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, Settings
from host_sim.proof.domain import COMMAND_MAX_MV, READING_HIGH, READING_LOW, any_setting
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers

CURRENT_MAX_MA = 200_000


def any_model(ex: Numbers, kind: int) -> MotorModel:
    """Return the model of a known motor with any legal settings, in any state that its invariant allows."""
    model = MotorModel(Settings({"motor_kind": kind}))
    inner = Inside(model)
    start_mv = any_setting(ex, "command_start_mv")
    highest_mv = any_setting(ex, "command_max_mv")
    ex.assume(start_mv < highest_mv)
    inner.start_mv = start_mv
    inner.span_mv = ex.integer("span", 1, COMMAND_MAX_MV)
    ex.assume(inner.span_mv == highest_mv - start_mv)
    inner.emf_mv_per_m_per_s = any_setting(ex, "back_emf_mv_per_m_per_s")
    inner.resistance_mohm = any_setting(ex, "motor_resistance_mohm")
    inner.current_limit_ma = any_setting(ex, "motor_current_limit_ma")
    inner.battery_limit_ma = any_setting(ex, "battery_current_limit_ma")
    inner.lagged = ex.integer("lagged", 0, 4 * COMMAND_MAX_MV)
    inner.lagged_twice = ex.integer("lagged_twice", 0, 4 * COMMAND_MAX_MV)
    model.learned_permille = ex.integer("learned", LEARNED_LOW, LEARNED_HIGH)
    model.battery_mv = ex.integer("battery", 0, READING_MAX)
    model.current_ma = ex.integer("current", 0, CURRENT_MAX_MA)
    inner.ceiling_ma = ex.integer("ceiling_current", 0, CURRENT_MAX_MA)
    ex.assume(inner.ceiling_ma <= inner.current_limit_ma)
    model.back_emf_mv = ex.integer("back_emf", 0, VOLTAGE_MAX_MV)
    return model


def within(ex: Numbers, value: int, highest: int, what: str) -> None:
    """Check that a number is not negative, and at most the highest."""
    ex.check(value >= 0, what + " is not negative")
    ex.check(value <= highest, what + " stays in its range")


def motor_newton(ex: Numbers) -> None:
    """A step of Newton's method from any current, at any back-EMF, to any power."""
    model = any_model(ex, MOTOR_SPEED)
    inner = Inside(model)
    within(ex, inner.drop_mv(model.current_ma), VOLTAGE_MAX_MV, "the drop in the winding")
    nearer_ma = inner.nearer_ma(model.current_ma, ex.integer("power", 0, POWER_MAX_W))
    ex.check(nearer_ma >= 0, "the current is not negative")
    ex.check(nearer_ma <= inner.current_limit_ma, "the current is at most the limit")
    ex.outcome(nearer=nearer_ma)


def motor_newton_above(ex: Numbers) -> None:
    """A step of Newton's method from any current falls short of the wanted power by less than 6 W.

    Without roundings E I' + R I'^2 - P = R (I' - I)^2, which is never negative.
    """
    model = MotorModel(Settings({"motor_kind": MOTOR_TORQUE}))
    inner = Inside(model)
    inner.resistance_mohm = any_setting(ex, "motor_resistance_mohm")
    inner.current_limit_ma = CURRENT_MAX_MA
    model.back_emf_mv = ex.integer("back_emf", 0, VOLTAGE_MAX_MV)
    from_ma = ex.integer("from", 0, CURRENT_MAX_MA)
    wanted_w = ex.integer("wanted", 0, 1650)
    drop_mv = inner.drop_mv(from_ma)
    ex.assume(drop_mv < VOLTAGE_MAX_MV)
    nearer_ma = inner.nearer_ma(from_ma, wanted_w)
    ex.assume(nearer_ma < CURRENT_MAX_MA)
    total_w = wanted_w + drop_mv // 10 * (from_ma // 10) // 10_000
    ex.assume(total_w < POWER_MAX_W)
    slope_mv = model.back_emf_mv + 2 * drop_mv
    ex.assume(slope_mv >= 10)
    resistance_mohm, drop_mv, from_ma = ex.wide(inner.resistance_mohm), ex.wide(drop_mv), ex.wide(from_ma)
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


def any_feed_forward(ex: Numbers) -> FeedForward:
    """Return the feed-forward of any motor of the speed kind, in any state that its invariant allows."""
    model = any_model(ex, MOTOR_SPEED)
    in_model = Inside(model)
    ex.assume(in_model.lagged <= 4 * (in_model.start_mv + in_model.span_mv))
    model.motor_mv = ex.integer("motor", 0, VOLTAGE_MAX_MV)
    model.plain_emf_mv = ex.integer("plain_emf", 0, VOLTAGE_MAX_MV)
    settings = Settings({"motor_kind": MOTOR_SPEED})
    watch = ShuntWatch(settings, Supply())
    watch.rest_peak_ma = ex.integer("rest_current", 0, READING_MAX)
    watch.rest_mv = ex.integer("rest_voltage", 0, READING_MAX)
    feed_forward = FeedForward(settings, model, Wheel(2_100, 1), watch)
    in_feed_forward = Inside(feed_forward)
    in_feed_forward.wheel.steady = ex.boolean("steady")
    in_feed_forward.no_load_ma = any_setting(ex, "no_load_current_ma")
    in_feed_forward.rate_mv_per_s = any_setting(ex, "seek_mv_per_s")
    in_feed_forward.followed_mv = ex.integer("followed", -1, VOLTAGE_MAX_MV)
    in_feed_forward.flows = ex.boolean("flows")
    return feed_forward


def feed_forward_seeks(ex: Numbers) -> None:
    """Any reading while it seeks, at any command."""
    feed_forward = any_feed_forward(ex)
    in_feed_forward = Inside(feed_forward)
    ex.assume(in_feed_forward.rate_mv_per_s > 0)
    in_feed_forward.seeking = True
    flowed = in_feed_forward.flows
    model = in_feed_forward.model
    in_model = Inside(model)
    highest_mv = in_model.start_mv + in_model.span_mv
    inputs = Inputs()
    inputs.current_ma = ex.integer("reading", READING_LOW, READING_HIGH)
    inputs.battery_mv = ex.integer("raw_battery", 0, READING_HIGH)
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    feed_forward.step(inputs, command_mv)
    ex.check(feed_forward.change_uv == 0, "while it seeks it follows nothing")
    if feed_forward.found_mv > 0:
        ex.check(feed_forward.found_mv >= in_model.start_mv, "what it finds is not in the dead band")
        ex.check(feed_forward.found_mv <= highest_mv, "what it finds is not above the highest command")
        ex.check(feed_forward.seek_mv == 0, "what it has found it seeks no more")
    if feed_forward.seek_mv > 0:
        ex.check(in_feed_forward.seeking, "what it seeks it has not found yet")
        ex.check(feed_forward.seek_mv > command_mv, "it seeks upward only")
        ex.check(feed_forward.rise_mv_per_s >= 0, "the rate of seeking is not negative")
        ex.check(feed_forward.rise_mv_per_s <= in_feed_forward.rate_mv_per_s, "at most at the seek rate")
        ex.check(inputs.battery_mv >= in_feed_forward.shunt.rest_mv - SAG_MV, "only while the battery holds")
        free_ma = in_feed_forward.no_load_ma * (model.motor_mv // 10)
        free_ma = free_ma // (model.battery_mv // 10 if model.battery_mv >= 10 else 1)
        drawn_ma = inputs.current_ma - in_feed_forward.shunt.rest_peak_ma
        flows = drawn_ma >= free_ma * 5 // 4 + FIRST_CURRENT_MA
        ex.check(in_feed_forward.flows if flows else not in_feed_forward.flows, "it remembers this reading")
        if flowed:
            ex.check(not flows, "not beyond a second reading of a current")
    ex.outcome(seek=feed_forward.seek_mv, found=feed_forward.found_mv, rate=feed_forward.rise_mv_per_s)
