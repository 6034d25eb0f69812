"""Faults of a ride, each by its name, switched on and off during the ride.

To add one: a row in FAULTS, with its keys and the function in `fault_effects` that causes it.
"""

from collections.abc import Callable

from host_sim.bench import fault_effects as effects
from host_sim.bench.fault_effects import FaultSpec as FaultSpec  # Re-exported.
from host_sim.bench.world import SensorState, World

FAULTS: dict[str, tuple[tuple[str, ...], Callable[[World, FaultSpec], None]]] = {
    "channel dead": (("channel",), effects.channel_dead),
    "channel stuck low": (("channel",), effects.channel_low),
    "channel stuck high": (("channel",), effects.channel_high),
    "channels swapped": ((), effects.channels_swapped),
    "magnet missing": (("magnet",), effects.magnet_missing),
    "magnet weak": (("magnet", "strength"), effects.magnet_weak),
    "magnet missing on one channel": (("channel", "magnet"), effects.magnet_missing_on_channel),
    "crank pulses halved": ((), effects.crank_pulses_halved),
    "crank pulses doubled": ((), effects.crank_pulses_doubled),
    "channel dropouts": (("channel", "per_s"), effects.channel_dropouts),
    "channel interference": (("channel", "per_s", "pulse_ms"), effects.channel_interference),
    "noise": (("per_s",), effects.noise),
    "bounce": ((), effects.bounce),
    "throttle wire open": ((), effects.throttle_open),
    "throttle wire shorted": ((), effects.throttle_shorted),
    "throttle stuck": ((), effects.throttle_stuck),
    "selector wire open": ((), effects.selector_open),
    "selector wire shorted": ((), effects.selector_shorted),
    "selector stuck": ((), effects.selector_stuck),
    "wheel sensor lost": ((), effects.wheel_lost),
    "wheel pulses": (("percent",), effects.wheel_pulses),
    "wheel pulse dropouts": (("percent",), effects.wheel_dropouts),
    "wheel sensor noise": (("per_s",), effects.wheel_noise),
    "wheel sensor interference": (("per_s",), effects.wheel_interference),
    "wheel slips": (("km_per_h",), effects.wheel_slips),
    "motor controller unplugged": ((), effects.unplugged),
    "motor controller cuts out": (("per_s", "cut_ms"), effects.cuts_out),
    "shunt reading stuck": ((), effects.shunt_stuck),
    "shunt reading dead": ((), effects.shunt_dead),
    "shunt reading fixed": (("amps",), effects.shunt_fixed),
    "shunt reading high": ((), effects.reading_high),
    "battery wire open": ((), effects.battery_wire_open),
    "battery reading high": ((), effects.reading_high),
    "battery reading stuck": ((), effects.reading_stuck),
    "motor temperature wire open": ((), effects.heat_open),
    "motor temperature wire shorted": ((), effects.heat_shorted),
    "motor temperature reading stuck": ((), effects.reading_stuck),
    "brake switch wire open": ((), effects.brake_open),
    "brake switch wire shorted": ((), effects.brake_shorted),
    "brake switch stuck": ((), effects.reading_stuck),
    "brake switch dropouts": (("per_s",), effects.reading_dropouts),
    "clock jumps": (("seconds",), effects.clock_jumps),
    "clock stands still": ((), effects.clock_stands),
    "clock runs": (("percent",), effects.clock_runs),
    "loop stalls": (("stall_ms",), effects.loop_stalls),
}
"""Name of the fault: the keys it needs, and what it does to the world."""

for _name in ("throttle", "selector", "battery", "shunt", "motor temperature"):
    FAULTS[f"{_name} reading gain"] = (("percent",), effects.reading_gain)
    FAULTS[f"{_name} reading noise"] = (("percent",), effects.reading_noise)
    FAULTS[f"{_name} reading interference"] = (("percent", "per_s"), effects.reading_interference)
    FAULTS[f"{_name} reading dropouts"] = (("per_s",), effects.reading_dropouts)


def set_faults(world: World, faults: list[FaultSpec]) -> None:
    """Activate exactly these faults; all others end."""
    before = SensorState(world)
    world.heal()
    for spec in faults:
        FAULTS[spec.name][1](world, spec)
    world.settle_sensor(before)
    world.settle_readings()
    world.board_clock.settle(world.now_us, before.jump_us)
