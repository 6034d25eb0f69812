"""Steps of the drive: slew limiter, power loop, request, ceilings, each from any state."""

from firmware.decide.ceilings import Ceilings
from firmware.decide.engagement import ASSISTING, THROTTLING
from firmware.decide.request import Request
from firmware.drive.power_loop import PowerLoop
from firmware.drive.slew_limiter import ELAPSED_MAX_US, RATE_MAX_MV_PER_S, SlewLimiter
from firmware.settings import Settings
from firmware.ticks import TICKS_MAX_US
from host_sim.proof.domain import COMMAND_MAX_MV, SPEED_MAX_MM_PER_S, any_setting, any_settings
from host_sim.proof.inside import Inside
from host_sim.proof.numbers import Numbers

NV_PER_MV = 1_000_000


def slew_limiter(ex: Numbers) -> None:
    """Any two rates, any state, any target, any call time."""
    limiter = SlewLimiter(1, 1, 0)
    inner = Inside(limiter)
    inner.rise_mv_per_s = ex.integer("rise", 1, RATE_MAX_MV_PER_S)
    inner.fall_mv_per_s = ex.integer("fall", 1, RATE_MAX_MV_PER_S)
    before_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    carry_nv = ex.integer("carry", 0, NV_PER_MV - 1)
    limiter.command_mv = before_mv
    inner.carry_nv = carry_nv
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    inner.last_us = last_us
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    target_mv = ex.integer("target", 0, COMMAND_MAX_MV)
    after_mv = limiter.step(target_mv, now_us)
    ex.check(after_mv >= 0, "the command is not negative")
    ex.check(after_mv <= COMMAND_MAX_MV, "the command stays in its range")
    ex.check(inner.carry_nv >= 0, "the remainder is not negative")
    ex.check(inner.carry_nv < NV_PER_MV, "the remainder is less than a millivolt")
    elapsed_us = (ex.wide(now_us) - last_us) % (TICKS_MAX_US + 1)
    if elapsed_us > (TICKS_MAX_US >> 1):
        elapsed_us = 0  # Time ran backward.
    if elapsed_us > ELAPSED_MAX_US:
        elapsed_us = ELAPSED_MAX_US
    if after_mv > before_mv:
        gained_nv = (ex.wide(after_mv) - before_mv) * NV_PER_MV + inner.carry_nv - carry_nv
        budget_nv = ex.wide(inner.rise_mv_per_s) * elapsed_us
        ex.check(gained_nv <= budget_nv, "a rise uses no more than the rise rate times the time")
        ex.check(after_mv <= target_mv, "a rise never passes the target")
    else:
        ex.check(target_mv <= before_mv or after_mv == before_mv, "a target above is never fallen from")
    ex.outcome(command=after_mv, carry=inner.carry_nv)


def power_loop(ex: Numbers) -> None:
    """Any gain and integral time, any state, any power, any last command."""
    loop = PowerLoop(Settings({}), 0)
    inner = Inside(loop)
    start_mv = any_setting(ex, "command_start_mv")
    range_uv = ex.integer("range", 1000, COMMAND_MAX_MV * 1000)
    ex.assume(ex.wide(start_mv) * 1000 + range_uv <= COMMAND_MAX_MV * 1000)
    inner.start_mv = start_mv
    inner.range_uv = range_uv
    inner.gain_uv_per_w = any_setting(ex, "gain_uv_per_w")
    inner.integral_units = ex.integer("integral_units", 200, 200_000)
    inner.integral_uv = ex.integer("integral", 0, COMMAND_MAX_MV * 1000)
    ex.assume(inner.integral_uv <= range_uv)
    inner.carry = ex.integer("carry", 0, 199_999)
    ex.assume(inner.carry < inner.integral_units)
    inner.target_uv = ex.integer("target", 0, COMMAND_MAX_MV * 1000)
    ex.assume(inner.target_uv <= range_uv)
    loop.target_mv = ex.integer("target_mv", 0, COMMAND_MAX_MV)
    inner.last_us = ex.integer("last", 0, TICKS_MAX_US)
    allowed_w = ex.integer("allowed", 1, 1500)
    power_w = ex.integer("power", 0, 10_000)
    applied_mv = ex.integer("applied", 0, COMMAND_MAX_MV)
    target_mv = loop.step(allowed_w, power_w, applied_mv, ex.integer("now", 0, TICKS_MAX_US))
    ex.check(target_mv >= start_mv, "the target is at or above the dead band")
    ex.check(
        ex.wide(target_mv) * 1000 <= ex.wide(start_mv) * 1000 + range_uv, "the target stays in its range"
    )
    ex.check(inner.integral_uv >= 0, "the integral is not negative")
    ex.check(inner.integral_uv <= range_uv, "the integral never winds up past the range")
    ex.check(inner.carry >= 0, "the remainder is not negative")
    ex.check(inner.carry < inner.integral_units, "the remainder is smaller than its divisor")
    ex.outcome(target=target_mv, integral=inner.integral_uv, carry=inner.carry)


def open_map(ex: Numbers) -> None:
    """Without a shunt: any map, any watts."""
    loop = PowerLoop(Settings({"shunt_fitted": 0}), 0)
    inner = Inside(loop)
    inner.start_mv = any_setting(ex, "command_start_mv")
    inner.range_uv = ex.integer("range", 1000, COMMAND_MAX_MV * 1000)
    inner.open_map_full_w = any_setting(ex, "open_map_full_w")
    ex.assume(ex.wide(inner.start_mv) * 1000 + inner.range_uv <= COMMAND_MAX_MV * 1000)
    target_mv = loop.step(ex.integer("allowed", 1, 1500), 0, 0, 0)
    ex.check(target_mv >= inner.start_mv, "the target is at or above the dead band")
    ex.check(target_mv <= COMMAND_MAX_MV, "the target stays in its range")
    ex.outcome(target=target_mv)


def request(ex: Numbers) -> None:
    """Any state, any shares, any powers."""
    wish = Request(Settings({}))
    Inside(wish).assist_power_w = any_setting(ex, "assist_power_w")
    Inside(wish).throttle_power_w = any_setting(ex, "throttle_power_w")
    state = ex.integer("state", 0, 5)
    wanted_w = wish.step(state, ex.integer("share", 0, 1000), ex.integer("throttle", 0, 1000))
    ex.check(wanted_w >= 0, "the wish is not negative")
    ex.check(wanted_w <= 1500, "the wish stays in its range")
    if state != ASSISTING and state != THROTTLING:
        ex.check(wanted_w == 0, "only a driving state wishes for power")
    ex.outcome(wanted=wanted_w)


def ceilings(ex: Numbers) -> None:
    """Any settings, any speed, battery and heat."""
    limits = Ceilings(any_settings(ex, CEILING_SETTINGS))
    inner = Inside(limits)
    state = ex.integer("state", 0, 5)
    speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    battery_mv = ex.integer("battery", 0, 100_000)
    heat = ex.integer("heat", -500, 3000)
    ceiling_w = limits.step(state, speed_mm_per_s, battery_mv, heat)
    ex.check(ceiling_w >= 0, "the ceiling is not negative")
    ex.check(ceiling_w <= inner.power_limit_w, "the ceiling is never above the power limit")
    if speed_mm_per_s >= inner.cutoff_speed_mm_per_s:
        ex.check(ceiling_w == 0, "at and above the cut-off speed nothing is allowed")
    if battery_mv <= inner.battery_empty_mv:
        ex.check(ceiling_w == 0, "an empty battery allows nothing")
    if inner.heat_sensor_fitted and heat >= inner.heat_limit_decicelsius:
        ex.check(ceiling_w == 0, "a motor at its heat limit is allowed nothing")
    if state == THROTTLING and inner.startup_limited and speed_mm_per_s >= inner.startup_speed_mm_per_s:
        ex.check(ceiling_w == 0, "at the start-up speed the throttle alone is allowed nothing")
    ex.outcome(ceiling=ceiling_w, lowest=limits.lowest)


CEILING_SETTINGS = (
    "power_limit_w",
    "taper_start_mm_per_s",
    "cutoff_speed_mm_per_s",
    "startup_speed_mm_per_s",
    "throttle_unpedalled",
    "battery_empty_mv",
    "battery_foldback_mv",
    "heat_sensor_fitted",
    "heat_foldback_decicelsius",
    "heat_limit_decicelsius",
)
