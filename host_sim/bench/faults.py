"""Faults that a ride can bring about, each by its name, switched on and off as the ride goes.

Adding one: a row in FAULTS, with the keys it needs and the function that brings it about.
"""

from collections.abc import Callable

from host_sim.bench.world import WIRE_OPEN, WIRE_SHORTED, WIRE_STUCK, World
from host_sim.plant.pedal_sensor import DEAD, STUCK_HIGH, STUCK_LOW


class FaultSpec:
    """One fault of a ride: `name` from FAULT_NAMES and the values of the keys that it needs.

    `channel` "A" or "B"; `magnet` from 1; `strength` 0 (gone) to 1 (as new); `per_s` events a second;
    `stall_ms` milliseconds.
    """

    __slots__ = ("channel", "magnet", "name", "per_s", "stall_ms", "strength")

    def __init__(
        self,
        name: str,
        channel: str = "A",
        magnet: int = 1,
        strength: float = 0.0,
        per_s: float = 0.0,
        stall_ms: int = 0,
    ) -> None:
        """Describe a fault; nothing happens yet."""
        self.name = name
        self.channel = channel
        self.magnet = magnet
        self.strength = strength
        self.per_s = per_s
        self.stall_ms = stall_ms


def _channel(spec: FaultSpec) -> int:
    return "AB".index(spec.channel)


def _channel_dead(world: World, spec: FaultSpec) -> None:
    world.channel_states[_channel(spec)] = DEAD


def _channel_low(world: World, spec: FaultSpec) -> None:
    world.channel_states[_channel(spec)] = STUCK_LOW


def _channel_high(world: World, spec: FaultSpec) -> None:
    world.channel_states[_channel(spec)] = STUCK_HIGH


def _channels_swapped(world: World, _: FaultSpec) -> None:
    world.channels_swapped = True


def _magnet_missing(world: World, spec: FaultSpec) -> None:
    world.magnet_strengths[(spec.magnet - 1) % world.pulses_per_rev] = 0.0


def _magnet_weak(world: World, spec: FaultSpec) -> None:
    world.magnet_strengths[(spec.magnet - 1) % world.pulses_per_rev] = spec.strength


def _noise(world: World, spec: FaultSpec) -> None:
    world.noise_per_s = spec.per_s


def _bounce(world: World, spec: FaultSpec) -> None:
    world.bounces = True


def _throttle_open(world: World, _: FaultSpec) -> None:
    world.throttle_wire = WIRE_OPEN


def _throttle_shorted(world: World, _: FaultSpec) -> None:
    world.throttle_wire = WIRE_SHORTED


def _throttle_stuck(world: World, _: FaultSpec) -> None:
    world.throttle_wire = WIRE_STUCK


def _selector_open(world: World, _: FaultSpec) -> None:
    world.selector_wire = WIRE_OPEN


def _selector_shorted(world: World, _: FaultSpec) -> None:
    world.selector_wire = WIRE_SHORTED


def _wheel_lost(world: World, _: FaultSpec) -> None:
    world.wheel_sensor.working = False


def _shunt_stuck(world: World, _: FaultSpec) -> None:
    world.shunt_stuck = True


def _shunt_dead(world: World, _: FaultSpec) -> None:
    world.shunt_dead = True


def _battery_wire_open(world: World, _: FaultSpec) -> None:
    world.battery_wire = WIRE_OPEN


def _loop_stalls(world: World, spec: FaultSpec) -> None:
    world.stall_us = spec.stall_ms * 1000


FAULTS: dict[str, tuple[tuple[str, ...], Callable[[World, FaultSpec], None]]] = {
    "channel dead": (("channel",), _channel_dead),
    "channel stuck low": (("channel",), _channel_low),
    "channel stuck high": (("channel",), _channel_high),
    "channels swapped": ((), _channels_swapped),
    "magnet missing": (("magnet",), _magnet_missing),
    "magnet weak": (("magnet", "strength"), _magnet_weak),
    "noise": (("per_s",), _noise),
    "bounce": ((), _bounce),
    "throttle wire open": ((), _throttle_open),
    "throttle wire shorted": ((), _throttle_shorted),
    "throttle stuck": ((), _throttle_stuck),
    "selector wire open": ((), _selector_open),
    "selector wire shorted": ((), _selector_shorted),
    "wheel sensor lost": ((), _wheel_lost),
    "shunt reading stuck": ((), _shunt_stuck),
    "shunt reading dead": ((), _shunt_dead),
    "battery wire open": ((), _battery_wire_open),
    "loop stalls": (("stall_ms",), _loop_stalls),
}
"""Name of the fault: the keys it needs, and what it does to the world."""

FAULT_NAMES = frozenset(FAULTS)


def set_faults(world: World, faults: list[FaultSpec]) -> None:
    """Make exactly these faults hold from now on; the ones not listed are healed."""
    states, swapped, strengths = world.channel_states, world.channels_swapped, world.magnet_strengths
    world.heal()
    for spec in faults:
        FAULTS[spec.name][1](world, spec)
    world.settle_sensor(states, swapped, strengths)
