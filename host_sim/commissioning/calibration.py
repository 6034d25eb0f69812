"""The steps of a calibration, in order; each takes a reading, checks it, and derives values from it.

Throttle at rest, then open; selector at its lowest, its positions, its highest; each brake switch; battery
divider and shunt against a meter; circumference of the wheel. The values are written to the bike file, from
which the settings and their margins are computed.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from host_sim.bikes.model import Bike
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.readings import (
    BRAKES_MOST,
    Implausible,
    lever_count,
    steady_brake,
    steady_current_a,
    steady_v,
)
from host_sim.commissioning.record import NOT_APPLICABLE, SKIPPED, TICKED, Entry

TRAVEL_LEAST_V = 0.5  # As bike files ask for.
POSITION_OFF = 0.25  # Of the distance between two positions: the firmware assumes even spacing.
# Two 1 % resistors make 1.9 % at worst (boards/README.md), shunt and amplifier about as much.
SCALE_NOTED, SCALE_MOST = 0.02, 0.10
# Parts that a meter checks: unit, and the number in the board's pins.py.
SCALES = {"divider": ("V", "BATTERY_FULL_MV"), "shunt": ("A", "CURRENT_FULL_MA")}
CURRENT_LEAST_A = 2.0
WHEEL_OFF = 0.15  # A larger difference from the bike file means another wheel, or an error.
WHEEL_TURNS = 3


@dataclass(slots=True)
class Measuring:
    """Board, bike, questions, and results so far: keys of the bike file, notes, readings beside a meter's."""

    board: BoardAtHand
    bike: Bike
    ask: Callable[[str], str]
    say: Callable[[str], None]
    found: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    known_values: dict[str, list[tuple[float, float]]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what the user does; `take` returns what was measured, or raises Implausible."""

    name: str
    sentence: str
    take: Callable[[Measuring], str]
    applies: Callable[[Bike], bool] = lambda bike: True


def run_calibration(measuring: Measuring, only: tuple[str, ...], now: Callable[[], str]) -> list[Entry]:
    """Go through the steps; if a reading is implausible, say why and repeat the step.

    The answer "skip" skips a step.
    """
    entries = []
    for step in STEPS:
        if not step.applies(measuring.bike):
            outcome, seen = NOT_APPLICABLE, ""
        elif only and step.name not in only:
            outcome, seen = SKIPPED, "not requested"
        else:
            outcome, seen = _taken(step, measuring)
        entries.append(Entry(step.name, step.sentence, outcome, seen, now()))
    return entries


def _taken(step: Step, measuring: Measuring) -> tuple[str, str]:
    while True:
        if measuring.ask(f"{step.name}: {step.sentence} Enter, or skip: ") == "skip":
            return SKIPPED, "skipped by the user"
        try:
            seen = step.take(measuring)
        except Implausible as error:
            measuring.say(f"  refused: {error}")
            continue
        measuring.say(f"  {seen}")
        return TICKED, seen


def _number(measuring: Measuring, question: str) -> float:
    text = measuring.ask(question).replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        raise Implausible(f'"{text[:20]}" is not a number') from None
    if not 0.0 < value < 1e6:
        raise Implausible(f"{text[:20]} is out of range, allowed is above 0")
    return value


def _end(name: str, key: str, low_v: float, high_v: float) -> Callable[[Measuring], str]:
    """Return a step that reads one end of a lever, which must lie within what a bike file allows."""

    def take(measuring: Measuring) -> str:
        value_v = round(steady_v(measuring.board, f"{name}_v"), 2)
        if not low_v <= value_v <= high_v:
            raise Implausible(
                f"{key} reads {value_v:g} V, allowed is {low_v:g} to {high_v:g} V: check the wires"
            )
        before = {"throttle.full_v": "throttle.rest_v", "selector.high_v": "selector.low_v"}.get(key)
        if before is not None:
            first_v = measuring.found.get(
                before, getattr(getattr(measuring.bike, name), before.split(".")[1])
            )
            if value_v < first_v + TRAVEL_LEAST_V:
                raise Implausible(
                    f"{key} reads {value_v:g} V and {before} was {first_v:g} V, allowed is "
                    f"{TRAVEL_LEAST_V:g} V more: "
                    "did you move the lever, and in the right direction?"
                )
        measuring.found[key] = value_v
        return f"{key} = {value_v:g} V"

    return take


def _positions(measuring: Measuring) -> str:
    """Read every position between the ends, and compare it with an even spacing."""
    selector = measuring.bike.selector
    low_v = measuring.found.get("selector.low_v", selector.low_v)
    high_v = measuring.found.get("selector.high_v", selector.high_v)
    count = selector.positions or 2
    step_v = (high_v - low_v) / (count - 1)
    seen = []
    for position in range(2, count):
        measuring.ask(f"  Put the selector into position {position}, then press Enter: ")
        value_v = steady_v(measuring.board, "selector_v")
        wanted_v = low_v + (position - 1) * step_v
        if abs(value_v - wanted_v) > POSITION_OFF * step_v:
            raise Implausible(
                f"position {position} reads {value_v:.2f} V, allowed is {wanted_v:.2f} V ± "
                f"{POSITION_OFF * step_v:.2f} V: positions must be evenly spaced"
            )
        seen.append(f"{value_v:.2f} V")
    return f"positions between the ends: {', '.join(seen) or 'none'}"


def _scale(measuring: Measuring, part: str, told: float, metered: float) -> str:
    what, place = SCALES[part]
    factor = metered / told if told > 0.0 else float("inf")
    if abs(factor - 1.0) > SCALE_MOST:
        raise Implausible(
            f"the board reads {told:.2f} {what} and the meter {metered:.2f}, allowed is "
            f"{SCALE_MOST * 100:g} % apart: "
            "check the resistors and the range of the meter"
        )
    if abs(factor - 1.0) > SCALE_NOTED:
        measuring.notes.append(
            f"multiply {place} in the board's pins.py by {factor:.4f}: there is no setting for this scale"
        )
    measuring.known_values[part] = [(round(told, 4), metered)]
    return f"the board reads {told:.2f} {what}, the meter {metered:.2f}: factor {factor:.4f}"


def _brakes(measuring: Measuring) -> str:
    """Check each lever alone, pulled and released; no value is measured."""
    if steady_brake(measuring.board):
        raise Implausible("a brake reads as pulled although all are let go: look for a broken wire")
    told = measuring.ask("  How many brake levers have a switch? ")
    count = lever_count(told)
    if count is None:
        raise Implausible(f'"{told[:20]}" levers, allowed is 1 to {BRAKES_MOST}')
    for lever in range(1, count + 1):
        measuring.ask(f"  Pull lever {lever} alone and hold it, then press Enter: ")
        if not steady_brake(measuring.board):
            raise Implausible(f"lever {lever} reads as let go although it is pulled: look at its switch")
        measuring.ask(f"  Let lever {lever} go, then press Enter: ")
        if steady_brake(measuring.board):
            raise Implausible(f"lever {lever} reads as pulled although it is let go: look at its switch")
    return f"brake levers: {told}, each pulled and let go by itself"


def _battery(measuring: Measuring) -> str:
    metered_v = _number(measuring, "  Volts at the battery by the meter: ")
    return _scale(measuring, "divider", steady_v(measuring.board, "battery_v"), metered_v)


def _shunt(measuring: Measuring) -> str:
    metered_a = _number(measuring, "  Amperes by the meter while the load is on: ")
    if metered_a < CURRENT_LEAST_A:
        raise Implausible(
            f"{metered_a:g} A is too little to measure the scale, allowed is {CURRENT_LEAST_A:g} A or more"
        )
    return _scale(measuring, "shunt", steady_current_a(measuring.board), metered_a)


def _wheel(measuring: Measuring) -> str:
    way_m = _number(measuring, f"  Distance of {WHEEL_TURNS} turns of the wheel with the rider on it, in m: ")
    around_m = round(way_m / WHEEL_TURNS, 3)
    known_m = measuring.bike.bicycle.wheel_circumference_m
    if not 0.5 <= around_m <= 3.0 or abs(around_m / known_m - 1.0) > WHEEL_OFF:
        raise Implausible(
            f"a turn would be {around_m:g} m, and the bike file has {known_m:g} m, allowed is "
            f"{WHEEL_OFF * 100:g} % "
            "apart: count the turns again, or correct the bike file"
        )
    measuring.found["bicycle.wheel_circumference_m"] = around_m
    return f"bicycle.wheel_circumference_m = {around_m:g} m"


def _throttle(bike: Bike) -> bool:
    return bike.throttle.fitted


def _selector(bike: Bike) -> bool:
    return bike.selector.kind != "none"


STEPS: tuple[Step, ...] = (
    Step(
        "throttle rest", "Let go of the throttle.", _end("throttle", "throttle.rest_v", 0.2, 3.9), _throttle
    ),
    Step(
        "throttle full",
        "Driven wheel off the ground, brake pulled or motor controller unplugged: open the throttle fully "
        "and hold it.",
        _end("throttle", "throttle.full_v", 0.7, 4.4),
        _throttle,
    ),
    Step(
        "selector low",
        "Set the selector to its lowest position.",
        _end("selector", "selector.low_v", 0.3, 4.0),
        _selector,
    ),
    Step(
        "selector high",
        "Set the selector to its highest position.",
        _end("selector", "selector.high_v", 0.8, 4.6),
        _selector,
    ),
    Step(
        "selector positions",
        "Set the selector to each position in turn.",
        _positions,
        lambda bike: bike.selector.kind == "positions",
    ),
    Step(
        "brakes",
        "Let all brake levers go.",
        _brakes,
        lambda bike: bike.brakes.switches != "none",
    ),
    Step("battery", "Connect a meter to the battery.", _battery),
    Step(
        "shunt",
        "Unplug the motor controller; connect a lamp or resistor after the shunt, and a meter in series.",
        _shunt,
        lambda bike: bike.shunt.fitted,
    ),
    Step("wheel", f"Mark tyre and floor, sit on the bicycle, and roll {WHEEL_TURNS} turns.", _wheel),
)
STEP_NAMES = tuple(step.name for step in STEPS)
