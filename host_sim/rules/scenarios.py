"""The rides that test the rules: one scenario for each kind; each ride is made from its number.

All are courses in the format of a course file, so each can be saved and ridden again. On the roller
the speed is given, as on a test stand; elsewhere it comes from the physics. The classes are in
`pedalling_rides`, `driving_rides` and `faulty_rides`.
"""

from host_sim.rules.driving_rides import (
    BatteryRunsLow,
    BrakePull,
    HelpResumed,
    HillyRide,
    MotorGetsHot,
    PowerSteps,
    SelectorPositions,
    SlopeBegins,
    ThrottleFromRest,
)
from host_sim.rules.faulty_rides import (
    BrownOut,
    FaultWhileDriving,
    NoiseAtRest,
    Overrun,
    ShuntStuck,
    ThrottleStuck,
    channel_faults,
)
from host_sim.rules.pedalling_rides import (
    Backward,
    FadingLegs,
    FirstEdges,
    Nudges,
    Rocking,
    RockingOn,
    SlowAtSpeed,
    SlowStart,
    SpeedSweep,
    SteadyCadence,
    SteadySpeed,
    SuddenStop,
    TurningAtPowerUp,
)

SUDDEN_STOP = SuddenStop()
FADING_LEGS = FadingLegs()
BACKWARD = Backward()
SPEED_SWEEP = SpeedSweep()
SLOW_AT_SPEED = SlowAtSpeed()
STEADY_CADENCE = SteadyCadence()
STEADY_SPEED = SteadySpeed()
TURNING_AT_POWER_UP = TurningAtPowerUp()
FIRST_EDGES = FirstEdges()
SLOW_START = SlowStart()
NUDGES = Nudges()
ROCKING = Rocking()
ROCKING_ON = RockingOn()
THROTTLE_FROM_REST = ThrottleFromRest()
BRAKE_PULL = BrakePull()
SELECTOR_TOUR = SelectorPositions()
POWER_STEPS = PowerSteps()
HELP_RESUMED = HelpResumed()
SLOPE_BEGINS = SlopeBegins()
HILLY_RIDE = HillyRide()
BATTERY_RUNS_LOW = BatteryRunsLow()
MOTOR_GETS_HOT = MotorGetsHot()
BROWN_OUT = BrownOut()
NOISE_AT_REST = NoiseAtRest()
LEVER_FAULTS = FaultWhileDriving(
    "lever faults",
    "a lever wire breaks or touches its supply while the motor drives",
    (
        {"name": "throttle wire open"},
        {"name": "throttle wire shorted"},
        {"name": "selector wire open"},
        {"name": "selector wire shorted"},
    ),
)
THROTTLE_STUCK = ThrottleStuck()
WHEEL_LOST = FaultWhileDriving(
    "wheel sensor lost", "the wheel sensor is lost", ({"name": "wheel sensor lost"},)
)
SHUNT_DEAD = FaultWhileDriving("shunt dead", "the shunt reads nothing", ({"name": "shunt reading dead"},))
SHUNT_STUCK = ShuntStuck()
OVERRUN = Overrun()
STALLS = FaultWhileDriving(
    "loop stalls",
    "the loop stalls for 200 ms, for 20 ms and for good",
    tuple({"name": "loop stalls", "stall_ms": stall_ms} for stall_ms in (200, 20, 60_000)),
)
NOISE = FaultWhileDriving(
    "noise while riding",
    "noise bursts on the pedal sensor while riding",
    tuple({"name": "noise", "per_s": rate} for rate in (2.0, 20.0, 200.0, 2000.0)),
)
SENSOR_FAULTS = FaultWhileDriving(
    "pedal sensor faults",
    "the pedal sensor loses a channel or a magnet, or its wires are swapped",
    (
        *channel_faults("channel dead"),
        *channel_faults("channel stuck low"),
        *channel_faults("channel stuck high"),
        {"name": "channels swapped"},
        {"name": "magnet missing", "magnet": 3},
        {"name": "magnet weak", "magnet": 2, "strength": 0.3},
        {"name": "bounce"},
    ),
)
FAULTY = (
    LEVER_FAULTS,
    THROTTLE_STUCK,
    WHEEL_LOST,
    SHUNT_DEAD,
    SHUNT_STUCK,
    OVERRUN,
    STALLS,
    NOISE,
    SENSOR_FAULTS,
)
HEALTHY = (
    SUDDEN_STOP,
    FADING_LEGS,
    BACKWARD,
    SPEED_SWEEP,
    SLOW_AT_SPEED,
    STEADY_CADENCE,
    TURNING_AT_POWER_UP,
    FIRST_EDGES,
    SLOW_START,
    NUDGES,
    BRAKE_PULL,
    SELECTOR_TOUR,
    POWER_STEPS,
    HELP_RESUMED,
    SLOPE_BEGINS,
    HILLY_RIDE,
    BATTERY_RUNS_LOW,
    MOTOR_GETS_HOT,
    THROTTLE_FROM_REST,
    BROWN_OUT,
)
EVERY = (*HEALTHY, STEADY_SPEED, ROCKING, ROCKING_ON, NOISE_AT_REST, *FAULTY)
