"""The one table of settings: name, default, lowest, highest, and a sentence for a person.

Everything that a practitioner may change is defined here once: the console, the bike file, the
manual, the tests and the proofs all read this table. Values are integers with the unit in the
name. Pairs that must ascend, below it, exclude impossible combinations.
"""

# Kinds of pedal sensor.
TWO_CHANNELS = 0
ONE_CHANNEL = 1
DUTY_CODED = 2

FIRST_PITCH_EDGES: tuple[int, ...] = (5, 3, 2)
"""By kind of sensor: edges that the first measured pitch takes. A lower number would change nothing."""

# Which channel changes first when the crank turns forward.
A_LEADS = 0
B_LEADS = 1

# What the throttle may do while nobody pedals.
THROTTLE_NEVER = 0
THROTTLE_BELOW_STARTUP_SPEED = 1
THROTTLE_FREELY = 2

# What the command sets in the motor controller.
MOTOR_UNKNOWN = 0
MOTOR_TORQUE = 1  # A share of the motor current limit.
MOTOR_SPEED = 2  # A share of the battery voltage.

SELECTOR_ABSENT = 0
SELECTOR_PROPORTIONAL = 1

TABLE: tuple[tuple[str, int, int, int, str], ...] = (
    # The pedal sensor.
    ("sensor_kind", TWO_CHANNELS, 0, 2, "0 two channels, 1 one channel, 2 one duty-coded channel"),
    ("lead", A_LEADS, 0, 1, "channel that changes first forward, or the only one: 0 channel A, 1 channel B"),
    ("forward_duty_high", 1, 0, 1, "duty-coded sensor: 1 if forward is the larger high share"),
    ("pulses_per_rev", 12, 4, 64, "pulses of one channel in one turn of the crank"),
    ("edge_gap_permille", 1000, 250, 1000, "largest share of a pitch between neighbouring edges of the ring"),
    # Engage and release.
    ("engage_edges", 8, 2, 128, "consecutive forward edges before engaging; at least 5 (two channels) or 3"),
    ("engage_rpm", 20, 5, 60, "cadence from which assistance engages"),
    ("release_rpm", 12, 4, 59, "cadence below which assistance releases"),
    ("backward_edges", 2, 1, 16, "consecutive backward edges that end all help"),
    ("stop_pitch_percent", 160, 100, 400, "stop gap as a share of the last measured pitch time"),
    ("cutoff_distance_mm", 2000, 500, 5000, "distance from the stop of pedalling to the end of assistance"),
    ("motor_lag_ms", 60, 0, 300, "time the motor controller takes to end its power"),
    ("engage_speed_mm_per_s", 0, 0, 2000, "speed below which nothing engages; 0 for none"),
    # Power.
    ("assist_power_w", 250, 0, 1500, "electrical watts that pedalling requests at full share"),
    ("throttle_power_w", 250, 0, 1500, "electrical watts that a fully open throttle requests"),
    ("power_limit_w", 250, 0, 1500, "ceiling of electrical watts, by law or by choice"),
    ("throttle_unpedalled", 1, 0, 2, "throttle alone: 0 never, 1 below the start-up speed, 2 freely"),
    ("startup_speed_mm_per_s", 1666, 0, 2000, "speed at which start-up assistance has ended"),
    ("taper_start_mm_per_s", 6111, 500, 13800, "speed at which power begins to fade"),
    ("cutoff_speed_mm_per_s", 6944, 1000, 13900, "speed at which assistance has ended"),
    # The wheel.
    ("wheel_circumference_mm", 2100, 500, 3000, "distance of one turn of the wheel"),
    ("wheel_pulses_per_rev", 1, 1, 64, "pulses of the wheel sensor in one turn"),
    ("wheel_lost_ms", 6000, 2000, 20000, "driving time without a wheel pulse until it counts as lost"),
    # Command voltage.
    ("command_start_mv", 1000, 0, 3000, "end of the motor controller's dead band: the command starts here"),
    ("command_max_mv", 3600, 500, 5000, "highest command voltage"),
    ("rise_mv_per_s", 600, 1, 10000, "fastest rise of the command"),
    ("fall_mv_per_s", 5000, 500, 10000, "fastest fall of the command; a cut does not wait for it"),
    # The motor, if it is known.
    ("motor_kind", MOTOR_UNKNOWN, 0, 2, "the command controls: 0 unknown, 1 motor current, 2 motor voltage"),
    ("back_emf_mv_per_m_per_s", 5000, 100, 30000, "back-EMF at a road speed of one metre per second"),
    ("motor_resistance_mohm", 250, 10, 5000, "resistance of the winding, leads included"),
    ("motor_current_limit_ma", 25000, 1000, 200000, "motor current at the highest command, or its limit"),
    ("battery_current_limit_ma", 15000, 1000, 100000, "highest battery current of the motor controller"),
    ("no_load_current_ma", 800, 0, 5000, "battery current with the motor turning freely"),
    ("seek_mv_per_s", 9000, 0, 10000, "rise of the command while it seeks the back-EMF; 0: it does not seek"),
    # Power loop.
    ("shunt_fitted", 1, 0, 1, "1 if battery current is measured, else the command follows the open map"),
    ("gain_uv_per_w", 1500, 0, 50000, "proportional gain of the power loop"),
    ("integral_ms", 600, 20, 20000, "integral time of the power loop"),
    ("open_map_full_w", 300, 50, 3000, "watts at the highest command, for the open map"),
    ("shunt_check_mm_per_s", 2777, 0, 6000, "speed below which the highest command must draw current"),
    # Throttle.
    ("throttle_fitted", 1, 0, 1, "1 if a throttle is connected"),
    ("throttle_open_mv", 400, 0, 4000, "below this the throttle wire is open"),
    ("throttle_rest_mv", 1000, 0, 4500, "at or below this the throttle is at rest"),
    ("throttle_full_mv", 3500, 100, 4900, "at or above this the throttle is fully open"),
    ("throttle_short_mv", 4300, 200, 5000, "above this the throttle wire is shorted to its supply"),
    # Selector.
    ("selector_positions", SELECTOR_ABSENT, 0, 6, "0 no selector, 1 potentiometer, 2 to 6 positions"),
    ("selector_open_mv", 200, 0, 4000, "below this the selector wire is open"),
    ("selector_low_mv", 500, 0, 4500, "selector voltage at its lowest share"),
    ("selector_high_mv", 4500, 100, 4950, "selector voltage at its highest share"),
    ("selector_short_mv", 4800, 200, 5000, "above this the selector wire is shorted to its supply"),
    ("share_1_permille", 0, 0, 1000, "assist share of selector position 1"),
    ("share_2_permille", 500, 0, 1000, "assist share of selector position 2"),
    ("share_3_permille", 1000, 0, 1000, "assist share of selector position 3"),
    ("share_4_permille", 1000, 0, 1000, "assist share of selector position 4"),
    ("share_5_permille", 1000, 0, 1000, "assist share of selector position 5"),
    ("share_6_permille", 1000, 0, 1000, "assist share of selector position 6"),
    # Battery and heat.
    ("battery_empty_mv", 30000, 10000, 80000, "battery voltage at which power has faded to zero"),
    ("battery_foldback_mv", 32000, 10100, 81000, "battery voltage below which power begins to fade"),
    ("battery_highest_mv", 43000, 10200, 100000, "above this the battery reading counts as wrong"),
    ("heat_sensor_fitted", 0, 0, 1, "1 if the motor has a temperature sensor"),
    ("heat_foldback_decicelsius", 1000, 300, 1800, "motor temperature above which power begins to fade"),
    ("heat_limit_decicelsius", 1300, 310, 2000, "motor temperature at which power has faded to zero"),
    # Faults.
    ("fault_samples", 6, 2, 100, "consecutive implausible samples that cause a fault"),
    ("noise_limit", 30, 5, 1000, "rejected edges that cause a fault; one is forgiven every 100 ms"),
)  # fmt: skip

ASCENDING: tuple[tuple[str, str], ...] = (
    ("release_rpm", "engage_rpm"),
    ("taper_start_mm_per_s", "cutoff_speed_mm_per_s"),
    ("startup_speed_mm_per_s", "cutoff_speed_mm_per_s"),
    ("command_start_mv", "command_max_mv"),
    ("throttle_open_mv", "throttle_rest_mv"),
    ("throttle_rest_mv", "throttle_full_mv"),
    ("throttle_full_mv", "throttle_short_mv"),
    ("selector_open_mv", "selector_low_mv"),
    ("selector_low_mv", "selector_high_mv"),
    ("selector_high_mv", "selector_short_mv"),
    ("battery_empty_mv", "battery_foldback_mv"),
    ("battery_foldback_mv", "battery_highest_mv"),
    ("heat_foldback_decicelsius", "heat_limit_decicelsius"),
)
"""Pairs in which the first must be lower than the second."""


class Settings:
    """One checked set of values, read as attributes; to change one, build another set."""

    __slots__ = tuple([row[0] for row in TABLE])

    sensor_kind: int
    lead: int
    forward_duty_high: int
    pulses_per_rev: int
    edge_gap_permille: int
    engage_edges: int
    engage_rpm: int
    release_rpm: int
    backward_edges: int
    stop_pitch_percent: int
    cutoff_distance_mm: int
    motor_lag_ms: int
    engage_speed_mm_per_s: int
    assist_power_w: int
    throttle_power_w: int
    power_limit_w: int
    throttle_unpedalled: int
    startup_speed_mm_per_s: int
    taper_start_mm_per_s: int
    cutoff_speed_mm_per_s: int
    wheel_circumference_mm: int
    wheel_pulses_per_rev: int
    wheel_lost_ms: int
    command_start_mv: int
    command_max_mv: int
    rise_mv_per_s: int
    fall_mv_per_s: int
    motor_kind: int
    back_emf_mv_per_m_per_s: int
    motor_resistance_mohm: int
    motor_current_limit_ma: int
    battery_current_limit_ma: int
    no_load_current_ma: int
    seek_mv_per_s: int
    shunt_fitted: int
    gain_uv_per_w: int
    integral_ms: int
    open_map_full_w: int
    shunt_check_mm_per_s: int
    throttle_fitted: int
    throttle_open_mv: int
    throttle_rest_mv: int
    throttle_full_mv: int
    throttle_short_mv: int
    selector_positions: int
    selector_open_mv: int
    selector_low_mv: int
    selector_high_mv: int
    selector_short_mv: int
    share_1_permille: int
    share_2_permille: int
    share_3_permille: int
    share_4_permille: int
    share_5_permille: int
    share_6_permille: int
    battery_empty_mv: int
    battery_foldback_mv: int
    battery_highest_mv: int
    heat_sensor_fitted: int
    heat_foldback_decicelsius: int
    heat_limit_decicelsius: int
    fault_samples: int
    noise_limit: int

    def __init__(self, values: dict[str, int]) -> None:
        """Take the defaults changed by `values`; ValueError names what is refused.

        Refused are unknown names, values that are out of range or not whole numbers, pairs of
        ASCENDING that do not ascend, and fewer engage edges than a first pitch takes.
        """
        known = [row[0] for row in TABLE]
        for name in values:
            if name not in known:
                raise ValueError("there is no setting " + str(name))
        for name, default, lowest, highest, _ in TABLE:
            value = values.get(name, default)
            if isinstance(value, bool) or not isinstance(value, int):
                raise ValueError(f"{name} must be a whole number from {lowest} to {highest}, got {value!r}")
            if not lowest <= value <= highest:
                raise ValueError(f"{name} must be {lowest} to {highest}, got {value}")
            setattr(self, name, value)
        for lower, higher in ASCENDING:
            if getattr(self, lower) >= getattr(self, higher):
                got = f"{getattr(self, lower)} and {getattr(self, higher)}"
                raise ValueError(f"{lower} must be lower than {higher}, got {got}")

        least = FIRST_PITCH_EDGES[self.sensor_kind]
        if self.engage_edges < least:
            kind = f"with sensor_kind {self.sensor_kind}"
            raise ValueError(f"engage_edges must be {least} or more {kind}, got {self.engage_edges}")

    def as_dict(self) -> dict[str, int]:
        """Return every setting by name, in the order of the table."""
        return {row[0]: getattr(self, row[0]) for row in TABLE}
