"""Steps of the last gate and of the controller around it: the output guard, the outputs."""

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, FAULTED, THROTTLING
from firmware.guard.faults import CAUSE_NAMES
from firmware.guard.output_guard import OutputGuard
from firmware.records import OUTPUTS_VALID_US, Inputs
from firmware.sense.crank import BEHIND_MAX, PITCH_MAX_US, RUN_MAX
from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS, Settings
from firmware.ticks import TICKS_MAX_US, ticks_add_us, ticks_diff_us
from host_sim.proof.domain import COMMAND_MAX_MV, SPEED_MAX_MM_PER_S, any_setting
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_sense import EDGE_GAP_MAX_US, LONGEST_STEP_GAP_US, PERIOD_US
from host_sim.proof.numbers import Numbers

LONGEST_GAP_US = 3_765_000  # The guard's longest gap over all legal settings; see `derived_crank_numbers`.


WHEEL_STILL_US = 3_000_000


def any_guard(ex: Numbers, kind: int) -> OutputGuard:
    """Return a guard in any state that its invariant allows."""
    guard = OutputGuard(Settings({"sensor_kind": kind}), 0)
    inner = Inside(guard)
    inner.forward_step = 3 if ex.boolean("b_leads") else 1
    inner.backward_edges = any_setting(ex, "backward_edges")
    inner.longest_us = ex.integer("longest", 15_000, LONGEST_GAP_US)
    inner.cutoff_period_us = ex.integer("cutoff_period", 560, 3_000_000)
    inner.startup_period_us = ex.integer("startup_period", 3_900, TICKS_MAX_US)
    inner.cutoff_pulses_percent = ex.integer("cutoff_pulses", 17, 64_001)
    inner.longest_period_us = ex.integer("longest_period", 15_000, 58_823_530)
    ex.assume(ex.wide(inner.longest_period_us) * inner.cutoff_pulses_percent <= 1_000_000_000)
    inner.highest_mv = any_setting(ex, "command_max_mv")
    inner.levels = ex.integer("levels", 0, 3)
    inner.behind = ex.integer("behind", 0, 4)
    inner.turning = ex.boolean("turning")
    inner.wheel_seen = ex.boolean("wheel_seen")
    inner.wheel_period_us = ex.integer("wheel_period", 100, 3_000_000)
    inner.throttle_rest_seen = ex.boolean("rest_seen")
    return guard


def guard_permit(ex: Numbers) -> None:
    """Any state, any inputs, any command, any call time up to the longest permitted step gap."""
    guard = any_guard(ex, TWO_CHANNELS)
    inner = Inside(guard)
    inner.settings.throttle_fitted = any_setting(ex, "throttle_fitted")
    inner.settings.throttle_unpedalled = any_setting(ex, "throttle_unpedalled")
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    # The lemma `guard_clock_back` covers time that runs back; here time has advanced or stood still.
    inner.now_us = now_us
    forward_age_us = ex.integer("forward_age", 0, LONGEST_STEP_GAP_US + LONGEST_GAP_US)
    wheel_age_us = ex.integer("wheel_age", 0, LONGEST_STEP_GAP_US + WHEEL_STILL_US)
    inner.forward_us = ticks_add_us(now_us, PERIOD_US - 1 - forward_age_us)
    inner.wheel_us = ticks_add_us(now_us, PERIOD_US - 1 - wheel_age_us)
    inner.edge_us = inner.forward_us
    inputs = Inputs()
    inputs.brake_pulled = ex.boolean("brake")
    inputs.throttle_mv = ex.integer("throttle", 0, 5000)
    inputs.sampled_us = ex.integer("sampled", 0, TICKS_MAX_US)
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    turning = inner.turning
    permitted_mv = guard.permit(command_mv, inputs, now_us)
    ex.check(permitted_mv >= 0, "what is permitted is not negative")
    ex.check(permitted_mv <= command_mv, "the guard only lowers")
    ex.check(permitted_mv <= inner.highest_mv, "nothing above the highest command is permitted")
    age_us = ticks_diff_us(now_us, inputs.sampled_us)
    if permitted_mv > 0:
        ex.check(not inputs.brake_pulled, "with the brake pulled nothing is permitted")
        ex.check(age_us >= 0, "inputs from the future permit nothing")
        ex.check(age_us <= OUTPUTS_VALID_US, "expired inputs permit nothing")
        settings = inner.settings
        throttled = (
            settings.throttle_fitted == 1
            and settings.throttle_unpedalled != 0
            and inputs.throttle_mv > settings.throttle_rest_mv
        )
        if not throttled:
            ex.check(turning, "without throttle only a turning crank permits anything")
            ex.check(inner.behind < inner.backward_edges, "and only one that does not run backward")
            ex.check(forward_age_us + 1 <= inner.longest_us, "and only until the longest stop gap is over")
        if inner.wheel_seen and wheel_age_us + 1 <= inner.wheel_period_us:
            ex.check(
                inner.wheel_period_us >= inner.cutoff_period_us,
                "above the cut-off speed nothing is permitted",
            )
    ex.outcome(permitted=permitted_mv, turning=inner.turning, seen=inner.wheel_seen)


def guard_clock_back(ex: Numbers) -> None:
    """Any state, any inputs, any command, and a time before or after that of the last call."""
    guard = any_guard(ex, DUTY_CODED)
    inner = Inside(guard)
    inner.rise_seen = ex.boolean("rise_seen")
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    span_us = ex.integer("span", 0, (1 << 29) - 1)
    back = ex.boolean("back")
    inner.now_us = last_us
    now_us = ticks_add_us(last_us, PERIOD_US - 1 - span_us if back else span_us)
    turning, behind, period_us = inner.turning, inner.behind, inner.wheel_period_us
    went_back = inner.clock_went_back(now_us)
    ex.check(went_back == back, "a time before the last one is told, and no other")
    ex.check(inner.now_us == now_us, "the time is kept for the next look")
    ex.check(inner.behind == behind, "the debt of edges stays")
    ex.check(inner.wheel_period_us == period_us, "the last period of the wheel stays")
    if back:
        ex.check(not inner.turning, "after a step back the crank does not turn")
        ex.check(not inner.rise_seen, "nor is a pitch half seen")
        ex.check(inner.edge_us == now_us, "the last edge counts from now")
        ex.check(inner.wheel_us == now_us, "the last wheel pulse counts from now")
        inner.now_us = last_us
        inputs = Inputs()
        inputs.brake_pulled = False
        inputs.throttle_mv = ex.integer("throttle", 0, 5000)
        inputs.sampled_us = now_us
        permitted_mv = guard.permit(ex.integer("command", 0, COMMAND_MAX_MV), inputs, now_us)
        ex.check(permitted_mv == 0, "in a step back nothing is permitted")
    else:
        ex.check(inner.turning == turning, "time that goes on ends no turning by itself")
    ex.outcome(turning=inner.turning, behind=inner.behind)


def controller_clock_back(ex: Numbers) -> None:
    """Any crank, wheel and decision, and a time before that of the last step."""
    controller = _any_drive(ex)
    in_controller = Inside(controller)
    crank, wheel = controller.crank, controller.wheel
    in_crank = Inside(crank)
    crank.forward_run = ex.integer("forward_run", 0, RUN_MAX)
    crank.pitch_us = ex.integer("pitch", 0, PITCH_MAX_US)
    crank.ground_gained = ex.boolean("ground_gained")
    in_crank.behind = ex.integer("behind", 0, BEHIND_MAX)
    crank.standing = ex.boolean("standing")
    controller.pedalling.stopped = ex.boolean("stopped")
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    span_us = ex.integer("span", 0, (1 << 29) - 1)
    in_controller.last_us = last_us
    now_us = ticks_add_us(last_us, PERIOD_US - 1 - span_us)
    behind, standing = in_crank.behind, crank.standing
    in_controller.look_at_the_clock(now_us)
    for stamp_us in (crank.last_forward_us, in_crank.last_edge_us, in_crank.pending_us, in_crank.fall_us):
        ex.check(stamp_us == now_us, "no time of the crank lies after a step back, nor before it")
    inner = Inside(wheel)
    ex.check(inner.last_us == now_us, "the last wheel pulse counts from a step back")
    ex.check(Inside(inner.rotation).last_us == now_us, "and so does the last period")
    ex.check(crank.forward_run == 0, "a step back ends the run of edges")
    ex.check(in_crank.behind == behind, "a step back leaves the debt of edges")
    ex.check(crank.standing == standing, "a step back is no standstill and ends none")
    controller.pedalling.step(crank, 0, now_us)
    ex.check(controller.pedalling.stopped, "after a step back pedalling has stopped")
    ex.check(controller.pedalling.cadence_rpm == 0, "and there is no cadence")
    command_mv = in_controller.slew(in_controller.target_mv(Inputs(), now_us), now_us)
    ex.check(command_mv == 0, "a step back leaves no command in the same step")
    ex.outcome(command=command_mv, standing=crank.standing)


def _ends_a_magnet(guard: OutputGuard, high: int, time_us: int) -> bool:
    """Return whether a whole pitch was seen and the ending pulse is an eighth to seven eighths of it."""
    inner = Inside(guard)
    if not inner.rise_seen or not inner.fall_seen:
        return False
    same_us, other_us = inner.fall_us, inner.rise_us
    if high == 1:
        same_us, other_us = other_us, same_us
    pitch_us = ticks_diff_us(time_us, same_us)
    pulse_us = ticks_diff_us(time_us, other_us)
    # The firmware rounds an eighth down.
    return pulse_us * 8 >= pitch_us - 7 and pulse_us * 8 <= pitch_us * 7 + 7


def _guard_edge(ex: Numbers, kind: int) -> None:
    guard = any_guard(ex, kind)
    inner = Inside(guard)
    time_us = ex.integer("time", 0, TICKS_MAX_US)
    inner.rise_seen = ex.boolean("rise_seen")
    inner.rise_us = ticks_add_us(time_us, PERIOD_US - 1 - ex.integer("rise_age", 0, 2 * EDGE_GAP_MAX_US))
    inner.fall_us = ticks_add_us(time_us, PERIOD_US - 1 - ex.integer("fall_age", 0, 3 * EDGE_GAP_MAX_US))
    if kind == ONE_CHANNEL:
        inner.fall_seen = ex.boolean("fall_seen")
        inner.glitch_us = ex.integer("glitch", 234, 3_750)
    before, behind = inner.levels, inner.behind
    levels = ex.integer("after", 0, 3)
    may_turn = kind != ONE_CHANNEL or inner.turning or _ends_a_magnet(guard, levels & 1, time_us)
    guard.crank_edge(levels, time_us)
    if not may_turn:
        ex.check(not inner.turning, "no pitch yet, or a pulse that is no magnet: nothing turns")
    ex.check(inner.behind >= 0, "the debt of edges is not negative")
    ex.check(inner.behind <= 4, "the debt of edges is bounded")
    if kind == TWO_CHANNELS:
        moved = ((levels ^ (levels >> 1)) - (before ^ (before >> 1))) & 3
        if moved != 0 and moved != 2 and moved != inner.forward_step:
            ex.check(inner.behind > behind or inner.behind == 4, "a backward edge is a debt")
    ex.outcome(behind=inner.behind, turning=inner.turning, levels=inner.levels)


def guard_two_channels(ex: Numbers) -> None:
    """Any edge seen by the guard of a two-channel crank."""
    _guard_edge(ex, TWO_CHANNELS)


def guard_one_channel(ex: Numbers) -> None:
    """Any edge seen by the guard of a one-channel crank."""
    _guard_edge(ex, ONE_CHANNEL)


def guard_duty_coded(ex: Numbers) -> None:
    """Any edge seen by the guard of a duty-coded crank."""
    _guard_edge(ex, DUTY_CODED)


def _any_drive(ex: Numbers) -> Controller:
    """Return a controller whose decisions have been made, in any state of its drive."""
    controller = Controller(Settings({}), 0)
    controller.engagement.state = ex.integer("state", 0, 5)
    controller.ceilings.ceiling_w = ex.integer("ceiling", 0, 1500)
    controller.request.wanted_w = ex.integer("wanted", 0, 1500)
    if controller.engagement.state != ASSISTING and controller.engagement.state != THROTTLING:
        ex.assume(controller.request.wanted_w == 0)  # As the lemma `request` shows.
    controller.supply.power_w = ex.integer("power", 0, 10_000)
    controller.slew_limiter.command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    controller.outputs.command_mv = ex.integer("put_out", 0, COMMAND_MAX_MV)
    return controller


def controller_drive(ex: Numbers) -> None:
    """Any decision, any state of the drive, any call time: the input of the guard."""
    controller = _any_drive(ex)
    inner = Inside(controller)
    last_us = ex.integer("last", 0, TICKS_MAX_US)
    gap_us = ex.integer("gap", 0, LONGEST_STEP_GAP_US)
    inner.last_us = last_us
    Inside(controller.slew_limiter).last_us = last_us
    Inside(controller.power_loop).last_us = last_us
    now_us = ticks_add_us(last_us, gap_us)
    before_mv = controller.slew_limiter.command_mv
    inner.look_at_the_clock(now_us)
    target_mv = inner.target_mv(Inputs(), now_us)
    command_mv = inner.slew(target_mv, now_us)
    state = controller.engagement.state
    ex.check(command_mv >= 0, "the command is not negative")
    ex.check(command_mv <= COMMAND_MAX_MV, "the command stays in its range")
    if state != ASSISTING and state != THROTTLING:
        ex.check(command_mv == 0, "a state that does not drive commands nothing, at once")
    if controller.ceilings.ceiling_w == 0:
        ex.check(command_mv == 0, "where nothing is allowed nothing is commanded, at once")
    if gap_us > OUTPUTS_VALID_US:
        ex.check(command_mv == 0, "after a stall the command begins from nothing")
    start_mv = controller.settings.command_start_mv
    if command_mv > before_mv and command_mv > start_mv:
        grown_nv = (ex.wide(command_mv) - before_mv) * 1_000_000
        span_us = gap_us if gap_us < 100_000 else 100_000
        budget_nv = ex.wide(span_us) * controller.settings.rise_mv_per_s + 1_000_000
        ex.check(grown_nv <= budget_nv, "above the dead band the command rises no faster than the rise rate")
    ex.outcome(command=command_mv, target=target_mv)


def controller_outputs(ex: Numbers) -> None:
    """Any permission, any fault: the outputs."""
    controller = _any_drive(ex)
    controller.faults.cause = ex.integer("cause", 0, len(CAUSE_NAMES) - 1)
    command_mv = ex.integer("asked", 0, COMMAND_MAX_MV)
    permitted_mv = ex.integer("permitted", 0, COMMAND_MAX_MV)
    ex.assume(permitted_mv <= command_mv)
    controller.slew_limiter.command_mv = command_mv
    Inside(controller).put_out(permitted_mv, command_mv, ex.integer("now", 0, TICKS_MAX_US))
    outputs = controller.outputs
    ex.check(outputs.command_mv == permitted_mv, "what is put out is what was permitted")
    ex.check(controller.slew_limiter.command_mv == permitted_mv, "the next rise starts from what was put out")
    if permitted_mv == 0:
        ex.check(not outputs.drive_enabled, "without a command the motor is not driven")
    ex.check(outputs.valid_for_us == OUTPUTS_VALID_US, "every output expires")
    ex.outcome(command=outputs.command_mv, indicator=outputs.indicator)


def fault_ends_drive(ex: Numbers) -> None:
    """From any state, with any cause latched: the same step commands nothing."""
    controller = _any_drive(ex)
    inner = Inside(controller)
    controller.faults.cause = ex.integer("cause", 1, len(CAUSE_NAMES) - 1)
    inputs = Inputs()
    inputs.brake_pulled = ex.boolean("brake")
    controller.wheel.speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    inner.engage(inputs)
    ex.check(controller.engagement.state == FAULTED, "a latched cause leads to the fault state")
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    command_mv = inner.slew(inner.target_mv(Inputs(), now_us), now_us)
    ex.check(command_mv == 0, "the fault state commands nothing in the same step")
    ex.outcome(command=command_mv)


def brake_ends_drive(ex: Numbers) -> None:
    """From any state, with the brake pulled: the same step commands nothing."""
    controller = _any_drive(ex)
    inner = Inside(controller)
    inputs = Inputs()
    inputs.brake_pulled = True
    controller.faults.cause = ex.integer("cause", 0, len(CAUSE_NAMES) - 1)
    controller.wheel.speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    inner.engage(inputs)
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    command_mv = inner.slew(inner.target_mv(Inputs(), now_us), now_us)
    ex.check(command_mv == 0, "the brake leaves no command in the same step")
    ex.outcome(command=command_mv, state=controller.engagement.state)
