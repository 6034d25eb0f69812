"""Lives of a controller under random legal settings, the same on every Python: CPython and MicroPython.

`SideBySide` rides the interpreted controller and a fused one together and compares outputs and state after
every step; `told` puts the result into one line:

    steps 12000 driving 7100 constructed 40 differences 0 digest 0x3a5c1

A life rests, pedals so that most settings help, and ends in disturbances of every kind.
"""

import sys

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import ASCENDING, FIRST_PITCH_EDGES, TABLE, Settings
from firmware.ticks import TICKS_MAX_US

REST_STEPS = 30
RIDE_STEPS = 480
WILD_STEPS = 60
FORWARD = (0, 1, 3, 2)  # Levels of a crank that turns forward, channel A leading.
RANGES = {row[0]: (row[2], row[3]) for row in TABLE}


class Draw:
    """Random numbers that every Python computes alike: a linear congruential generator modulo 2**31.

    Multiplier and increment as the C standard's example of rand() has them (ISO C 7.22.2).
    """

    def __init__(self, seed: int) -> None:
        """Start at `seed`."""
        self._state = seed

    def below(self, end: int) -> int:
        """Return a number from 0 to `end` - 1."""
        self._state = (self._state * 1103515245 + 12345) & 0x7FFFFFFF
        return (self._state >> 8) % end if end < 1 << 20 else self._state % end

    def between(self, lowest: int, highest: int) -> int:
        """Return a number from `lowest` to `highest`."""
        return lowest + self.below(highest - lowest + 1)

    def permille(self, share: int) -> bool:
        """Return True with a probability of `share` in a thousand."""
        return self.below(1000) < share


def draw_settings(draw: Draw) -> Settings:
    """Return legal settings: each at its default, at an end of its range, or anywhere in it."""
    values = {}
    for name, default, lowest, highest, _ in TABLE:
        values[name] = (default, default, default, lowest, highest, draw.between(lowest, highest))[
            draw.below(6)
        ]
    while True:
        clashing = [pair for pair in ASCENDING if values[pair[0]] >= values[pair[1]]]
        if not clashing:
            break
        for name in clashing[0]:
            values[name] = draw.between(*RANGES[name])
    if draw.permille(900):  # Most are to drive, so that what only driving reaches is compared often.
        for name in ("assist_power_w", "power_limit_w", "share_3_permille", "share_6_permille"):
            values[name] = max(values[name], 60)
        values["engage_edges"] = min(values["engage_edges"], 16)
        values["selector_positions"] = min(values["selector_positions"], 1)
    values["engage_edges"] = max(values["engage_edges"], FIRST_PITCH_EDGES[values["sensor_kind"]])
    return Settings(values)


class Life:
    """The inputs of one life; `controller` is the one that answers to them."""

    def __init__(self, draw: Draw, settings: Settings) -> None:
        """Draw how this life pedals and rolls."""
        self.draw = draw
        self.settings = settings
        self.now_us = (0, TICKS_MAX_US - 3_000_000, draw.below(TICKS_MAX_US))[draw.below(3)]
        self.inputs = inputs = Inputs()
        inputs.brake_pulled = False
        inputs.throttle_mv = settings.throttle_rest_mv
        inputs.selector_mv = settings.selector_high_mv
        inputs.battery_mv = draw.between(settings.battery_foldback_mv, settings.battery_highest_mv)
        inputs.motor_decicelsius = 200
        edges = settings.pulses_per_rev * (4 if settings.sensor_kind == 0 else 2)
        rpm = draw.between(settings.engage_rpm * 3 // 2 + 5, 140)
        self._gap_us = 60_000_000 // (edges * rpm)
        self._place = 0
        self._edge_in_us = self._gap_us
        fastest = settings.taper_start_mm_per_s * 9 // 10
        # So slow that the distance allowed to the stop leaves time for two pitches.
        pitch_ms = 60_000 // (settings.pulses_per_rev * rpm) + 1
        fastest = min(
            fastest, settings.cutoff_distance_mm * 1000 // (settings.motor_lag_ms + 10 + 3 * pitch_ms)
        )
        slowest = min(settings.engage_speed_mm_per_s + 300, fastest)
        speed = draw.between(slowest, min(max(slowest, 3_000), fastest))
        way_mm = settings.wheel_circumference_mm // settings.wheel_pulses_per_rev
        self._wheel_us = max(way_mm * 1_000_000 // max(speed, 1), 1)
        self._wheel_in_us = self._wheel_us
        self._throttling = draw.permille(200)

    def at(self, after_us: int) -> int:
        """Return the time so long after the last step."""
        return (self.now_us + after_us) & TICKS_MAX_US

    def rest(self) -> None:
        """Let 0.2 s go by without anything moving."""
        self._go(200_000)

    def ride(self, controller: Controller) -> None:
        """Pedal evenly; the current is near what the motor model says."""
        draw, settings = self.draw, self.settings
        elapsed_us = 5_000 if draw.permille(900) else draw.between(1, 20_000)
        while self._edge_in_us < elapsed_us:
            self._place += 1 if settings.lead == 0 else -1
            levels = FORWARD[self._place & 3] if settings.sensor_kind == 0 else self._place & 1
            self.inputs.crank.record(levels, self.at(self._edge_in_us))
            self._edge_in_us += self._gap_after(levels)
        self._edge_in_us -= elapsed_us
        while self._wheel_in_us < elapsed_us:
            self.inputs.wheel.record(1, self.at(self._wheel_in_us))
            self.inputs.wheel.record(0, self.at(self._wheel_in_us + 1))
            self._wheel_in_us += (
                self._wheel_us - self._wheel_us // 200 + draw.below(self._wheel_us // 100 + 1)
            )
        self._wheel_in_us -= elapsed_us
        self._take_current(controller)
        if self._throttling:
            self.inputs.throttle_mv = draw.between(settings.throttle_rest_mv, settings.throttle_short_mv)
        self._go(elapsed_us)

    def _gap_after(self, levels: int) -> int:
        if self.settings.sensor_kind != 2:
            return self._gap_us
        return self._gap_us * 3 // 2 if levels == self.settings.forward_duty_high else self._gap_us // 2

    def _take_current(self, controller: Controller) -> None:
        """Take the battery current at which the motor model finds nothing wrong."""
        draw, inputs, settings = self.draw, self.inputs, self.settings
        command_mv = controller.outputs.command_mv
        model = controller.motor_model
        current_ma = max(command_mv - settings.command_start_mv, 0) * 3
        if model.known and model.speed_kind:
            over_mv = max(model.motor_mv - model.back_emf_mv, 0)
            current_ma = over_mv * 1000 // settings.motor_resistance_mohm
            current_ma = current_ma * model.motor_mv // max(model.battery_mv, 1)
        elif model.known:
            current_ma = (model.least_w + model.most_w) * 500_000 // max(model.battery_mv, 1)
        noise_ma = draw.between(0, 40)
        inputs.current_ma = min(current_ma + noise_ma if command_mv > 0 else noise_ma, 100_000)

    def go_wild(self) -> None:
        """Let anything come that the border allows, its ends more often than what lies between."""
        draw, inputs = self.draw, self.inputs
        elapsed_us = 5_000
        if draw.permille(60):
            elapsed_us = (0, 1, 49_999, 50_001, 4_000_000, 2**29 - 1, TICKS_MAX_US - 2_000)[draw.below(7)]
        after_us = draw.between(1, 4_000)
        while after_us < min(elapsed_us, 60_000):
            self._place += 1
            levels = FORWARD[self._place & 3] if draw.permille(800) else draw.below(4)
            inputs.crank.record(levels, self.at(after_us))
            after_us += draw.between(1, 9_000)
        if draw.permille(20):
            for number in range(70):  # More than a log holds.
                inputs.crank.record(FORWARD[number & 3], self.at(elapsed_us))
        if draw.permille(150):
            inputs.wheel.record(draw.below(2), self.at(elapsed_us))
        inputs.brake_pulled = draw.permille(100)
        inputs.clear_requested = draw.permille(100)
        if draw.permille(200):
            inputs.throttle_mv = (0, 5_000, draw.between(0, 5_000))[draw.below(3)]
            inputs.selector_mv = (0, 5_000, draw.between(0, 5_000))[draw.below(3)]
            inputs.battery_mv = (0, 100_000, draw.between(0, 100_000))[draw.below(3)]
            inputs.current_ma = (0, 100_000, draw.between(0, 100_000))[draw.below(3)]
            inputs.motor_decicelsius = (-500, 3_000, draw.between(-500, 3_000))[draw.below(3)]
        self._go(elapsed_us)
        if draw.permille(50):
            inputs.sampled_us = (self.now_us - (1, 50_000, 50_001, 2**29)[draw.below(4)]) & TICKS_MAX_US

    def _go(self, elapsed_us: int) -> None:
        self.now_us = self.at(elapsed_us)
        self.inputs.sampled_us = self.now_us


class SideBySide:
    """The interpreted controller and a fused one.

    Read: `steps`, `driving` (of these), `constructed`, `differences`, `digest` (of outputs and state).
    """

    def __init__(self, fused, places, lives: int, seed: int) -> None:
        """Ride `lives` lives. `fused` is the other class, `places` give each number's path and place."""
        self._fused = fused
        self._places = places
        self.steps = 0
        self.driving = 0
        self.constructed = 0
        self.differences = 0
        self.digest = 1
        draw = Draw(seed)
        for _ in range(lives):
            self._live(Life(draw, draw_settings(draw)))

    def _live(self, life: Life) -> None:
        one = Controller(life.settings, life.now_us)
        other = self._fused(life.settings, life.now_us)
        pairs = [_found(one, path) + (path, place) for path, place in self._places]  # noqa: RUF005
        self.constructed += 1
        self._compare(one, other, pairs)
        inputs = Inputs()
        for number in range(REST_STEPS + RIDE_STEPS + WILD_STEPS):
            if number < REST_STEPS:
                life.rest()
            elif number < REST_STEPS + RIDE_STEPS:
                life.ride(one)
            else:
                life.go_wild()
            _copy(life.inputs, inputs)
            one.step(life.inputs, life.now_us)
            self._same(other.step(inputs, life.now_us) is other.outputs, "outputs", 0, 0)
            self.steps += 1
            self.driving += one.outputs.command_mv > 0
            self._compare(one, other, pairs)

    def _compare(self, one, other, pairs) -> None:
        for name in ("command_mv", "drive_enabled", "fault_cause", "indicator", "valid_for_us"):
            value = getattr(one.outputs, name)
            self._same(value == getattr(other.outputs, name), name, value, getattr(other.outputs, name))
            self.digest = (self.digest * 31 + value) & 0xFFFFF
        cells = other._cells
        for of, name, index, path, place in pairs:
            value = getattr(of, name) if index < 0 else getattr(of, name)[index]
            if value != cells[place]:
                self._same(False, path, value, cells[place])
            self.digest = (self.digest * 31 + value) & 0xFFFFF

    def _same(self, same: bool, name: str, value: int, other: int) -> None:
        if same:
            return
        self.differences += 1
        if self.differences <= 5:
            say("step " + str(self.steps) + " " + name + " is " + str(value) + " and fused " + str(other))


def _found(controller: Controller, path: str):
    """Return the object, the attribute and the index in its list (-1 for none) behind a path."""
    index = -1
    if path.endswith("]"):
        path, _, number = path[:-1].partition("[")
        index = int(number)
    names = path.split(".")
    of = controller
    for name in names[:-1]:
        of = getattr(of, name)
    return of, names[-1], index


def _copy(given: Inputs, inputs: Inputs) -> None:
    """Give a second controller the same, edges included."""
    for name in Inputs.__slots__:
        if name not in ("crank", "wheel"):
            setattr(inputs, name, getattr(given, name))
    for mine, log in ((inputs.crank, given.crank), (inputs.wheel, given.wheel)):
        mine._levels[:] = log._levels
        mine._times_us[:] = log._times_us
        mine._read = log._read
        mine._write = log._write
        mine.overruns = log.overruns


def say(line: str) -> None:
    """Print a line."""
    sys.stdout.write(line + "\n")


def told(ride: SideBySide) -> str:
    """Return the line of totals."""
    counts = f"steps {ride.steps} driving {ride.driving} constructed {ride.constructed}"
    return f"{counts} differences {ride.differences} digest {ride.digest:#x}"
