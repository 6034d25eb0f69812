"""A trace of inputs that no bench would give: random settings in calm and in wild lives.

A calm life pedals evenly with levers at rest, so that the motor helps under settings that no bike file has.
In a wild one everything the border's contract allows may come, its ends more often than what lies between,
stale and late on top of it. What the firmware makes of it on CPython is what it must make of it everywhere;
so the small integers of a 32-bit runtime meet the ends of every setting.
"""

from pathlib import Path
from random import Random

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import ASCENDING, DUTY_CODED, FIRST_PITCH_EDGES, TABLE, TWO_CHANNELS, Settings
from firmware.ticks import TICKS_MAX_US
from host_sim.forms.golden import EveryEdge, TraceWriter

NAME = "wild"
PAIRS_OF_LIVES = 30
STEPS_A_LIFE = 200
RESTING_STEPS = 40
RESTING_STEP_US = 200_000
STEP_US = 5_000
WILD_STEPS_US = (0, 1, 49_999, 50_001, 4_000_000, 2**29 - 1)
US_PER_TURN = 1_000_000  # A turn of the crank a second: above every engage cadence.
FORWARD = (0, 1, 3, 2)  # Levels of a crank that turns forward, channel A leading.


class WildTrace:
    """The trace on disk. Read: `path`, `steps`, `edges`, `met` (see golden.Recorder)."""

    def __init__(self, folder: Path, seed: int = 1) -> None:
        """Write the trace into `folder`."""
        draw = Random(seed)
        self.path = folder / NAME
        self.met: set[tuple[int, int, int]] = set()
        with self.path.open("wb") as file:
            writer = TraceWriter(file)
            for _ in range(PAIRS_OF_LIVES):
                for kind in (CalmLife, WildLife):
                    life = kind(draw, writer)
                    life.live()
                    self.met |= life.met
            writer.end()
        self.steps = writer.steps
        self.edges = writer.edges


class Life:
    """One controller's life with settings of its own. Read: `met`. A kind of life brings its inputs."""

    def __init__(self, draw: Random, writer: TraceWriter) -> None:
        """Draw settings and start a controller."""
        self._draw = draw
        self._writer = writer
        self._settings = draw_settings(draw)
        self._now_us = draw.choice((0, TICKS_MAX_US - 8_500_000, draw.randrange(TICKS_MAX_US + 1)))
        self._controller = Controller(self._settings, self._now_us)
        self._inputs = Inputs()
        self._crank = EveryEdge()
        self._wheel = EveryEdge()
        self.met: set[tuple[int, int, int]] = set()
        writer.life(self._settings, self._now_us)

    def live(self) -> None:
        """Take all steps."""
        for step in range(STEPS_A_LIFE):
            elapsed_us = self._elapsed_us(step)
            self._edges(step, elapsed_us)
            self._now_us = (self._now_us + elapsed_us) & TICKS_MAX_US
            self._measure()
            self._step()

    def _elapsed_us(self, step: int) -> int:
        raise NotImplementedError

    def _edges(self, step: int, elapsed_us: int) -> None:
        raise NotImplementedError

    def _measure(self) -> None:
        raise NotImplementedError

    def _at(self, after_us: int) -> int:
        return (self._now_us + after_us) & TICKS_MAX_US

    def _step(self) -> None:
        inputs, controller = self._inputs, self._controller
        crank_edges = self._crank.hand_on(inputs.crank)
        wheel_edges = self._wheel.hand_on(inputs.wheel)
        outputs = controller.step(inputs, self._now_us)
        state = controller.engagement.state
        self._writer.step(inputs, self._now_us, crank_edges, wheel_edges, outputs, state)
        self.met.add((state, outputs.fault_cause, outputs.indicator))


class CalmLife(Life):
    """Rests until everything has been seen at rest, then pedals evenly at a slow walk."""

    def __init__(self, draw: Random, writer: TraceWriter) -> None:
        """Start with the levers at rest."""
        super().__init__(draw, writer)
        settings = self._settings
        edges = settings.pulses_per_rev * (4 if settings.sensor_kind == TWO_CHANNELS else 2)
        self._gap_us = US_PER_TURN // edges
        self._place = 0
        self._until_edge_us = self._gap_us
        self._until_wheel_us = 0
        inputs = self._inputs
        inputs.brake_pulled = False
        inputs.throttle_mv = settings.throttle_rest_mv
        inputs.selector_mv = settings.selector_high_mv
        inputs.battery_mv = settings.battery_foldback_mv
        inputs.motor_decicelsius = 200

    def _elapsed_us(self, step: int) -> int:
        return RESTING_STEP_US if step < RESTING_STEPS else STEP_US

    def _edges(self, step: int, elapsed_us: int) -> None:
        if step < RESTING_STEPS:
            return
        while self._until_edge_us < elapsed_us:
            self._place += 1 if self._settings.lead == 0 else -1
            two_channels = self._settings.sensor_kind == TWO_CHANNELS
            levels = FORWARD[self._place & 3] if two_channels else self._place & 1
            wire = 0 if two_channels else self._settings.lead  # A single channel may be on wire B.
            self._crank.record(levels << wire, self._at(self._until_edge_us))
            self._until_edge_us += self._gap_to_next_us(levels)
        self._until_edge_us -= elapsed_us
        while self._until_wheel_us < elapsed_us:
            self._wheel.record(1, self._at(self._until_wheel_us))
            # A walk of 0.8 m/s.
            way_mm = self._settings.wheel_circumference_mm // self._settings.wheel_pulses_per_rev
            self._until_wheel_us += way_mm * 1_250
        self._until_wheel_us -= elapsed_us

    def _gap_to_next_us(self, levels: int) -> int:
        """Return the time to the next edge: evenly, but for a ring whose duty tells the direction."""
        if self._settings.sensor_kind != DUTY_CODED:
            return self._gap_us
        longer = levels == self._settings.forward_duty_high
        return self._gap_us * 3 // 2 if longer else self._gap_us // 2

    def _measure(self) -> None:
        self._inputs.sampled_us = self._now_us
        self._inputs.current_ma = self._draw.randint(0, 1_000)


class WildLife(Life):
    """Anything may come at any time."""

    def __init__(self, draw: Random, writer: TraceWriter) -> None:
        """Draw how quickly edges come."""
        super().__init__(draw, writer)
        self._crank_gap_us = draw.choice((800, 4_000, 20_000))
        self._place = 0

    def _elapsed_us(self, step: int) -> int:
        return STEP_US if self._draw.random() < 0.95 else self._draw.choice(WILD_STEPS_US)

    def _edges(self, step: int, elapsed_us: int) -> None:
        draw = self._draw
        after_us = draw.randint(1, self._crank_gap_us)
        while after_us < min(elapsed_us, 60_000):
            self._place += 1
            forward = draw.random() < 0.9
            levels = FORWARD[self._place & 3] if forward else draw.randrange(4)
            self._crank.record(levels, self._at(after_us))
            after_us += draw.randint(1, self._crank_gap_us)
        if draw.random() < 0.1:
            self._wheel.record(draw.randrange(2), self._at(elapsed_us))

    def _measure(self) -> None:
        draw, inputs = self._draw, self._inputs
        stale_us = draw.choice((-1, 50_000, 50_001, 2**29)) if draw.random() < 0.05 else 0
        inputs.sampled_us = (self._now_us - stale_us) & TICKS_MAX_US
        inputs.brake_pulled = draw.random() < 0.1
        inputs.clear_requested = draw.random() < 0.1
        if draw.random() < 0.2:  # Else what was measured stays for a while: faults need some steps.
            inputs.throttle_mv = draw.choice((0, 5_000, draw.randint(0, 5_000)))
            inputs.selector_mv = draw.choice((0, 5_000, draw.randint(0, 5_000)))
            inputs.battery_mv = draw.choice((0, 100_000, draw.randint(0, 100_000)))
            inputs.current_ma = draw.choice((0, 100_000, draw.randint(0, 100_000)))
            inputs.motor_decicelsius = draw.choice((-500, 3_000, draw.randint(-500, 3_000)))


def draw_settings(draw: Random) -> Settings:
    """Return a set of settings, each at its default, at an end of its range or anywhere in between."""
    ranges = {row[0]: (row[2], row[3]) for row in TABLE}
    values = {}
    for name, default, lowest, highest, _ in TABLE:
        values[name] = draw.choice((default, lowest, highest, draw.randint(lowest, highest)))
    while True:
        clashing = [pair for pair in ASCENDING if values[pair[0]] >= values[pair[1]]]
        if not clashing:
            values["engage_edges"] = max(values["engage_edges"], FIRST_PITCH_EDGES[values["sensor_kind"]])
            return Settings(values)
        for name in clashing[0]:
            values[name] = draw.randint(*ranges[name])
