"""Faults that a ride can bring about, each by its name, switched on and off as the ride goes.

Adding one: a row in FAULTS, with the keys it needs and the function that brings it about.
"""

from collections.abc import Callable

from host_sim.bench.distortion import FIXED, STUCK, Distortion
from host_sim.bench.world import WIRE_OPEN, WIRE_SHORTED, WIRE_STUCK, SensorState, World
from host_sim.plant.pedal_sensor import DEAD, STUCK_HIGH, STUCK_LOW


class FaultSpec:
    """One fault of a ride: `name` from FAULT_NAMES and the values of the keys that it needs.

    `channel` "A" or "B"; `magnet` from 1; `strength` 0 (gone) to 1 (as new); `per_s` events a second;
    `stall_ms`, `pulse_ms` and `cut_ms` milliseconds; `percent` of what is true, or of a reading's highest;
    `amps` at the battery; `seconds` by which a clock jumps; `km_per_h` by which a wheel slips.
    """

    __slots__ = (
        "amps",
        "channel",
        "cut_ms",
        "km_per_h",
        "magnet",
        "name",
        "per_s",
        "percent",
        "pulse_ms",
        "seconds",
        "stall_ms",
        "strength",
    )

    def __init__(
        self,
        name: str,
        channel: str = "A",
        magnet: int = 1,
        strength: float = 0.0,
        per_s: float = 0.0,
        stall_ms: int = 0,
        percent: float = 100.0,
        amps: float = 0.0,
        seconds: float = 0.0,
        pulse_ms: float = 0.0,
        cut_ms: int = 0,
        km_per_h: float = 0.0,
    ) -> None:
        """Describe a fault; nothing happens yet."""
        self.name = name
        self.channel = channel
        self.magnet = magnet
        self.strength = strength
        self.per_s = per_s
        self.stall_ms = stall_ms
        self.percent = percent
        self.amps = amps
        self.seconds = seconds
        self.pulse_ms = pulse_ms
        self.cut_ms = cut_ms
        self.km_per_h = km_per_h


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


def _magnet_missing_on_channel(world: World, spec: FaultSpec) -> None:
    magnet = (spec.magnet - 1) % world.pulses_per_rev
    world.channel_shares[magnet + magnet + _channel(spec)] = 0.0


def _crank_pulses_halved(world: World, _: FaultSpec) -> None:
    for magnet in range(1, world.pulses_per_rev, 2):
        world.magnet_strengths[magnet] = 0.0


def _crank_pulses_doubled(world: World, _: FaultSpec) -> None:
    world.pulses_multiple = 2


def _channel_dropouts(world: World, spec: FaultSpec) -> None:
    world.channels_lost |= 1 << _channel(spec)
    world.channels_lost_per_s = spec.per_s


def _channel_interference(world: World, spec: FaultSpec) -> None:
    world.interference_channel |= 1 << _channel(spec)
    world.interference_per_s = spec.per_s
    world.interference_pulse_s = spec.pulse_ms * 1e-3


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


def _selector_stuck(world: World, _: FaultSpec) -> None:
    world.selector_wire = WIRE_STUCK


def _wheel_lost(world: World, _: FaultSpec) -> None:
    world.wheel_sensor.working = False


def _wheel_pulses(world: World, spec: FaultSpec) -> None:
    world.wheel_sensor.pulses_share = spec.percent * 0.01


def _wheel_dropouts(world: World, spec: FaultSpec) -> None:
    world.wheel_faults.lost_share = spec.percent * 0.01


def _wheel_noise(world: World, spec: FaultSpec) -> None:
    world.wheel_faults.noise_per_s = spec.per_s


def _wheel_interference(world: World, spec: FaultSpec) -> None:
    world.wheel_faults.interference_per_s = spec.per_s


def _wheel_slips(world: World, spec: FaultSpec) -> None:
    world.drive_faults.slip_m_per_s = spec.km_per_h / 3.6


def _unplugged(world: World, _: FaultSpec) -> None:
    world.drive_faults.unplugged = True


def _cuts_out(world: World, spec: FaultSpec) -> None:
    world.drive_faults.cuts_per_s = spec.per_s
    world.drive_faults.cut_us = spec.cut_ms * 1000


def _shunt_stuck(world: World, _: FaultSpec) -> None:
    world.shunt_stuck = True


def _shunt_dead(world: World, _: FaultSpec) -> None:
    world.shunt_dead = True


def _battery_wire_open(world: World, _: FaultSpec) -> None:
    world.battery_wire = WIRE_OPEN


def _shunt_fixed(world: World, spec: FaultSpec) -> None:
    world.shunt_reading.mode = FIXED
    world.shunt_reading.fixed = int(spec.amps * 1000.0 + 0.5)


def _heat_open(world: World, _: FaultSpec) -> None:
    _fix(world.heat_reading, world.heat_reading.open_value)


def _heat_shorted(world: World, _: FaultSpec) -> None:
    _fix(world.heat_reading, world.heat_reading.high_value)


def _brake_open(world: World, _: FaultSpec) -> None:
    _fix(world.brake_reading, 1)


def _brake_shorted(world: World, _: FaultSpec) -> None:
    _fix(world.brake_reading, 0)


def _clock_jumps(world: World, spec: FaultSpec) -> None:
    world.board_clock.jump_us = int(spec.seconds * 1e6)


def _clock_runs(world: World, spec: FaultSpec) -> None:
    world.board_clock.percent = int(spec.percent)


def _clock_stands(world: World, _: FaultSpec) -> None:
    world.board_clock.percent = 0


def _loop_stalls(world: World, spec: FaultSpec) -> None:
    world.stall_us = spec.stall_ms * 1000


# Faults of one reading, the same for each of them.


def _fix(reading: Distortion, value: int) -> None:
    reading.mode = FIXED
    reading.fixed = value


def _reading(world: World, spec: FaultSpec) -> Distortion:
    """Return the reading that a fault's name begins with."""
    name = spec.name
    if name.startswith("throttle"):
        return world.throttle_reading
    if name.startswith("selector"):
        return world.selector_reading
    if name.startswith("battery"):
        return world.battery_reading
    if name.startswith("shunt"):
        return world.shunt_reading
    if name.startswith("brake"):
        return world.brake_reading
    return world.heat_reading


def _reading_high(world: World, spec: FaultSpec) -> None:
    reading = _reading(world, spec)
    _fix(reading, reading.high_value)


def _reading_stuck(world: World, spec: FaultSpec) -> None:
    _reading(world, spec).mode = STUCK


def _reading_gain(world: World, spec: FaultSpec) -> None:
    _reading(world, spec).gain = spec.percent * 0.01


def _reading_noise(world: World, spec: FaultSpec) -> None:
    reading = _reading(world, spec)
    reading.noise = spec.percent * 0.01 * float(reading.high_value)


def _reading_interference(world: World, spec: FaultSpec) -> None:
    reading = _reading(world, spec)
    reading.interference = spec.percent * 0.01 * float(reading.high_value)
    reading.interference_per_s = spec.per_s


def _reading_dropouts(world: World, spec: FaultSpec) -> None:
    _reading(world, spec).lost_per_s = spec.per_s


FAULTS: dict[str, tuple[tuple[str, ...], Callable[[World, FaultSpec], None]]] = {
    "channel dead": (("channel",), _channel_dead),
    "channel stuck low": (("channel",), _channel_low),
    "channel stuck high": (("channel",), _channel_high),
    "channels swapped": ((), _channels_swapped),
    "magnet missing": (("magnet",), _magnet_missing),
    "magnet weak": (("magnet", "strength"), _magnet_weak),
    "magnet missing on one channel": (("channel", "magnet"), _magnet_missing_on_channel),
    "crank pulses halved": ((), _crank_pulses_halved),
    "crank pulses doubled": ((), _crank_pulses_doubled),
    "channel dropouts": (("channel", "per_s"), _channel_dropouts),
    "channel interference": (("channel", "per_s", "pulse_ms"), _channel_interference),
    "noise": (("per_s",), _noise),
    "bounce": ((), _bounce),
    "throttle wire open": ((), _throttle_open),
    "throttle wire shorted": ((), _throttle_shorted),
    "throttle stuck": ((), _throttle_stuck),
    "selector wire open": ((), _selector_open),
    "selector wire shorted": ((), _selector_shorted),
    "selector stuck": ((), _selector_stuck),
    "wheel sensor lost": ((), _wheel_lost),
    "wheel pulses": (("percent",), _wheel_pulses),
    "wheel pulse dropouts": (("percent",), _wheel_dropouts),
    "wheel sensor noise": (("per_s",), _wheel_noise),
    "wheel sensor interference": (("per_s",), _wheel_interference),
    "wheel slips": (("km_per_h",), _wheel_slips),
    "motor controller unplugged": ((), _unplugged),
    "motor controller cuts out": (("per_s", "cut_ms"), _cuts_out),
    "shunt reading stuck": ((), _shunt_stuck),
    "shunt reading dead": ((), _shunt_dead),
    "shunt reading fixed": (("amps",), _shunt_fixed),
    "shunt reading high": ((), _reading_high),
    "battery wire open": ((), _battery_wire_open),
    "battery reading high": ((), _reading_high),
    "battery reading stuck": ((), _reading_stuck),
    "motor temperature wire open": ((), _heat_open),
    "motor temperature wire shorted": ((), _heat_shorted),
    "motor temperature reading stuck": ((), _reading_stuck),
    "brake switch wire open": ((), _brake_open),
    "brake switch wire shorted": ((), _brake_shorted),
    "brake switch stuck": ((), _reading_stuck),
    "brake switch dropouts": (("per_s",), _reading_dropouts),
    "clock jumps": (("seconds",), _clock_jumps),
    "clock stands still": ((), _clock_stands),
    "clock runs": (("percent",), _clock_runs),
    "loop stalls": (("stall_ms",), _loop_stalls),
}
"""Name of the fault: the keys it needs, and what it does to the world."""

for _name in ("throttle", "selector", "battery", "shunt", "motor temperature"):
    FAULTS[f"{_name} reading gain"] = (("percent",), _reading_gain)
    FAULTS[f"{_name} reading noise"] = (("percent",), _reading_noise)
    FAULTS[f"{_name} reading interference"] = (("percent", "per_s"), _reading_interference)
    FAULTS[f"{_name} reading dropouts"] = (("per_s",), _reading_dropouts)

FAULT_NAMES = frozenset(FAULTS)


def set_faults(world: World, faults: list[FaultSpec]) -> None:
    """Make exactly these faults hold from now on; the ones not listed are healed."""
    before = SensorState(world)
    world.heal()
    for spec in faults:
        FAULTS[spec.name][1](world, spec)
    world.settle_sensor(before)
    world.settle_readings()
    world.board_clock.settle(world.now_us, before.jump_us)
