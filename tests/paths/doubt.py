"""Readings that contradict one another: counts are bounded, and doubt comes before a fault."""

from firmware.controller import Controller
from firmware.decide.ceilings import BY_DOUBT
from firmware.guard.plausibility import (
    FORGIVEN_STEPS,
    LASTING_STEPS,
    LEARN_AFTER_STEPS,
    MOTOR_SILENT,
    PLAUSIBLE,
    SILENT_STEPS,
    SUSPICIONS_MAX,
    WHEEL_SLOW,
    WHEEL_SUSPICIONS_MAX,
    WITHHELD_STEPS,
    Plausibility,
)
from firmware.records import Inputs
from firmware.sense.motor_model import LEARNED_HIGH, LEARNED_LOW, LEARNED_SHIFT, POWER_MAX_W, VOLTAGE_MAX_MV
from firmware.sense.shunt_watch import SAG_STEPS, SILENT_MA, STUCK_STEPS, ShuntWatch
from firmware.sense.supply import READING_MAX, Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, Settings
from firmware.ticks import TICKS_MAX_US
from host_sim.proof.domain import COMMAND_MAX_MV, READING_HIGH, READING_LOW, SPEED_MAX_MM_PER_S, any_setting
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_motor import CURRENT_MAX_MA
from host_sim.proof.numbers import Numbers
from tests.paths.motor import LEARNED_SUM, MODEL_POWER_MAX_W

MEAN_MAX = 16 * 100_000 + 15


FALL_LEAST_MAX_MA = 600_000  # Of any motor; see `derived_motor_numbers`.


STUCK_LEAST_MA = (1_000, 11_000)


JUDGED_EMF_MAX_MV = 104_250


def _any_watch(ex: Numbers) -> ShuntWatch:
    """Return a shunt watch in any state that its invariant allows."""
    supply = Supply()
    supply.current_ma = ex.integer("smoothed", 0, READING_MAX)
    supply.battery_mv = ex.integer("battery", 0, READING_MAX)
    watch = ShuntWatch(Settings({"motor_kind": MOTOR_TORQUE}), supply)
    inner = Inside(watch)
    inner.start_mv = any_setting(ex, "command_start_mv")
    inner.fall_least_ma = ex.integer("fall_least", 0, FALL_LEAST_MAX_MA)
    inner.stuck_least_ma = ex.integer("stuck_least", STUCK_LEAST_MA[0], STUCK_LEAST_MA[1])
    inner.sag_steps = ex.integer("sag_steps", 0, SAG_STEPS)
    inner.stuck_steps = ex.integer("stuck_steps", 0, STUCK_STEPS)
    inner.stuck_mv = ex.integer("stuck_voltage", 0, READING_HIGH)
    inner.last_ma = ex.integer("last", READING_LOW, READING_HIGH)
    inner.current_sum = ex.integer("current_sum", 0, MEAN_MAX)
    inner.command_sum = ex.integer("command_sum", 0, 16 * COMMAND_MAX_MV + 15)
    watch.rest_ma = ex.integer("rest_current", 0, READING_MAX)
    watch.rest_mv = ex.integer("rest_voltage", 0, READING_MAX)
    watch.drawn = ex.boolean("drawn")
    return watch


def shunt_sag(ex: Numbers) -> None:
    """Any battery voltage against any at rest."""
    watch = _any_watch(ex)
    inner = Inside(watch)
    before = inner.sag_steps
    battery_mv = ex.integer("raw_battery", 0, READING_HIGH)
    inner.look_for_sag(battery_mv)
    ex.check(inner.sag_steps >= 0, "the steps of a sag are not negative")
    ex.check(inner.sag_steps <= SAG_STEPS, "the steps of a sag are bounded")
    if watch.sags:
        ex.check(before + 1 >= SAG_STEPS, "a sag is one only after its steps in a row")
        ex.check(battery_mv < watch.rest_mv, "and only while the battery lies below its rest")
        ex.check(inner.supply.current_ma <= watch.rest_ma + SILENT_MA, "and no current is read")
    ex.outcome(steps=inner.sag_steps, sags=watch.sags)


def shunt_standstill(ex: Numbers) -> None:
    """Any current reading after any other."""
    watch = _any_watch(ex)
    inner = Inside(watch)
    before, last_ma = inner.stuck_steps, inner.last_ma
    current_ma = ex.integer("raw_current", READING_LOW, READING_HIGH)
    inner.look_for_standstill(current_ma, ex.integer("raw_battery", 0, READING_HIGH))
    ex.check(inner.stuck_steps >= 0, "the steps of a standstill are not negative")
    ex.check(inner.stuck_steps <= STUCK_STEPS, "the steps of a standstill are bounded")
    if watch.stuck:
        ex.check(before + 1 >= STUCK_STEPS, "a reading is stuck only after its steps in a row")
        ex.check(current_ma == last_ma, "and only while it stays the same to the last digit")
        ex.check(current_ma >= inner.stuck_least_ma, "and well above a motor turning freely")
    ex.outcome(steps=inner.stuck_steps, stuck=watch.stuck)


def shunt_fall(ex: Numbers) -> None:
    """Any smoothed current and any command against their means."""
    watch = _any_watch(ex)
    inner = Inside(watch)
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    inner.look_for_fall(command_mv)
    ex.check(inner.current_sum >= 0, "the sum of currents is not negative")
    ex.check(inner.current_sum <= MEAN_MAX, "the sum of currents is bounded")
    ex.check(inner.command_sum >= 0, "the sum of commands is not negative")
    ex.check(inner.command_sum <= 16 * COMMAND_MAX_MV + 15, "the sum of commands is bounded")
    ex.outcome(fallen=watch.fallen, sum=inner.current_sum)


def shunt_rest(ex: Numbers) -> None:
    """A command in the dead band: every sign is reset, the readings at rest are replaced."""
    watch = _any_watch(ex)
    inner = Inside(watch)
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    ex.assume(command_mv <= inner.start_mv)
    inputs = Inputs()
    watch.step(inputs, command_mv)
    ex.check(not (watch.sags or watch.stuck or watch.fallen or watch.drawn), "at rest there is no sign")
    ex.check(watch.rest_ma == inner.supply.current_ma, "the current at rest is the one now")
    ex.check(inner.sag_steps == 0 and inner.stuck_steps == 0, "at rest the counts restart")
    ex.check(inner.current_sum <= MEAN_MAX, "the sum of currents is bounded")
    ex.outcome(rest=watch.rest_ma, voltage=watch.rest_mv)


def _any_judge(ex: Numbers, kind: int) -> Plausibility:
    """Return a judge in any state that its invariant allows, with any predictions and any readings."""
    controller = Controller(Settings({"motor_kind": kind}), 0)
    judge, model = controller.plausibility, controller.motor_model
    inner = Inside(judge)
    inner.start_mv = any_setting(ex, "command_start_mv")
    inner.judged_emf_mv = ex.integer("judged_emf", 0, JUDGED_EMF_MAX_MV)
    inner.contradiction = ex.integer("contradiction", PLAUSIBLE, WHEEL_SLOW)
    inner.lasting_steps = ex.integer("lasting", 0, LASTING_STEPS - 1)
    if inner.contradiction == MOTOR_SILENT:
        ex.assume(inner.lasting_steps < SILENT_STEPS)
    inner.driven_steps = ex.integer("driven", 0, LEARN_AFTER_STEPS)
    inner.suspicions = ex.integer("suspicions", 0, WHEEL_SUSPICIONS_MAX - 1)
    inner.suspected = ex.integer("suspected", PLAUSIBLE, WHEEL_SLOW)
    inner.unsuspected_steps = ex.integer("unsuspected", 0, FORGIVEN_STEPS - 1)
    inner.withheld_steps = ex.integer("withheld", 0, WITHHELD_STEPS)
    controller.supply.power_w = ex.integer("power", 0, POWER_MAX_W)
    controller.supply.current_ma = ex.integer("smoothed", 0, READING_MAX)
    controller.shunt_watch.rest_ma = ex.integer("rest_current", 0, READING_MAX)
    controller.wheel.speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    model.current_ma = ex.integer("current", 0, CURRENT_MAX_MA)
    model.battery_mv = ex.integer("battery", 0, READING_MAX)
    model.highest_emf_mv = ex.integer("highest_emf", 0, VOLTAGE_MAX_MV)
    if kind == MOTOR_SPEED:
        model.drop_mv = ex.integer("drop", 0, VOLTAGE_MAX_MV)
        model.motor_mv = ex.integer("motor", 0, VOLTAGE_MAX_MV)
    else:
        model.least_w = ex.integer("least", 0, POWER_MAX_W * 5 // 4)
        model.most_w = ex.integer("most", 0, MODEL_POWER_MAX_W * 5 // 4)
    return judge


def _check_judge(ex: Numbers, judge: Plausibility) -> None:
    """Check the invariant of a judge that has found no fault."""
    inner = Inside(judge)
    ex.check(0 <= inner.lasting_steps < LASTING_STEPS, "the steps of a contradiction are bounded")
    if inner.contradiction == MOTOR_SILENT:
        ex.check(inner.lasting_steps < SILENT_STEPS, "those of a silent motor more narrowly")
    ex.check(0 <= inner.driven_steps <= LEARN_AFTER_STEPS, "the driven steps are bounded")
    ex.check(0 <= inner.unsuspected_steps < FORGIVEN_STEPS, "the steps without suspicion are bounded")
    ex.check(0 <= inner.withheld_steps <= WITHHELD_STEPS, "help is withheld for a bounded time")
    ex.check(inner.suspicions >= 0, "suspicions are not negative")
    ex.check(inner.suspicions <= WHEEL_SUSPICIONS_MAX, "suspicions are bounded")


def _judge_motor(ex: Numbers, kind: int) -> None:
    """Check the motor once; another lemma covers learning, so the wheel is not steady."""
    judge = _any_judge(ex, kind)
    inner = Inside(judge)
    before, lasting, contradiction = inner.suspicions, inner.lasting_steps, inner.contradiction
    inner.judge_motor()
    _check_judge(ex, judge)
    found = judge.motor_silent or judge.power_low or judge.wheel_slow
    if inner.suspicions > before:
        ex.check(inner.suspicions == before + 1, "suspicions come one at a time")
        ex.check(judge.withheld, "with every suspicion help is withheld")
        ex.check(inner.withheld_steps == WITHHELD_STEPS, "for its whole time")
        ex.check(inner.contradiction == contradiction, "only what lasts is suspected")
        needed = SILENT_STEPS if contradiction == MOTOR_SILENT else LASTING_STEPS
        ex.check(lasting + 1 >= needed, "and only after its steps in a row")
    else:
        ex.check(not found, "without a new suspicion there is no fault")
    if judge.wheel_slow:
        ex.check(inner.suspicions >= WHEEL_SUSPICIONS_MAX, "the wheel is a fault from the third suspicion")
    if judge.motor_silent or judge.power_low:
        ex.check(inner.suspicions >= SUSPICIONS_MAX, "the motor is a fault from the second suspicion")
    if inner.suspicions == WHEEL_SUSPICIONS_MAX:
        ex.check(found, "the third suspicion is a fault, whatever it is")
    ex.outcome(suspicions=inner.suspicions, lasting=inner.lasting_steps, found=found)


def judge_torque(ex: Numbers) -> None:
    """Any power against what the torque kind must draw."""
    _judge_motor(ex, MOTOR_TORQUE)


def judge_speed(ex: Numbers) -> None:
    """Any voltage against what the speed kind must do."""
    _judge_motor(ex, MOTOR_SPEED)


def judge_learns(ex: Numbers) -> None:
    """A steady ride of both kinds: the model learns from plausible values only, and stays in range."""
    kind = MOTOR_SPEED if ex.boolean("speed_kind") else MOTOR_TORQUE
    judge = _any_judge(ex, kind)
    in_judge = Inside(judge)
    in_judge.wheel.steady = True
    model = in_judge.model
    in_model = Inside(model)
    in_model.learned = ex.integer("learned_sum", LEARNED_SUM[0], LEARNED_SUM[1])
    model.learned_permille = ex.integer("learned", LEARNED_LOW, LEARNED_HIGH)
    ex.assume(model.learned_permille == in_model.learned >> LEARNED_SHIFT)
    model.plain_emf_mv = ex.integer("plain_emf", 0, VOLTAGE_MAX_MV)
    in_model.plain_w = ex.integer("plain", 0, MODEL_POWER_MAX_W)
    before = in_model.learned
    in_judge.judge_motor()
    ex.check(model.learned_permille >= LEARNED_LOW, "what is learned is at least three quarters")
    ex.check(model.learned_permille <= LEARNED_HIGH, "what is learned is at most five quarters")
    if in_judge.contradiction != PLAUSIBLE:
        ex.check(in_model.learned == before, "from a contradiction nothing is learned")
    ex.outcome(learned=model.learned_permille, contradiction=in_judge.contradiction)


def judge_shunt(ex: Numbers) -> None:
    """Any signs of the shunt, in any state of the judge, at any command; the motor is plausible."""
    controller = Controller(Settings({"motor_kind": MOTOR_TORQUE}), 0)
    judge, watch = controller.plausibility, controller.shunt_watch
    inner = Inside(judge)
    watch.sags, watch.drawn = ex.boolean("sags"), ex.boolean("drawn")
    watch.stuck, watch.fallen = ex.boolean("stuck"), ex.boolean("fallen")
    inner.start_mv = any_setting(ex, "command_start_mv")
    inner.withheld_steps = ex.integer("withheld", 0, WITHHELD_STEPS)
    inner.unsuspected_steps = ex.integer("unsuspected", 0, FORGIVEN_STEPS - 1)
    inner.driven_steps = ex.integer("driven", 0, LEARN_AFTER_STEPS)
    inner.suspicions = ex.integer("suspicions", 0, WHEEL_SUSPICIONS_MAX)
    suspicions, withheld_steps = inner.suspicions, inner.withheld_steps
    command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    judge.step(command_mv)
    _check_judge(ex, judge)
    ex.check(judge.withheld == (inner.withheld_steps > 0), "help is withheld as long as the count says")
    ex.check(inner.suspicions <= suspicions, "the shunt alone is no suspicion of the motor")
    driven = command_mv > inner.start_mv
    if judge.shunt_dead:
        ex.check(driven and watch.sags and not watch.drawn, "a shunt is dead only where none was ever read")
    if judge.shunt_stuck:
        ex.check(driven and watch.stuck, "a shunt is stuck only while it shows the sign")
    if driven and watch.fallen:
        ex.check(judge.withheld, "a current that has fallen withholds help")
    if not driven:
        ex.check(not judge.motor_silent, "in the dead band there is no fault")
        ex.check(inner.lasting_steps == 0, "in the dead band nothing lasts")
        ex.check(inner.withheld_steps <= withheld_steps, "in the dead band only time passes")
    ex.outcome(withheld=inner.withheld_steps, dead=judge.shunt_dead, stuck=judge.shunt_stuck)


def judge_forgets(ex: Numbers) -> None:
    """The request to clear resets every suspicion, and help is no longer withheld."""
    judge = _any_judge(ex, MOTOR_TORQUE)
    inner = Inside(judge)
    judge.withheld = ex.boolean("is_withheld")
    judge.forget()
    ex.check(inner.suspicions == 0 and inner.withheld_steps == 0, "nothing is suspected any more")
    ex.check(not judge.withheld, "nothing is withheld any more")
    ex.outcome(suspicions=inner.suspicions)


def doubt_ends_drive(ex: Numbers) -> None:
    """Any state of the drive, any kind of motor: if withheld or overdue, the same step commands nothing."""
    kind = any_setting(ex, "motor_kind")
    controller = Controller(Settings({"motor_kind": kind if isinstance(kind, int) else kind.__index__()}), 0)
    inner = Inside(controller)
    controller.engagement.state = ex.integer("state", 0, 5)
    controller.throttle.share_permille = 1000
    controller.selector.share_permille = 1000
    controller.wheel.speed_mm_per_s = ex.integer("speed", 0, SPEED_MAX_MM_PER_S)
    controller.supply.battery_mv = 36_000
    controller.slew_limiter.command_mv = ex.integer("command", 0, COMMAND_MAX_MV)
    controller.outputs.command_mv = controller.slew_limiter.command_mv
    controller.wheel.overdue = ex.boolean("overdue")
    controller.plausibility.withheld = not controller.wheel.overdue
    inputs = Inputs()
    inputs.brake_pulled = False
    inner.engage(inputs)
    ex.check(controller.ceilings.ceiling_w == 0, "in doubt nothing is allowed")
    ex.check(controller.ceilings.lowest == BY_DOUBT, "and the doubt is named as the reason")
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    command_mv = inner.slew(inner.target_mv(inputs, now_us), now_us)
    ex.check(command_mv == 0, "in doubt nothing is commanded, at once")
    ex.outcome(command=command_mv, state=controller.engagement.state)
