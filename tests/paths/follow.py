"""Drive with a motor model: it follows the back-EMF, and stays below the ceiling."""

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, THROTTLING
from firmware.drive.power_loop import PowerLoop
from firmware.drive.slew_limiter import ELAPSED_MAX_US, RATE_MAX_MV_PER_S, SlewLimiter
from firmware.records import OUTPUTS_VALID_US, Inputs
from firmware.sense.motor_model import COMMAND_MAX_UV, VOLTAGE_MAX_MV
from firmware.sense.supply import READING_MAX
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, Settings
from firmware.ticks import TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import COMMAND_MAX_MV, READING_HIGH, READING_LOW, any_setting
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_motor import any_feed_forward
from host_sim.proof.lemmas_sense import LONGEST_STEP_GAP_US
from host_sim.proof.numbers import Numbers
from tests.paths.drive import NV_PER_MV


def slew_seek(ex: Numbers) -> None:
    """Any rates, any state, any target, any rate of seeking, any gap."""
    limiter = SlewLimiter(1, 1, 0)
    inner = Inside(limiter)
    inner.rise_mv_per_s = ex.integer("rise", 1, RATE_MAX_MV_PER_S)
    inner.fall_mv_per_s = ex.integer("fall", 1, RATE_MAX_MV_PER_S)
    before_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    carry_nv = ex.integer("carry", 0, NV_PER_MV - 1)
    limiter.command_mv = before_mv
    inner.carry_nv = carry_nv
    inner.last_us = ex.integer("last", 0, TICKS_MAX_US)
    gap_us = ex.integer("gap", 0, LONGEST_STEP_GAP_US)
    target_mv = ex.integer("target", 0, COMMAND_MAX_MV)
    rate_mv_per_s = ex.integer("rate", 1, RATE_MAX_MV_PER_S)
    after_mv = limiter.seek(target_mv, rate_mv_per_s, ticks_add_us(inner.last_us, gap_us))
    ex.check(after_mv >= 0, "the command is not negative")
    ex.check(after_mv <= COMMAND_MAX_MV, "the command stays in its range")
    ex.check(0 <= inner.carry_nv < NV_PER_MV, "the remainder is less than a millivolt")
    quicker = rate_mv_per_s if rate_mv_per_s > inner.rise_mv_per_s else inner.rise_mv_per_s
    span_us = gap_us if gap_us < ELAPSED_MAX_US else ELAPSED_MAX_US
    if after_mv > before_mv:
        gained_nv = (ex.wide(after_mv) - before_mv) * NV_PER_MV + inner.carry_nv - carry_nv
        ex.check(gained_nv <= ex.wide(quicker) * span_us, "it rises at most at the quicker of the two rates")
        ex.check(after_mv <= target_mv, "a rise never passes the target")
    else:
        ex.check(target_mv <= before_mv or after_mv == before_mv, "a target above is never fallen from")
    ex.outcome(command=after_mv, carry=inner.carry_nv)


def loop_moves(ex: Numbers) -> None:
    """Any command that the loop starts from, and any change that is added."""
    loop = PowerLoop(Settings({}), 0)
    inner = Inside(loop)
    inner.start_mv = any_setting(ex, "command_start_mv")
    inner.range_uv = ex.integer("range", 1000, COMMAND_MAX_MV * 1000)
    inner.integral_uv = ex.integer("integral", 0, COMMAND_MAX_MV * 1000)
    ex.assume(inner.integral_uv <= inner.range_uv)
    before_uv = inner.integral_uv
    change_uv = ex.integer("change", -COMMAND_MAX_UV, COMMAND_MAX_UV)
    loop.shift(change_uv)
    ex.check(inner.integral_uv >= 0, "a change leaves the integral in its range: below")
    ex.check(inner.integral_uv <= inner.range_uv, "a change leaves the integral in its range: above")
    if change_uv > 0:
        ex.check(inner.integral_uv - before_uv <= change_uv, "the integral moves by no more than the change")
    shifted_uv = inner.integral_uv
    loop.preset(ex.integer("applied", 0, COMMAND_MAX_MV))
    ex.check(inner.integral_uv >= 0, "the integral starts in its range: below")
    ex.check(inner.integral_uv <= inner.range_uv, "the integral starts in its range: above")
    ex.check(inner.carry == 0, "the integral starts without a remainder")
    ex.outcome(shifted=shifted_uv, integral=inner.integral_uv)


def feed_forward_follows(ex: Numbers) -> None:
    """Any speed after any other, once the search has ended."""
    feed_forward = any_feed_forward(ex)
    inner = Inside(feed_forward)
    inner.seeking = False
    before_mv, emf_mv = inner.followed_mv, inner.model.plain_emf_mv
    feed_forward.step(Inputs(), ex.integer("command", 0, COMMAND_MAX_MV))
    ex.check(feed_forward.seek_mv == 0, "once it has found the back-EMF it seeks no more")
    ex.check(feed_forward.found_mv == 0, "nor finds it again")
    ex.check(feed_forward.change_uv >= -COMMAND_MAX_UV, "a change is bounded below")
    ex.check(feed_forward.change_uv <= COMMAND_MAX_UV, "a change is bounded above")
    ex.check(inner.followed_mv == emf_mv, "it goes on from what it followed")
    if before_mv < 0:
        ex.check(feed_forward.change_uv == 0, "the first back-EMF that it follows changes nothing")
    elif emf_mv > before_mv and not inner.wheel.steady:
        ex.check(feed_forward.change_uv == 0, "it follows upward only what two periods agree on")
    ex.outcome(change=feed_forward.change_uv, followed=inner.followed_mv)


def _any_known_drive(ex: Numbers, kind: int) -> Controller:
    """Return the controller of a known motor whose decisions have been made, in any state of its drive.

    What the power loop and the model give may be anything in the ranges that `power_loop`, `motor_ceiling`,
    `motor_command_for` and `motor_changes` show for it. A few symbols cover that; other values are fixed.
    """
    controller = Controller(Settings({"motor_kind": kind}), 0)
    controller.engagement.state = ex.integer("state", ASSISTING, THROTTLING)
    controller.ceilings.ceiling_w = ex.integer("ceiling", 0, 1500)
    controller.request.wanted_w = ex.integer("wanted", 0, 1500)
    controller.supply.power_w = ex.integer("power", 0, 10_000)
    # One command, as `controller_outputs` shows: the next rise starts from the last output.
    controller.slew_limiter.command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    controller.outputs.command_mv = controller.slew_limiter.command_mv
    loop = Inside(controller.power_loop)
    loop.integral_uv = ex.integer("integral", 0, loop.range_uv)
    model = controller.motor_model
    model.battery_mv = 36_000
    return controller


def _known_drive(ex: Numbers, controller: Controller) -> int:
    """Take one step of the drive and check it; return its target."""
    inner = Inside(controller)
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    gap_us = ex.integer("gap", 0, LONGEST_STEP_GAP_US)
    inner.last_us = last_us
    Inside(controller.slew_limiter).last_us = last_us
    now_us = ticks_add_us(last_us, gap_us)
    inner.look_at_the_clock(now_us)
    # No time passes for the integral: all its states are covered by a symbol.
    Inside(controller.power_loop).last_us = now_us
    inputs = Inputs()
    inputs.current_ma = ex.integer("reading", READING_LOW, READING_HIGH)
    inputs.battery_mv = ex.integer("raw_battery", 0, READING_HIGH)
    settings, feed_forward = controller.settings, controller.feed_forward
    before_mv = controller.slew_limiter.command_mv
    target_mv: int = inner.target_mv(inputs, now_us)
    ex.show(target_mv >= 0, "the target is not negative")
    ex.show(target_mv <= settings.command_max_mv, "the target is at most the highest command")
    found = feed_forward.found_mv > 0
    if found:
        ex.check(controller.slew_limiter.command_mv <= before_mv, "what is found never raises the command")
        ex.show(controller.slew_limiter.command_mv >= 0, "what is found is a command")
    command_mv = inner.slew(target_mv, now_us)
    ex.check(command_mv >= 0, "the command is not negative")
    ex.check(command_mv <= COMMAND_MAX_MV, "the command stays in its range")
    if controller.ceilings.ceiling_w == 0 or gap_us > OUTPUTS_VALID_US:
        ex.check(command_mv == 0, "where nothing is allowed, or after a stall, nothing is commanded, at once")
    if command_mv > before_mv and command_mv > settings.command_start_mv:
        rate_mv_per_s = settings.rise_mv_per_s
        if feed_forward.seek_mv > 0:
            rate_mv_per_s = max(rate_mv_per_s, settings.seek_mv_per_s)
        ex.check(command_mv <= target_mv, "a rise never passes the target")
        grown_nv = (ex.wide(command_mv) - before_mv) * NV_PER_MV
        span_us = gap_us if gap_us < ELAPSED_MAX_US else ELAPSED_MAX_US
        budget_nv = ex.wide(span_us) * rate_mv_per_s + NV_PER_MV
        ex.check(grown_nv <= budget_nv, "above the dead band the command rises at most at its rate")
    ex.outcome(command=command_mv, target=target_mv)
    return target_mv


def drive_torque(ex: Numbers) -> None:
    """Any decision, any state of the drive, any gap, torque kind: never above the ceiling."""
    controller = _any_known_drive(ex, MOTOR_TORQUE)
    model, settings = controller.motor_model, controller.settings
    # Without a span the ceiling is where the model's commands start: anywhere.
    ceiling_mv = ex.integer("ceiling_command", settings.command_start_mv, settings.command_max_mv)
    Inside(model).start_mv = ceiling_mv
    Inside(model).span_mv = 0
    target_mv = _known_drive(ex, controller)
    ex.check(controller.feed_forward.seek_mv == 0, "the torque kind seeks nothing")
    ex.check(target_mv <= ceiling_mv, "the target is never above the ceiling")


def drive_speed(ex: Numbers) -> None:
    """Any decision, any state of the drive, any gap, speed kind: it seeks and follows."""
    controller = _any_known_drive(ex, MOTOR_SPEED)
    model, feed_forward = controller.motor_model, controller.feed_forward
    inner = Inside(feed_forward)
    model.motor_mv = 18_000
    model.back_emf_mv = ex.integer("back_emf", 0, VOLTAGE_MAX_MV)
    model.plain_emf_mv = ex.integer("plain_emf", 0, VOLTAGE_MAX_MV)
    Inside(model).lagged = ex.integer("lagged", 0, 4 * controller.settings.command_max_mv)
    inner.seeking = ex.boolean("seeking")
    inner.followed_mv = ex.integer("followed", -1, VOLTAGE_MAX_MV)
    inner.flows = ex.boolean("flows")
    controller.wheel.steady = ex.boolean("steady")
    controller.shunt_watch.rest_peak_ma = ex.integer("rest_current", 0, READING_MAX)
    controller.shunt_watch.rest_mv = ex.integer("rest_voltage", 0, READING_MAX)
    controller.shunt_watch.lapsed = ex.boolean("lapsed")
    _known_drive(ex, controller)
