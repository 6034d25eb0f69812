"""The rows of the fault matrix: every input of the controller, and every way it can fail that makes sense.

The reading of a broken wire depends on its pull-up or pull-down. So "open" shares a row with the equal
reading: a pedal sensor's channel is pulled up (open collector), levers and readings are pulled down.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from host_sim.bikes.model import Bike

Fault = dict[str, Any]
Applies = Callable[[Bike], bool]

CRANK, WHEEL, DRIVE = "crank", "wheel", "motor controller"
THROTTLE, SELECTOR, BRAKE = "throttle", "selector", "brake switch"
BATTERY, SHUNT, HEAT = "battery divider", "shunt", "motor temperature"
CLOCK, SUPPLY = "clock", "supply"
INPUTS = (CRANK, WHEEL, DRIVE, THROTTLE, SELECTOR, BATTERY, SHUNT, HEAT, BRAKE, CLOCK, SUPPLY)

SLOW_PER_S = 5.0  # A plausible cadence on most rings.
FAST_PER_S = 50.0  # The frequency of the mains in most countries.
SLOW = {"per_s": SLOW_PER_S, "pulse_ms": 100.0}
FAST = {"per_s": FAST_PER_S, "pulse_ms": 10.0}


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One input that fails in one way: `input`, `mode`, and the `faults` of a course that cause it.

    `applies` tells whether a bike has this input at all. `lost_s` are pairs of times after the start of the
    fault, in seconds, between which the supply is off. `backward` means that nothing fails, but the crank
    turns backward. `events` is the approximate number of times that the fault occurs in a ride; the limits
    apply to each time. `heals_s` ends the fault.
    """

    input: str
    mode: str
    faults: tuple[Fault, ...]
    applies: Applies = lambda bike: True
    lost_s: tuple[tuple[float, float], ...] = ()
    backward: bool = False
    events: int = 1
    heals_s: float | None = None

    @property
    def name(self) -> str:
        """The name of the row in tables, hazards and tests."""
        return f"{self.input}: {self.mode}"


def _two_channels(bike: Bike) -> bool:
    return bike.pedal_sensor.kind == "two channels"


def _channel_rows(channel: str, applies: Applies) -> list[Row]:
    def fault(name: str, **keys: float) -> tuple[Fault, ...]:
        return ({"name": name, "channel": channel, **keys},)

    modes = {
        "stuck low": fault("channel stuck low"),
        "open or stuck high": fault("channel stuck high"),
        "stuck as it is": fault("channel dead"),
        "misses a magnet": fault("magnet missing on one channel", magnet=2),
        "dropouts": fault("channel dropouts", per_s=2.0),
        "interference 5 Hz": fault("channel interference", **SLOW),
        "interference 50 Hz": fault("channel interference", **FAST),
    }
    return [Row(CRANK, f"{channel} {mode}", faults, applies) for mode, faults in modes.items()]


def _both_rows() -> list[Row]:
    def both(name: str, **keys: float) -> tuple[Fault, ...]:
        return tuple({"name": name, "channel": channel, **keys} for channel in "AB")

    return [
        Row(CRANK, "both stuck as they are", both("channel dead"), _two_channels),
        Row(CRANK, "both open or stuck high", both("channel stuck high"), _two_channels),
        Row(CRANK, "both dropouts", both("channel dropouts", per_s=2.0), _two_channels),
        Row(CRANK, "both interference 5 Hz", both("channel interference", **SLOW), _two_channels),
        Row(CRANK, "A and B exchanged", ({"name": "channels swapped"},), _two_channels),
        Row(CRANK, "magnet missing", ({"name": "magnet missing", "magnet": 2},)),
        Row(CRANK, "magnet weak", ({"name": "magnet weak", "magnet": 2, "strength": 0.4},)),
        Row(CRANK, "half the pulses", ({"name": "crank pulses halved"},)),
        Row(CRANK, "double pulses", ({"name": "crank pulses doubled"},)),
        Row(CRANK, "bounce", ({"name": "bounce"},)),
        Row(CRANK, "noise 5 a second", ({"name": "noise", "per_s": 5.0},)),
        Row(CRANK, "noise 500 a second", ({"name": "noise", "per_s": 500.0},)),
        Row(CRANK, "legs turn backward", (), backward=True),
    ]


def _wheel_rows() -> list[Row]:
    modes: dict[str, Fault] = {
        "lost, open or stuck": {"name": "wheel sensor lost"},
        "half the pulses": {"name": "wheel pulses", "percent": 50.0},
        "half as many again": {"name": "wheel pulses", "percent": 150.0},
        "double pulses": {"name": "wheel pulses", "percent": 200.0},
        "dropouts 30 %": {"name": "wheel pulse dropouts", "percent": 30.0},
        "interference 5 Hz": {"name": "wheel sensor interference", "per_s": SLOW_PER_S},
        "interference 50 Hz": {"name": "wheel sensor interference", "per_s": FAST_PER_S},
        "noise 20 a second": {"name": "wheel sensor noise", "per_s": 20.0},
        "slips 10 km/h": {"name": "wheel slips", "km_per_h": 10.0},
    }
    return [Row(WHEEL, mode, (fault,)) for mode, fault in modes.items()]


def _reading_rows(of_input: str, reading: str, applies: Applies, extra: dict[str, Fault]) -> list[Row]:
    """Return the row of each mode that every analogue reading has, after `extra`, its own."""
    modes = extra | {
        "gain -50 %": {"name": f"{reading} reading gain", "percent": 50.0},
        "gain +50 %": {"name": f"{reading} reading gain", "percent": 150.0},
        "dropouts": {"name": f"{reading} reading dropouts", "per_s": 2.0},
        "interference 50 Hz": {
            "name": f"{reading} reading interference", "percent": 5.0, "per_s": FAST_PER_S + 0.5,
        },
        "noise 2 %": {"name": f"{reading} reading noise", "percent": 2.0},
    }  # fmt: skip
    return [Row(of_input, mode, (fault,), applies) for mode, fault in modes.items()]


def _lever(name: str) -> dict[str, Fault]:
    return {
        "open or stuck low": {"name": f"{name} wire open"},
        "stuck high": {"name": f"{name} wire shorted"},
        "stuck as it is": {"name": f"{name} stuck"},
    }


def _readings() -> list[Row]:
    battery: dict[str, Fault] = {
        "open or stuck low": {"name": "battery wire open"},
        "stuck high": {"name": "battery reading high"},
        "stuck as it is": {"name": "battery reading stuck"},
    }
    shunt: dict[str, Fault] = {
        "dead or open": {"name": "shunt reading dead"},
        "stuck high": {"name": "shunt reading high"},
        "stuck as it is": {"name": "shunt reading stuck"},
        "stuck at 0.72 A": {"name": "shunt reading fixed", "amps": 0.72},
    }
    heat: dict[str, Fault] = {
        "open": {"name": "motor temperature wire open"},
        "shorted": {"name": "motor temperature wire shorted"},
        "stuck as it is": {"name": "motor temperature reading stuck"},
    }
    return [
        *_reading_rows(THROTTLE, "throttle", lambda bike: bike.throttle.fitted, _lever("throttle")),
        *_reading_rows(SELECTOR, "selector", lambda bike: bike.selector.kind != "none", _lever("selector")),
        *_reading_rows(BATTERY, "battery", lambda bike: True, battery),
        *_reading_rows(SHUNT, "shunt", lambda bike: bike.shunt.fitted, shunt),
        *_reading_rows(HEAT, "motor temperature", lambda bike: bike.motor.has_temperature_sensor, heat),
    ]


def _brake_rows() -> list[Row]:
    modes: dict[str, Fault] = {
        "open": {"name": "brake switch wire open"},
        "shorted, never pulled": {"name": "brake switch wire shorted"},
        "stuck as it is": {"name": "brake switch stuck"},
        "dropouts": {"name": "brake switch dropouts", "per_s": 2.0},
    }
    return [
        Row(BRAKE, mode, (fault,), lambda bike: bike.brakes.switches != "none")
        for mode, fault in modes.items()
    ]


def _clock_rows() -> list[Row]:
    modes: dict[str, Fault] = {
        "jumps back 5 s": {"name": "clock jumps", "seconds": -5.0},
        "jumps back 30 ms": {"name": "clock jumps", "seconds": -0.03},
        "jumps forward 5 s": {"name": "clock jumps", "seconds": 5.0},
        "stands still": {"name": "clock stands still"},
        "runs at half pace": {"name": "clock runs", "percent": 50.0},
        "runs half as fast again": {"name": "clock runs", "percent": 150.0},
        "steps come 30 ms late": {"name": "loop stalls", "stall_ms": 30},
        "steps come 1 s late": {"name": "loop stalls", "stall_ms": 1000},
    }
    return [Row(CLOCK, mode, (fault,)) for mode, fault in modes.items()]


FLICKER_S = tuple((0.2 * number, 0.2 * number + 0.1) for number in range(20))

ROWS: tuple[Row, ...] = (
    *_channel_rows("A", lambda bike: _two_channels(bike) or bike.pedal_sensor.channel == "A"),
    *_channel_rows("B", lambda bike: _two_channels(bike) or bike.pedal_sensor.channel == "B"),
    *_both_rows(),
    *_wheel_rows(),
    Row(DRIVE, "unplugged", ({"name": "motor controller unplugged"},)),
    Row(DRIVE, "cuts out for 0.4 s", ({"name": "motor controller unplugged"},), heals_s=0.4),
    # About ten cuts in the 20 to 31 s of a cell.
    Row(
        DRIVE,
        "cuts out again and again",
        ({"name": "motor controller cuts out", "per_s": 0.5, "cut_ms": 400},),
        events=10,
    ),
    *_readings(),
    *_brake_rows(),
    *_clock_rows(),
    Row(SUPPLY, "lost for 50 ms", (), lost_s=((0.0, 0.05),)),
    Row(SUPPLY, "lost for 4 s", (), lost_s=((0.0, 4.0),)),
    Row(SUPPLY, "comes and goes", (), lost_s=FLICKER_S),
)
"""Every row, in the order of the inputs."""


def rows_for(bike: Bike) -> list[Row]:
    """Return the rows whose input this bike has."""
    return [row for row in ROWS if row.applies(bike)]


def row_named(name: str) -> Row:
    """Return a row by its name; KeyError if there is none."""
    return {row.name: row for row in ROWS}[name]
