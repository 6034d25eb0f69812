"""The effect of each fault of the bench on the world; `faults.py` has the names."""

from host_sim.bench.distortion import FIXED, STUCK, Distortion
from host_sim.bench.world import WIRE_OPEN, WIRE_SHORTED, WIRE_STUCK, World
from host_sim.plant.pedal_sensor import DEAD, STUCK_HIGH, STUCK_LOW
from host_sim.units import KM_PER_H_PER_M_PER_S


class FaultSpec:
    """One fault of a ride: `name` from FAULTS and the values of the keys that it needs.

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


def channel_dead(world: World, spec: FaultSpec) -> None:
    """The channel keeps its present level."""
    world.channel_states[_channel(spec)] = DEAD


def channel_low(world: World, spec: FaultSpec) -> None:
    """The channel reads low."""
    world.channel_states[_channel(spec)] = STUCK_LOW


def channel_high(world: World, spec: FaultSpec) -> None:
    """The channel reads high, as with a broken wire and a pull-up."""
    world.channel_states[_channel(spec)] = STUCK_HIGH


def channels_swapped(world: World, _: FaultSpec) -> None:
    """A and B are exchanged."""
    world.channels_swapped = True


def magnet_missing(world: World, spec: FaultSpec) -> None:
    """No channel sees the magnet."""
    world.magnet_strengths[(spec.magnet - 1) % world.pulses_per_rev] = 0.0


def magnet_weak(world: World, spec: FaultSpec) -> None:
    """The magnet's pulse is narrower."""
    world.magnet_strengths[(spec.magnet - 1) % world.pulses_per_rev] = spec.strength


def magnet_missing_on_channel(world: World, spec: FaultSpec) -> None:
    """One of two Hall switches of unequal strength does not see the magnet."""
    magnet = (spec.magnet - 1) % world.pulses_per_rev
    world.channel_shares[magnet + magnet + _channel(spec)] = 0.0


def crank_pulses_halved(world: World, _: FaultSpec) -> None:
    """Every second magnet is missing."""
    for magnet in range(1, world.pulses_per_rev, 2):
        world.magnet_strengths[magnet] = 0.0


def crank_pulses_doubled(world: World, _: FaultSpec) -> None:
    """Each magnet makes two pulses."""
    world.pulses_multiple = 2


def channel_dropouts(world: World, spec: FaultSpec) -> None:
    """A loose contact: the channel reads low for a moment, now and then."""
    world.channels_lost |= 1 << _channel(spec)
    world.channels_lost_per_s = spec.per_s


def channel_interference(world: World, spec: FaultSpec) -> None:
    """Evenly spaced pulses invert the channel's level."""
    world.interference_channel |= 1 << _channel(spec)
    world.interference_per_s = spec.per_s
    world.interference_pulse_s = spec.pulse_ms * 1e-3


def noise(world: World, spec: FaultSpec) -> None:
    """Short pulses at random on all channels."""
    world.noise_per_s = spec.per_s


def bounce(world: World, spec: FaultSpec) -> None:
    """Each edge of the crank bounces."""
    world.bounces = True


def throttle_open(world: World, _: FaultSpec) -> None:
    """The wire is broken and pulled down."""
    world.throttle_wire = WIRE_OPEN


def throttle_shorted(world: World, _: FaultSpec) -> None:
    """The wire touches its supply."""
    world.throttle_wire = WIRE_SHORTED


def throttle_stuck(world: World, _: FaultSpec) -> None:
    """The voltage stays what it was."""
    world.throttle_wire = WIRE_STUCK


def selector_open(world: World, _: FaultSpec) -> None:
    """The wire is broken and pulled down."""
    world.selector_wire = WIRE_OPEN


def selector_shorted(world: World, _: FaultSpec) -> None:
    """The wire touches its supply."""
    world.selector_wire = WIRE_SHORTED


def selector_stuck(world: World, _: FaultSpec) -> None:
    """The voltage stays what it was."""
    world.selector_wire = WIRE_STUCK


def wheel_lost(world: World, _: FaultSpec) -> None:
    """No wheel pulse comes."""
    world.wheel_sensor.working = False


def wheel_pulses(world: World, spec: FaultSpec) -> None:
    """The wheel gives a share of its pulses, up to twice as many."""
    world.wheel_sensor.pulses_share = spec.percent * 0.01


def wheel_dropouts(world: World, spec: FaultSpec) -> None:
    """A share of the wheel pulses is lost at random."""
    world.wheel_faults.lost_share = spec.percent * 0.01


def wheel_noise(world: World, spec: FaultSpec) -> None:
    """Extra wheel pulses come at random."""
    world.wheel_faults.noise_per_s = spec.per_s


def wheel_interference(world: World, spec: FaultSpec) -> None:
    """Extra wheel pulses come at even intervals."""
    world.wheel_faults.interference_per_s = spec.per_s


def wheel_slips(world: World, spec: FaultSpec) -> None:
    """The motor's wheel turns faster than the road."""
    world.drive_faults.slip_m_per_s = spec.km_per_h / KM_PER_H_PER_M_PER_S


def unplugged(world: World, _: FaultSpec) -> None:
    """The command does not reach the motor controller."""
    world.drive_faults.unplugged = True


def cuts_out(world: World, spec: FaultSpec) -> None:
    """The motor controller cuts out for a moment, now and then."""
    world.drive_faults.cuts_per_s = spec.per_s
    world.drive_faults.cut_us = spec.cut_ms * 1000


def shunt_stuck(world: World, _: FaultSpec) -> None:
    """The reading stays what it was."""
    world.shunt_stuck = True


def shunt_dead(world: World, _: FaultSpec) -> None:
    """The shunt reads nothing."""
    world.shunt_dead = True


def battery_wire_open(world: World, _: FaultSpec) -> None:
    """The battery reads nothing."""
    world.battery_wire = WIRE_OPEN


def shunt_fixed(world: World, spec: FaultSpec) -> None:
    """The shunt always reads one current."""
    world.readings.shunt.mode = FIXED
    world.readings.shunt.fixed = int(spec.amps * 1000.0 + 0.5)


def heat_open(world: World, _: FaultSpec) -> None:
    """The wire of the motor's temperature sensor is broken."""
    _fix(world.readings.heat, world.readings.heat.open_value)


def heat_shorted(world: World, _: FaultSpec) -> None:
    """The motor's temperature sensor is shorted."""
    _fix(world.readings.heat, world.readings.heat.high_value)


def brake_open(world: World, _: FaultSpec) -> None:
    """The brake reads as pulled."""
    _fix(world.readings.brake, 1)


def brake_shorted(world: World, _: FaultSpec) -> None:
    """The brake never reads as pulled."""
    _fix(world.readings.brake, 0)


def clock_jumps(world: World, spec: FaultSpec) -> None:
    """The board's clock jumps once."""
    world.board_clock.jump_us = int(spec.seconds * 1e6)


def clock_runs(world: World, spec: FaultSpec) -> None:
    """The board's clock runs at another pace."""
    world.board_clock.percent = int(spec.percent)


def clock_stands(world: World, _: FaultSpec) -> None:
    """The board's clock stops."""
    world.board_clock.percent = 0


def loop_stalls(world: World, spec: FaultSpec) -> None:
    """Each step comes late."""
    world.stall_us = spec.stall_ms * 1000


# Faults of one reading, the same for each of them.


def _fix(reading: Distortion, value: int) -> None:
    reading.mode = FIXED
    reading.fixed = value


def _reading(world: World, spec: FaultSpec) -> Distortion:
    """Return the reading that a fault's name begins with."""
    name = spec.name
    if name.startswith("throttle"):
        return world.readings.throttle
    if name.startswith("selector"):
        return world.readings.selector
    if name.startswith("battery"):
        return world.readings.battery
    if name.startswith("shunt"):
        return world.readings.shunt
    if name.startswith("brake"):
        return world.readings.brake
    return world.readings.heat


def reading_high(world: World, spec: FaultSpec) -> None:
    """The reading is the converter's highest."""
    reading = _reading(world, spec)
    _fix(reading, reading.high_value)


def reading_stuck(world: World, spec: FaultSpec) -> None:
    """The reading stays what it was."""
    _reading(world, spec).mode = STUCK


def reading_gain(world: World, spec: FaultSpec) -> None:
    """The reading is a share of the true value."""
    _reading(world, spec).gain = spec.percent * 0.01


def reading_noise(world: World, spec: FaultSpec) -> None:
    """Normally distributed noise is added to the reading."""
    reading = _reading(world, spec)
    reading.noise = spec.percent * 0.01 * float(reading.high_value)


def reading_interference(world: World, spec: FaultSpec) -> None:
    """A sine is added to the reading."""
    reading = _reading(world, spec)
    reading.interference = spec.percent * 0.01 * float(reading.high_value)
    reading.interference_per_s = spec.per_s


def reading_dropouts(world: World, spec: FaultSpec) -> None:
    """A loose contact reads as an open wire for a moment, now and then."""
    _reading(world, spec).lost_per_s = spec.per_s
