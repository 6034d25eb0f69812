"""Builds what the firmware tests ride: settings, legal ones at random, and a rig on an ideal ring.

The rig is no physics. It turns a crank and a wheel at the rates it is told, writes the edges of an
ideal magnet ring in whole microseconds, and steps the controller every 5 ms. It starts 1 ms before
the tick wrap unless told otherwise, and by default every number it hands over is a SmallInt.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from firmware.settings import ASCENDING, DUTY_CODED, FIRST_PITCH_EDGES, TABLE, TWO_CHANNELS, Settings
from tests.small_int import SmallInt

WRAP_US = 2**30
BEFORE_WRAP_US = WRAP_US - 1_000
PERIOD_US = 5_000
REST_MV = 700
FULL_MV = 4_000
DEFAULTS = {row[0]: row[1] for row in TABLE}

# One pitch lasts 60_000_000 / (rpm * pulses) us; in units of rpm * pulses * us it is always this long.
_PITCH = 60_000_000
_SHARE = 700  # Permille of a pitch for which a duty-coded part says "high" going its larger way.

# A leads: 00, A alone, both, B alone (bit 0 is A). Each row: where in the pitch, permille, and the levels.
_RING_A_LEADS = ((0, 1), (250, 3), (500, 2), (750, 0))
_RING_B_LEADS = ((0, 2), (250, 3), (500, 1), (750, 0))
_RING_ONE = ((0, 1), (500, 0))


def settings_with(**values: int) -> Settings:
    """Return the default settings with `values` over them, every one a SmallInt."""
    return Settings({**{name: SmallInt(value) for name, value in DEFAULTS.items()}, **small(values)})


def small(values: dict[str, int]) -> dict[str, int]:
    """Return the same values as SmallInt."""
    return {name: SmallInt(value) for name, value in values.items()}


def _ranges() -> dict[str, tuple[int, int]]:
    """Return for each setting the range in which every pair of ASCENDING can still be satisfied.

    And for the engage edges those that are legal with any sensor.
    """
    ranges = {row[0]: (row[2], row[3]) for row in TABLE}
    for _ in ASCENDING:
        for lower, higher in ASCENDING:
            lowest, highest = ranges[lower]
            ranges[lower] = (lowest, min(highest, ranges[higher][1] - 1))
            lowest, highest = ranges[higher]
            ranges[higher] = (max(lowest, ranges[lower][0] + 1), highest)
    ranges["engage_edges"] = (FIRST_PITCH_EDGES[TWO_CHANNELS], ranges["engage_edges"][1])
    return ranges


def _lower_ones_first() -> list[str]:
    names: list[str] = []
    waiting = [row[0] for row in TABLE]
    while waiting:
        for name in waiting:
            if all(lower in names for lower, higher in ASCENDING if higher == name):
                names.append(name)
        waiting = [name for name in waiting if name not in names]
    return names


RANGES = _ranges()
ORDER = _lower_ones_first()


@st.composite
def legal_values(draw: Any, **fixed: int) -> dict[str, int]:
    """Draw a legal value for every setting.

    Sometimes all of them vary; more often a handful do and the rest keep their defaults, because of
    58 settings drawn at random some always forbid all drive.
    """
    few = draw(st.integers(0, 3)) > 0
    varied = draw(st.sets(st.sampled_from(ORDER), max_size=10)) if few else set(ORDER)
    values: dict[str, int] = {}
    for name in ORDER:
        lowest, highest = RANGES[name]
        for lower, higher in ASCENDING:
            if higher == name:
                lowest = max(lowest, values[lower] + 1)
        if name == "engage_edges":
            lowest = FIRST_PITCH_EDGES[values["sensor_kind"]]
        if name in fixed:
            values[name] = fixed[name]
        elif name not in varied and lowest <= DEFAULTS[name] <= highest:
            values[name] = DEFAULTS[name]
        else:
            ends = st.sampled_from([lowest, highest])
            values[name] = draw(ends | st.integers(lowest, highest))
    return values


class DrawnSettings(Settings):
    """Settings that print as what differs from the defaults, so that a counterexample can be read."""

    __slots__ = ()

    def __repr__(self) -> str:
        given = {name: value for name, value in self.as_dict().items() if value != DEFAULTS[name]}
        return "settings_with(" + ", ".join(f"{name}={value}" for name, value in given.items()) + ")"


@st.composite
def legal_settings(draw: Any, **fixed: int) -> Settings:
    """Draw legal settings, every one a SmallInt; `fixed` ones stay as they are."""
    return DrawnSettings(small(draw(legal_values(**fixed))))


class Ring:
    """An ideal magnet ring and its pickup. `position` counts true edges, forward positive."""

    def __init__(self, settings: Settings, ring_lead: int | None = None) -> None:
        """Build the ring that the settings describe; `ring_lead` turns the part round."""
        self.duty_coded = settings.sensor_kind == DUTY_CODED
        self.pulses = int(settings.pulses_per_rev)
        if settings.sensor_kind == TWO_CHANNELS:
            lead = settings.lead if ring_lead is None else ring_lead
            self.marks = _RING_B_LEADS if lead == 1 else _RING_A_LEADS
        else:
            self.marks = _RING_ONE
        # A single channel is on the wire that the settings name.
        self.wire = int(settings.lead) if settings.sensor_kind != TWO_CHANNELS else 0
        self.high_going_forward = _SHARE if settings.forward_duty_high == 1 else 1_000 - _SHARE
        self.phase = _PITCH // 100
        self.levels = self.marks[0][1]
        self.position = 0

    def edges(self, rpm: int, span_us: int) -> list[tuple[int, int]]:
        """Turn at `rpm` (negative backward) for `span_us`; return (us from the start, levels)."""
        rate = abs(rpm) * self.pulses
        found: list[tuple[int, int]] = []
        if rate == 0:
            return found
        marks = self._marks(rpm > 0)
        span = rate * span_us
        travelled = 0
        while True:
            distance, levels = min(self._ahead(where, rpm > 0, levels) for where, levels in marks)
            if travelled + distance > span:
                break
            travelled += distance
            self.phase = (self.phase + (distance if rpm > 0 else -distance)) % _PITCH
            if levels != self.levels:
                self.levels = levels
                self.position += 1 if rpm > 0 else -1
                found.append((travelled // rate, levels << self.wire))
        left = span - travelled
        self.phase = (self.phase + (left if rpm > 0 else -left)) % _PITCH
        return found

    def _ahead(self, where: int, forward: bool, levels: int) -> tuple[int, int]:
        """Return the way to a mark, never 0, and the levels beyond it."""
        mark = where * (_PITCH // 1_000)
        way = (mark - self.phase if forward else self.phase - mark) % _PITCH
        return (way or _PITCH), levels

    def _marks(self, forward: bool) -> tuple[tuple[int, int], ...]:
        if self.duty_coded:
            return ((0, 1), (self.high_going_forward, 0))  # High for the rest of the pitch going backward.
        if forward:
            return self.marks
        # Beyond a mark going backward lie the levels of the mark before it.
        count = len(self.marks)
        return tuple((self.marks[i][0], self.marks[(i - 1) % count][1]) for i in range(count))


class Rig:
    """A controller, its inputs, a crank and a wheel. Set `rpm`, the speed and the levers, then `run`."""

    def __init__(
        self,
        settings: Settings | None = None,
        start_us: int = BEFORE_WRAP_US,
        ring_lead: int | None = None,
        number: Callable[[int], int] = SmallInt,
    ) -> None:
        """Stand still with the controls at rest, a full battery and the brake let go."""
        self.settings = settings if settings is not None else settings_with()
        self.number = number
        self.now_us = start_us
        self.elapsed_us = 0  # Since the start, without a wrap.
        self.controller = Controller(self.settings, number(start_us))
        self.inputs = Inputs()
        self.ring = Ring(self.settings, ring_lead)
        self.rpm = 0
        self.wheel_mm_per_s = 0
        self._wheel_way = 0
        self.throttle_mv = (int(self.settings.throttle_open_mv) + int(self.settings.throttle_rest_mv)) // 2
        self.selector_mv = int(self.settings.selector_high_mv)
        self.battery_mv = int(self.settings.battery_highest_mv) - 1
        self.current_ma = 0
        self.motor_decicelsius = 200
        self.brake_pulled = False
        self.clear_requested = False
        self.draws_current = True
        self.outputs: Outputs = self.controller.outputs
        self.last_forward_us: int | None = None  # True forward edges, in `elapsed_us`.
        self.last_edge_us: int | None = None
        self.backward_in_row = 0
        self.wheel_pulses_us: list[int] = []
        self.after_step: list[Callable[[Rig, int], None]] = []

    @property
    def command_mv(self) -> int:
        """The command that went out last."""
        return self.outputs.command_mv

    @property
    def state(self) -> int:
        """The engagement state."""
        return self.controller.engagement.state

    def full_throttle(self) -> None:
        """Open the throttle wholly."""
        self.throttle_mv = int(self.settings.throttle_full_mv)

    def release_throttle(self) -> None:
        """Let the throttle go."""
        self.throttle_mv = int(self.settings.throttle_rest_mv)

    def crank_edge(self, levels: int, after_us: int = 0) -> None:
        """Record a crank edge `after_us` from now, whatever the ring says."""
        self.last_edge_us = self.elapsed_us + after_us
        self.inputs.crank.record(self.number(levels), self.number((self.now_us + after_us) % WRAP_US))

    def step(self, span_us: int = PERIOD_US) -> Outputs:
        """Let `span_us` pass, record what moved in it, and step the controller."""
        self._turn_crank(span_us)
        self._turn_wheel(span_us)
        self.now_us = (self.now_us + span_us) % WRAP_US
        self.elapsed_us += span_us
        number = self.number
        inputs = self.inputs
        inputs.sampled_us = number(self.now_us)
        inputs.throttle_mv = number(self.throttle_mv)
        inputs.selector_mv = number(self.selector_mv)
        inputs.battery_mv = number(self.battery_mv)
        inputs.motor_decicelsius = number(self.motor_decicelsius)
        if self.draws_current:  # About 10 A per volt above the dead band: a current that makes sense.
            above_mv = max(self.outputs.command_mv - int(self.settings.command_start_mv), 0)
            self.current_ma = 200 + above_mv * 10 if self.outputs.command_mv > 0 else 0
        inputs.current_ma = number(self.current_ma)
        inputs.brake_pulled = self.brake_pulled
        inputs.clear_requested = self.clear_requested
        before_mv = self.outputs.command_mv
        self.outputs = self.controller.step(inputs, number(self.now_us))
        for look in self.after_step:
            look(self, before_mv)
        return self.outputs

    def run(self, span_ms: int, **changes: Any) -> Outputs:
        """Set attributes from `changes`, then take steps of 5 ms for `span_ms`."""
        for name, value in changes.items():
            if not hasattr(self, name):
                raise AttributeError(name)
            setattr(self, name, value)
        for _ in range(span_ms * 1_000 // PERIOD_US):
            self.step()
        return self.outputs

    def until(self, reached: Callable[[Rig], bool], at_most_ms: int) -> int:
        """Step until `reached`; return the milliseconds it took, or fail."""
        for steps in range(at_most_ms * 1_000 // PERIOD_US):
            if reached(self):
                return steps * PERIOD_US // 1_000
            self.step()
        raise AssertionError(f"not reached within {at_most_ms} ms")

    def ready(self) -> Rig:
        """Keep everything at rest until the controller is ready; return the rig."""
        rest_ms = 60_000 // (int(self.settings.pulses_per_rev) * int(self.settings.release_rpm)) + 700
        self.run(rest_ms)
        return self

    def _turn_crank(self, span_us: int) -> None:
        rest_us = 60_000_000 // (int(self.settings.pulses_per_rev) * int(self.settings.release_rpm)) + 500_000
        for after_us, levels in self.ring.edges(self.rpm, span_us):
            if self.last_edge_us is None or self.elapsed_us + after_us - self.last_edge_us > rest_us:
                self.backward_in_row = 0  # A rest between two runs.
            self.crank_edge(levels, after_us)
            if self.rpm > 0:
                self.last_forward_us = self.last_edge_us
                self.backward_in_row = 0
            else:
                self.backward_in_row += 1

    def _turn_wheel(self, span_us: int) -> None:
        """Write the wheel's pulses: a rise at each magnet and a fall a tenth of the way on."""
        pitch = int(self.settings.wheel_circumference_mm) * 1_000_000
        rate = self.wheel_mm_per_s * int(self.settings.wheel_pulses_per_rev)
        if rate == 0:
            return
        mark = pitch // 10
        left = rate * span_us
        after = 0
        while True:
            rising = self._wheel_way < pitch
            ahead = (pitch if rising else pitch + mark) - self._wheel_way
            if ahead > left:
                break
            left -= ahead
            after += ahead
            self._wheel_way = pitch if rising else mark
            after_us = after // rate
            at_us = self.number((self.now_us + after_us) % WRAP_US)
            self.inputs.wheel.record(self.number(1 if rising else 0), at_us)
            if rising:
                self.wheel_pulses_us.append(self.elapsed_us + after_us)
        self._wheel_way += left
