"""Random runs that mostly drive: any legal settings, with crank, wheel and motor that roughly fit them.

They roughly follow a ridden bicycle: a crank turns, a wheel turns, and the current follows the command. At
times something else happens: a lever at one of its thresholds, noise, a stall, a clock that goes back. A run
ends when the motor has not been driven for a while, so most steps drive.
"""

from random import Random

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import (
    ASCENDING,
    DUTY_CODED,
    FIRST_PITCH_EDGES,
    MOTOR_SPEED,
    MOTOR_TORQUE,
    MOTOR_UNKNOWN,
    TABLE,
    TWO_CHANNELS,
    Settings,
)
from firmware.ticks import TICKS_MAX_US
from host_sim.forms.vectors import Edge, VectorWriter

STEP_US = 5_000
STEPS_MAX = 600
IDLE_MAX = 60
REST_STEPS = 26
REST_STEP_US = 200_000
LEVELS = (0, 1, 3, 2)  # A crank that turns with channel A leading.
TIMES_US = (0, 1, 4_999, 20_000, 49_999, 50_000, 50_001, 100_000, 400_000, -1, -30_000)
US_PER_MINUTE = 60_000_000


class RandomLife:
    """One life. Read: `steps`."""

    def __init__(self, draw: Random, writer: VectorWriter, sensor_kind: int, motor_kind: int) -> None:
        """Draw settings for these kinds of pedal sensor and motor, and build a controller."""
        self._draw = draw
        self._writer = writer
        self._settings = fitting_settings(draw, sensor_kind, motor_kind)
        self._now_us = draw.choice((0, TICKS_MAX_US - 6_500_000, draw.randrange(TICKS_MAX_US + 1)))
        self._inputs = Inputs()
        self._controller = Controller(self._settings, self._now_us)
        writer.life(self._settings, self._controller, self._inputs, self._now_us)
        self.steps = 0
        self._edges: tuple[list[Edge], list[Edge]] = ([], [])
        self._place = 0
        self._crank_wait_us = 0
        self._wheel_wait_us = 0
        self._rpm = draw.randint(max(self._settings.engage_rpm, 30), 110)
        self._speed_mm_per_s = draw.randint(0, max(self._settings.taper_start_mm_per_s, 1_000))
        self._calm = draw.random() < 0.5
        self._battery_mv = draw.randint(self._settings.battery_foldback_mv, self._settings.battery_highest_mv)
        self._inputs.brake_pulled = False
        self._inputs.throttle_mv = draw.randint(
            self._settings.throttle_open_mv, self._settings.throttle_rest_mv
        )
        self._inputs.selector_mv = draw.randint(
            self._settings.selector_low_mv, self._settings.selector_high_mv
        )
        self._inputs.motor_decicelsius = draw.choice((200, self._settings.heat_foldback_decicelsius))

    def live(self) -> None:
        """Rest until the crank counts as standing, then ride until the motor is no longer driven."""
        for _ in range(REST_STEPS):
            self._measure()
            self._step(REST_STEP_US)
        idle = 0
        while self.steps < STEPS_MAX and idle < IDLE_MAX:
            elapsed_us = self._ride()
            self._step(elapsed_us)
            idle = 0 if self._controller.outputs.drive_enabled else idle + 1

    def _ride(self) -> int:
        """Prepare one step of riding; return how long after the one before it comes."""
        draw = self._draw
        elapsed_us = STEP_US + (draw.randint(-300, 300) if draw.random() < 0.3 else 0)
        if not self._calm and draw.random() < 0.004:
            elapsed_us = draw.choice(TIMES_US)
        if draw.random() < 0.02:
            self._rpm = max(min(self._rpm + draw.randint(-15, 15), 130), 0)
            self._speed_mm_per_s = max(self._speed_mm_per_s + draw.randint(-400, 450), 0)
        self._turn_crank(elapsed_us)
        self._turn_wheel(elapsed_us)
        self._measure()
        if not self._calm and draw.random() < 0.03:
            self._disturb()
        return elapsed_us

    def _turn_crank(self, elapsed_us: int) -> None:
        settings = self._settings
        if self._rpm == 0:
            return
        pitch_us = US_PER_MINUTE // (settings.pulses_per_rev * self._rpm)
        two_channels = settings.sensor_kind == TWO_CHANNELS
        while self._crank_wait_us < elapsed_us:
            self._place += 1 if settings.lead == 0 else -1
            levels = LEVELS[self._place & 3] if two_channels else self._place & 1
            self._record(0, levels, self._crank_wait_us)
            gap_us = pitch_us // (4 if two_channels else 2)
            if settings.sensor_kind == DUTY_CODED:
                longer = levels == settings.forward_duty_high
                gap_us = pitch_us * (3 if longer else 1) // 4
            self._crank_wait_us += max(gap_us, 1)
        self._crank_wait_us -= max(elapsed_us, 0)

    def _turn_wheel(self, elapsed_us: int) -> None:
        way_mm = max(self._settings.wheel_circumference_mm // self._settings.wheel_pulses_per_rev, 1)
        if self._speed_mm_per_s == 0:
            return
        while self._wheel_wait_us < elapsed_us:
            self._record(1, 1, self._wheel_wait_us)
            self._record(1, 0, self._wheel_wait_us)
            self._wheel_wait_us += max(way_mm * 1_000_000 // self._speed_mm_per_s, 1_500)
        self._wheel_wait_us -= max(elapsed_us, 0)

    def _record(self, which: int, levels: int, after_us: int) -> None:
        time_us = (self._now_us + after_us) & TICKS_MAX_US
        (self._inputs.wheel if which else self._inputs.crank).record(levels, time_us)
        self._edges[which].append((levels, time_us))

    def _measure(self) -> None:
        """Let battery and current roughly follow the command."""
        draw, inputs = self._draw, self._inputs
        power_w = self._motor_w() + draw.randint(0, 8)
        current_ma = power_w * 1_000_000 // max(self._battery_mv, 1)
        inputs.current_ma = min(max(current_ma, 0), 100_000)
        inputs.battery_mv = min(max(self._battery_mv - inputs.current_ma // 20, 0), 100_000)
        inputs.clear_requested = False

    def _motor_w(self) -> int:
        """Return the power that the motor draws at the present command and speed."""
        settings = self._settings
        command_mv = self._controller.outputs.command_mv
        over_mv = command_mv - settings.command_start_mv
        span_mv = settings.command_max_mv - settings.command_start_mv
        if over_mv <= 0:
            return 0
        emf_mv = settings.back_emf_mv_per_m_per_s * self._speed_mm_per_s // 1000
        resistance_mohm = settings.motor_resistance_mohm
        if settings.motor_kind == MOTOR_UNKNOWN:
            return settings.assist_power_w * over_mv // span_mv
        if settings.motor_kind == MOTOR_TORQUE:
            most_ma = max(self._battery_mv - emf_mv, 0) * 1000 // resistance_mohm
            current_ma = min(settings.motor_current_limit_ma * over_mv // span_mv, most_ma)
        else:
            volts_mv = self._battery_mv * over_mv // span_mv
            current_ma = min(
                max(volts_mv - emf_mv, 0) * 1000 // resistance_mohm, settings.motor_current_limit_ma
            )
        watts = (emf_mv + resistance_mohm * current_ma // 1000) * current_ma // 1_000_000
        return min(watts, self._battery_mv * settings.battery_current_limit_ma // 1_000_000)

    def _disturb(self) -> None:
        """Disturb the ride; values at thresholds are more likely than others."""
        draw, inputs, settings = self._draw, self._inputs, self._settings
        what = draw.randrange(10)
        by_one = draw.choice((-1, 0, 0, 1))
        if what == 0:
            inputs.brake_pulled = not inputs.brake_pulled
        elif what == 1:
            inputs.clear_requested = True
        elif what == 2:
            inputs.throttle_mv = _near(draw, settings, "throttle_", by_one)
        elif what == 3:
            inputs.selector_mv = _near(draw, settings, "selector_", by_one)
        elif what == 4:
            self._battery_mv = _near(draw, settings, "battery_", by_one)
        elif what == 5:
            inputs.motor_decicelsius = _near(draw, settings, "heat_", by_one)
        elif what == 6:
            inputs.sampled_us = (self._now_us - draw.choice((0, 49_000, 50_000, 50_001, -1))) & TICKS_MAX_US
        elif what == 7:
            self._record(0, draw.randrange(4), draw.randint(0, STEP_US))
        elif what == 8:
            inputs.current_ma = draw.choice((0, 149, 150, 151, 100_000))
        else:
            self._rpm = draw.choice((0, settings.engage_rpm, settings.release_rpm, 90))
            self._speed_mm_per_s = draw.choice(
                (0, settings.taper_start_mm_per_s, settings.cutoff_speed_mm_per_s)
            )

    def _step(self, elapsed_us: int) -> None:
        late = self._inputs.sampled_us
        self._now_us = (self._now_us + elapsed_us) & TICKS_MAX_US
        if self._calm or self._draw.random() < 0.99 or late == 0:
            self._inputs.sampled_us = self._now_us
        self._controller.step(self._inputs, self._now_us)
        self._writer.step(self._controller, self._inputs, self._edges, self._now_us)
        self._edges = ([], [])
        self.steps += 1


def _near(draw: Random, settings: Settings, prefix: str, by_one: int) -> int:
    """Return one of the settings whose names begin with `prefix`, or one more or less."""
    names = [
        row[0] for row in TABLE if row[0].startswith(prefix) and row[0].endswith(("_mv", "_decicelsius"))
    ]
    return max(settings.as_dict()[draw.choice(names)] + by_one, 0)


def draw_values(draw: Random) -> dict[str, int]:
    """Return values for all settings: defaults, ends of ranges and values between; pairs ascend."""
    ranges = {row[0]: (row[2], row[3]) for row in TABLE}
    values = {row[0]: draw.choice((row[1], row[2], row[3], draw.randint(row[2], row[3]))) for row in TABLE}
    values["engage_edges"] = max(values["engage_edges"], max(FIRST_PITCH_EDGES))
    while True:
        clashing = [pair for pair in ASCENDING if values[pair[0]] >= values[pair[1]]]
        if not clashing:
            return values
        for name in clashing[0]:
            values[name] = draw.randint(*ranges[name])


def fitting_settings(draw: Random, sensor_kind: int, motor_kind: int) -> Settings:
    """Return random legal settings with these two kinds; three in four request some power."""
    while True:
        values = draw_values(draw)
        values["sensor_kind"] = sensor_kind
        values["motor_kind"] = motor_kind
        if draw.random() < 0.9:
            for name in ("assist_power_w", "throttle_power_w", "power_limit_w"):
                values[name] = max(values[name], draw.randint(100, 1_500))
            values["engage_edges"] = draw.randint(5, 16)
            values["stop_pitch_percent"] = max(values["stop_pitch_percent"], 130)
            values["engage_speed_mm_per_s"] = 0
            values["selector_positions"] = draw.choice((0, 0, values["selector_positions"]))
        try:
            return Settings(values)
        except ValueError:
            continue


def write_lives(writer: VectorWriter, steps: int, seed: int) -> None:
    """Write lives of every pair of sensor and motor in turn, until `steps` is reached."""
    draw = Random(seed)
    pairs = [(sensor, motor) for motor in (MOTOR_SPEED, MOTOR_TORQUE, MOTOR_UNKNOWN) for sensor in range(3)]
    count = 0
    while writer.steps < steps:
        RandomLife(draw, writer, *pairs[count % len(pairs)]).live()
        count += 1
    write_questions(writer, draw, count * 2)


def write_questions(writer: VectorWriter, draw: Random, count: int) -> None:
    """Ask about settings that are legal except for one value, at an end of its range, or one pair."""
    for number in range(count):
        values = draw_values(draw)
        if number % 2 == 0:
            name, _, lowest, highest, _ = TABLE[number // 2 % len(TABLE)]
            values[name] = draw.choice((lowest - 1, lowest, highest, highest + 1))
        else:
            lower, higher = ASCENDING[number // 2 % len(ASCENDING)]
            values[lower] = values[higher] + draw.choice((-1, 0, 1))
        writer.question(values)
