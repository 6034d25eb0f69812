"""Made-up states, settings, readings and edges, drawn near the borders where the firmware decides."""

import random

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import TABLE, Settings
from firmware.ticks import TICKS_MAX_US
from host_sim.proof.whole.ranges import INPUTS, RANGES, STAMP, TRUTH
from host_sim.proof.whole.snapshot import PERIOD_US, restored, set_field

GAPS_US = (
    0,
    1,
    4_999,
    5_000,
    5_001,
    50_000,
    50_001,
    100_001,
    400_000,
    3_000_001,
    60_000_000,
    -1,
    -5_000,
    -90_000_000,
)
AGES_US = (
    0,
    1,
    500,
    4_999,
    5_000,
    15_001,
    90_000,
    300_000,
    1_000_000,
    3_000_000,
    3_000_001,
    4_300_000,
    200_000_000,
)


def any_settings(chance: random.Random, kind: int) -> Settings:
    """Return legal settings of which a random part is not the default."""
    while True:
        values = {"sensor_kind": kind, "engage_edges": chance.choice((5, 8, 20))}
        for name, _, low, high, _ in TABLE:
            if name not in values and chance.random() < 0.3:
                values[name] = chance.choice((low, high, chance.randint(low, high)))
        try:
            return Settings(values)
        except ValueError:
            continue


def any_number(chance: random.Random, low: int, high: int, near: list[int]) -> int:
    """Return a number of a range: an end, one near a setting's value, a small one, or any."""
    way = chance.random()
    if way < 0.15:
        return low
    if way < 0.25:
        return high
    if way < 0.55:
        return min(max(chance.choice(near) + chance.choice((-1, 0, 0, 0, 1)), low), high)
    if way < 0.7:
        return min(max(chance.randint(0, 20), low), high)
    return chance.randint(low, high)


def any_numbers(chance: random.Random, settings: Settings, kind: int) -> dict[str, int | bool]:
    """Return a number for every variable of the state and the readings."""
    near = [value for value in settings.as_dict().values() if value > 1]
    numbers: dict[str, int | bool] = {}
    for path, span in (*RANGES.items(), *((f"inputs.{name}", span) for name, span in INPUTS.items())):
        if span == TRUTH:
            numbers[path] = chance.random() < (0.9 if path in _MOSTLY else 0.1 if path in _SELDOM else 0.5)
        elif span == STAMP:
            age_us = chance.choice(AGES_US) + chance.randint(0, 30)
            numbers[path] = 5_000 if path == "inputs.sampled_us" else -age_us
        else:
            numbers[path] = any_number(chance, int(span[0]), int(span[1]), near)
    if chance.random() < 0.8:
        _let_drive(chance, settings, numbers)
    for path in (
        "crank.levels",
        "crank._pending_levels",
        "crank._last_position",
        "crank._last_changed",
        "guard._levels",
    ):
        width = 1 if kind > 0 and path in ("crank.levels", "crank._pending_levels") else 2
        for bit in range(width):
            numbers[f"{path}.{bit}"] = bool(int(numbers[path]) >> bit & 1)
    numbers["_last_us"] = 0
    return numbers


def _let_drive(chance: random.Random, settings: Settings, numbers: dict[str, int | bool]) -> None:
    """Change what would keep nearly every made-up state from driving."""
    numbers["engagement.state"] = 2 + chance.randrange(2)
    for path in RANGES:
        if path.startswith(("plausibility.", "faults.c")) and not path.startswith("plausibility._"):
            numbers[path] = 0
    for path in (
        "plausibility._withheld_steps",
        "plausibility._suspicions",
        "faults._noise_level",
        "faults._unpulsed_samples",
        "crank.one_sided_run",
        "wheel.overdue",
        "inputs.brake_pulled",
        *(f"{lever}.wire_{fault}" for lever in ("throttle", "selector") for fault in ("open", "shorted")),
    ):
        numbers[path] = 0
    numbers["faults._overruns"] = int(numbers["inputs.crank.overruns"]) + int(
        numbers["inputs.wheel.overruns"]
    )
    numbers["faults._rejected"] = numbers["crank.rejected"]
    numbers["inputs.battery_mv"] = settings.battery_foldback_mv + 10
    numbers["supply._voltage_sum"] = 32 * (settings.battery_foldback_mv + 100)
    numbers["inputs.throttle_mv"] = chance.choice((settings.throttle_rest_mv, settings.throttle_full_mv))
    numbers["inputs.selector_mv"] = settings.selector_high_mv
    numbers["pedalling.stopped"] = numbers["crank.standing"] = numbers["pedalling._cadence.standing"] = False
    for path in ("crank.last_forward_us", "crank._last_edge_us", "guard._forward_us", "guard._edge_us"):
        numbers[path] = -1_000
    numbers["crank.pitch_edge_us"] = numbers["pedalling._cadence._last_us"] = -1_000
    numbers["crank.pitch_us"] = numbers["pedalling._cadence._period_us"] = 60_000
    numbers["guard._turning"] = True
    numbers["guard._behind"] = numbers["crank._behind"] = numbers["crank.backward_run"] = 0
    rolls = chance.random() < 0.4
    numbers["wheel._running"] = numbers["guard._wheel_seen"] = rolls
    numbers["wheel._rotation.standing"] = not rolls
    if not rolls:
        numbers["wheel.speed_mm_per_s"] = 0


_MOSTLY = (
    "throttle.rest_seen",
    "guard._throttle_rest_seen",
    "guard._turning",
    "supply._started",
    "crank._started",
)
_SELDOM = (
    "inputs.brake_pulled",
    "inputs.clear_requested",
    "wheel.overdue",
    "crank.standing",
    "pedalling.stopped",
)


class MadeUp:
    """A real controller in a made-up state, with inputs for its next step, and all numbers of both."""

    def __init__(self, seed: int, kind: int, crank_edges: int, wheel_edges: int) -> None:
        """Draw everything from the seed."""
        chance = random.Random(f"{seed} {kind} {crank_edges} {wheel_edges}")
        self.settings = any_settings(chance, kind)
        self.last_us = chance.choice(
            (0, 1_000, TICKS_MAX_US, TICKS_MAX_US - 2_500, chance.randint(0, TICKS_MAX_US))
        )
        self.controller = Controller(self.settings, self.last_us)
        self.numbers = any_numbers(chance, self.settings, kind)
        gap_us = 5_000 if chance.random() < 0.7 else chance.choice(GAPS_US)
        self.numbers["now"] = gap_us
        self.now_us = (self.last_us + gap_us) % PERIOD_US
        restored(self.controller, self.numbers, self.last_us)
        self.inputs = Inputs()
        for name, span in INPUTS.items():
            value = self.numbers[f"inputs.{name}"]
            set_field(self.inputs, name, (self.last_us + int(value)) % PERIOD_US if span == STAMP else value)
        for side, count, width in (("crank", crank_edges, 2), ("wheel", wheel_edges, 1)):
            for place in range(count):
                levels, time_us = chance.randrange(1 << width), chance.randint(0, 5_000)
                for bit in range(width):
                    self.numbers[f"{side}_edge{place}.levels.{bit}"] = bool(levels >> bit & 1)
                self.numbers[f"{side}_edge{place}.time"] = time_us
                getattr(self.inputs, side).record(levels, (self.last_us + time_us) % PERIOD_US)
        for name, value in self.settings.as_dict().items():
            self.numbers[name] = value
