"""Lemmas about the whole: the numbers that constructors derive, and a bicycle at rest."""

from firmware.controller import Controller
from firmware.decide.engagement import READY
from firmware.guard.output_guard import OutputGuard
from firmware.records import Inputs
from firmware.sense.crank import Crank
from firmware.sense.rotation import Wheel
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US, ticks_add_us
from host_sim.proof.domain import RANGES, lies_in
from host_sim.proof.inside import Inside
from host_sim.proof.lemmas_sense import SHORTEST_PITCH_US, STANDSTILL_US
from host_sim.proof.lemmas_wheel import LATE_UNSEEN_MM_PER_S, STOPPABLE_MM_PER_S
from host_sim.proof.numbers import Numbers


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
                crank = Inside(Crank(settings, 0))
                lies_in(ex, crank.shortest_pitch_us, SHORTEST_PITCH_US, "the shortest pitch")
                ex.check(
                    crank.glitch_us == crank.shortest_pitch_us // 16,
                    "the glitch time is its sixteenth",
                )
                lies_in(ex, crank.standstill_us, STANDSTILL_US, "the standstill time")
                count += 1
    ex.outcome(count=count)


def derived_wheel_numbers(ex: Numbers) -> None:
    """Every number of wheel pulses, with the ends of all monotone settings: size, speeds, distance."""
    low, high = RANGES["wheel_pulses_per_rev"]
    count = 0
    for pulses in range(low, high + 1):
        for around_mm in RANGES["wheel_circumference_mm"]:
            wheel = Inside(Wheel(around_mm, pulses))
            lies_in(ex, Inside(wheel.rotation).scale, (781_250, 300_000_000), "the wheel's scale")
            lies_in(ex, wheel.shortest_us, (280, 108_000), "the wheel's shortest period")
            lies_in(ex, wheel.late_unseen_mm_per_s, LATE_UNSEEN_MM_PER_S, "how late the speed may be")
            lies_in(ex, wheel.stoppable_mm_per_s, STOPPABLE_MM_PER_S, "the speed that a brake can stop")
            for cutoff in RANGES["cutoff_speed_mm_per_s"]:
                for distance_mm in RANGES["cutoff_distance_mm"]:
                    values = {"wheel_pulses_per_rev": pulses, "wheel_circumference_mm": around_mm}
                    values["cutoff_speed_mm_per_s"] = cutoff
                    values["taper_start_mm_per_s"] = 500
                    values["startup_speed_mm_per_s"] = 1
                    values["cutoff_distance_mm"] = distance_mm
                    guard = Inside(OutputGuard(Settings(values), 0))
                    lies_in(ex, guard.cutoff_period_us, (560, 3_000_000), "the guard's cut-off period")
                    lies_in(ex, guard.cutoff_pulses_percent, (17, 64_001), "the guard's cut-off pulses")
                    product = guard.longest_period_us * guard.cutoff_pulses_percent
                    ex.check(product <= 1_000_000_000, "the guard's distance in time stays a small integer")
                    count += 1
    ex.outcome(count=count)


def rest(ex: Numbers) -> None:
    """A bicycle at rest, with any levers' rest voltages and any clock: a step changes nothing."""
    controller = Controller(Settings({}), 0)
    now_us = ex.integer("now", 0, TICKS_MAX_US)
    controller.engagement.state = READY
    controller.crank.standing = True
    controller.throttle.rest_seen = True
    Inside(controller.events).rest_samples = 20
    Inside(controller).last_us = now_us
    controller.slew_limiter.reset(0, now_us)
    controller.power_loop.rest(now_us)
    inputs = Inputs()
    inputs.brake_pulled = False
    inputs.throttle_mv = ex.integer("throttle", 400, 1000)
    inputs.battery_mv = ex.integer("battery", 15_000, 43_000)
    inputs.current_ma = ex.integer("current", 0, 1_000)
    supply = controller.supply
    inner = Inside(supply)
    inner.started = True
    inner.voltage_sum = inputs.battery_mv * 32
    inner.current_sum = inputs.current_ma * 4
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
        "noise": Inside(controller.faults).noise_level,
        "turn of forgiving": Inside(controller.faults).noise_steps,
        "conditions": controller.faults.conditions,
        "command": controller.outputs.command_mv,
        "indicator": controller.outputs.indicator,
        "slew": controller.slew_limiter.command_mv,
        "remainder": Inside(controller.slew_limiter).carry_nv,
        "integral": Inside(controller.power_loop).integral_uv,
        "target": controller.power_loop.target_mv,
        "voltage": Inside(controller.supply).voltage_sum,
        "current": Inside(controller.supply).current_sum,
        "forward run": controller.crank.forward_run,
        "backward run": controller.crank.backward_run,
        "debt": Inside(controller.crank).behind,
        "standing": controller.crank.standing,
        "stopped": controller.pedalling.stopped,
        "engages": controller.pedalling.engages,
        "cadence": controller.pedalling.cadence_rpm,
        "speed": controller.wheel.speed_mm_per_s,
        "throttle": controller.throttle.share_permille,
        "rest samples": Inside(controller.events).rest_samples,
        "wanted": controller.request.wanted_w,
        "ceiling": controller.ceilings.ceiling_w,
        "turning": Inside(controller.guard).turning,
    }
