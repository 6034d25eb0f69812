"""Lemmas about the whole: the numbers that constructors derive, and a bicycle at rest."""

from firmware.controller import Controller
from firmware.decide.engagement import READY
from firmware.decide.pedalling import Pedalling
from firmware.guard.output_guard import OutputGuard
from firmware.records import Inputs
from firmware.sense.crank import Crank
from firmware.sense.rotation import Wheel
from firmware.settings import MOTOR_SPEED, Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import RANGES
from host_sim.proof.lemmas_decide import RELEASE_GAP_US
from host_sim.proof.lemmas_doubt import FALL_LEAST_MAX_MA, JUDGED_EMF_MAX_MV, STUCK_LEAST_MA
from host_sim.proof.lemmas_sense import SHORTEST_PITCH_US, STANDSTILL_US
from host_sim.proof.lemmas_wheel import LATE_UNSEEN_MM_PER_S, STOPPABLE_MM_PER_S
from host_sim.proof.numbers import Numbers


def _within(ex: Numbers, value: int, bounds: tuple[int, int], what: str) -> None:
    ex.check(bounds[0] <= value <= bounds[1], what + " lies where the lemmas look for it")


def derived_crank_numbers(ex: Numbers) -> None:
    """Every number of pulses with every release cadence, one by one."""
    low, high = RANGES["pulses_per_rev"]
    slowest, fastest = RANGES["release_rpm"]
    count = 0
    for pulses in range(low, high + 1):
        for release_rpm in range(slowest, fastest + 1):
            for share in RANGES["edge_gap_permille"]:
                values = {"pulses_per_rev": pulses, "release_rpm": release_rpm, "engage_rpm": 60}
                values["edge_gap_permille"] = share
                settings = Settings(values)
                crank = Crank(settings, 0)
                _within(ex, crank._shortest_pitch_us, SHORTEST_PITCH_US, "the shortest pitch")
                ex.check(
                    crank._glitch_us == crank._shortest_pitch_us // 16, "the glitch time is its sixteenth"
                )
                _within(ex, crank._standstill_us, STANDSTILL_US, "the standstill time")
                legs = Pedalling(settings)
                _within(ex, legs._release_gap_us, RELEASE_GAP_US, "the release gap")
                _within(ex, legs._cadence._scale, (93_750, 1_500_000), "the cadence scale")
                _within(ex, legs._cadence._still_us, (15_889, 3_750_000), "the cadence's standstill")
                _within(
                    ex, OutputGuard(settings, 0)._longest_us, (15_000, 3_765_000), "the guard's longest gap"
                )
                ex.check(OutputGuard(settings, 0)._glitch_us == crank._glitch_us, "both have one glitch time")
                count += 1
    ex.outcome(count=count)


def derived_wheel_numbers(ex: Numbers) -> None:
    """Every number of wheel pulses, with the ends of all monotone settings: size, speeds, distance."""
    low, high = RANGES["wheel_pulses_per_rev"]
    count = 0
    for pulses in range(low, high + 1):
        for around_mm in RANGES["wheel_circumference_mm"]:
            wheel = Wheel(around_mm, pulses)
            _within(ex, wheel._rotation._scale, (781_250, 300_000_000), "the wheel's scale")
            _within(ex, wheel._shortest_us, (280, 108_000), "the wheel's shortest period")
            _within(ex, wheel._late_unseen_mm_per_s, LATE_UNSEEN_MM_PER_S, "how late the speed may be")
            _within(ex, wheel._stoppable_mm_per_s, STOPPABLE_MM_PER_S, "the speed that a brake can stop")
            for cutoff in RANGES["cutoff_speed_mm_per_s"]:
                for distance_mm in RANGES["cutoff_distance_mm"]:
                    values = {"wheel_pulses_per_rev": pulses, "wheel_circumference_mm": around_mm}
                    values["cutoff_speed_mm_per_s"] = cutoff
                    values["taper_start_mm_per_s"] = 500
                    values["startup_speed_mm_per_s"] = 1
                    values["cutoff_distance_mm"] = distance_mm
                    guard = OutputGuard(Settings(values), 0)
                    _within(ex, guard._cutoff_period_us, (560, 3_000_000), "the guard's cut-off period")
                    _within(ex, guard._cutoff_pulses_percent, (17, 64_001), "the guard's cut-off pulses")
                    product = guard._longest_period_us * guard._cutoff_pulses_percent
                    ex.check(product <= 1_000_000_000, "the guard's distance in time stays a small integer")
                    count += 1
    ex.outcome(count=count)


def derived_motor_numbers(ex: Numbers) -> None:
    """The ends of every motor setting from which a number is derived; all are monotone."""
    count = 0
    for emf in RANGES["back_emf_mv_per_m_per_s"]:
        for resistance_mohm in RANGES["motor_resistance_mohm"]:
            for no_load_ma in RANGES["no_load_current_ma"]:
                for cutoff in RANGES["cutoff_speed_mm_per_s"]:
                    values = {"motor_kind": MOTOR_SPEED, "back_emf_mv_per_m_per_s": emf}
                    values["motor_resistance_mohm"] = resistance_mohm
                    values["no_load_current_ma"] = no_load_ma
                    values["cutoff_speed_mm_per_s"] = cutoff
                    values["taper_start_mm_per_s"] = 500
                    values["startup_speed_mm_per_s"] = 1
                    controller = Controller(Settings(values), 0)
                    watch = controller.shunt_watch
                    _within(ex, watch._fall_least_ma, (0, FALL_LEAST_MAX_MA), "the least fall")
                    _within(ex, watch._stuck_least_ma, STUCK_LEAST_MA, "the least reading that may be stuck")
                    judged_mv = controller.plausibility._judged_emf_mv
                    _within(ex, judged_mv, (0, JUDGED_EMF_MAX_MV), "the lowest judged back-EMF")
                    count += 1
    ex.outcome(count=count)


def rest(ex: Numbers) -> None:
    """A bicycle at rest, with any levers' rest voltages and any clock: a step changes nothing."""
    controller = Controller(Settings({}), 0)
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    controller.engagement.state = READY
    controller.crank.standing = True
    controller.throttle.rest_seen = True
    controller.events._rest_samples = 20
    controller._last_us = now_us
    controller.slew_limiter.reset(0, now_us)
    controller.power_loop.rest(now_us)
    inputs = Inputs()
    inputs.brake_pulled = False
    inputs.throttle_mv = ex.integer("throttle", 400, 1000)
    inputs.battery_mv = ex.integer("battery", 15_000, 43_000)
    inputs.current_ma = ex.integer("current", 0, 1_000)
    supply = controller.supply
    supply._started = True
    supply._voltage_sum = inputs.battery_mv * 32
    supply._current_sum = inputs.current_ma * 4
    _step(controller, inputs, ticks_add_us(now_us, CONTROL_PERIOD_US))
    before = _state(controller)
    _step(controller, inputs, ticks_add_us(now_us, 10_000))
    for name, value in _state(controller).items():
        ex.check(value == before[name], "at rest a step leaves as it was: " + name)
    ex.check(controller.outputs.command_mv == 0, "at rest there is no command")
    ex.outcome(command=controller.outputs.command_mv, state=controller.engagement.state)


def _step(controller: Controller, inputs: Inputs, now_us: int) -> None:
    inputs.sampled_us = now_us
    controller.step(inputs, now_us)


def _state(controller: Controller) -> dict[str, int]:
    """Return the whole state kept between steps, except time stamps."""
    return {
        "state": controller.engagement.state,
        "event": controller.engagement.event,
        "fault": controller.faults.cause,
        "noise": controller.faults._noise_level,
        "turn of forgiving": controller.faults._noise_steps,
        "conditions": controller.faults.conditions,
        "command": controller.outputs.command_mv,
        "indicator": controller.outputs.indicator,
        "slew": controller.slew_limiter.command_mv,
        "remainder": controller.slew_limiter._carry_nv,
        "integral": controller.power_loop._integral_uv,
        "target": controller.power_loop.target_mv,
        "voltage": controller.supply._voltage_sum,
        "current": controller.supply._current_sum,
        "forward run": controller.crank.forward_run,
        "backward run": controller.crank.backward_run,
        "debt": controller.crank._behind,
        "standing": controller.crank.standing,
        "stopped": controller.pedalling.stopped,
        "engages": controller.pedalling.engages,
        "cadence": controller.pedalling.cadence_rpm,
        "speed": controller.wheel.speed_mm_per_s,
        "throttle": controller.throttle.share_permille,
        "rest samples": controller.events._rest_samples,
        "wanted": controller.request.wanted_w,
        "ceiling": controller.ceilings.ceiling_w,
        "turning": controller.guard._turning,
    }
