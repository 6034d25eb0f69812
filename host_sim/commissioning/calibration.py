"""The steps of a calibration, in their order; each takes a reading, checks it, and says what follows.

Throttle at rest, then open; selector at its lowest, its positions, its highest; each brake switch; battery
divider and shunt against a meter; way of a turn of the wheel. What follows goes into the keys of the bike
file, from which the settings are worked out, with their margins.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from host_sim.bikes.model import Bike
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.readings import Implausible, steady_brake, steady_current_a, steady_v
from host_sim.commissioning.record import NOT_APPLICABLE, SKIPPED, TICKED, Entry

TRAVEL_LEAST_V = 0.5  # As bike files ask for.
POSITION_OFF = 0.25  # Of the distance of two positions: the firmware takes them as evenly spaced.
# Two 1 % resistors make 1.9 % at worst (boards/README.md), shunt and amplifier about as much.
SCALE_NOTED, SCALE_MOST = 0.02, 0.10
CURRENT_LEAST_A = 2.0
WHEEL_OFF = 0.15  # More than this beside the bike file is another wheel, or a slip.
WHEEL_TURNS = 3
BRAKES_MOST = 4


@dataclass(slots=True)
class Measuring:
    """Board, bike, questions, and what was found so far: keys of the bike file, and notes."""

    board: BoardAtHand
    bike: Bike
    ask: Callable[[str], str]
    say: Callable[[str], None]
    found: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what the person does; `take` returns what was seen, or raises Implausible."""

    name: str
    sentence: str
    take: Callable[[Measuring], str]
    applies: Callable[[Bike], bool] = lambda bike: True


def run_calibration(measuring: Measuring, only: tuple[str, ...], now: Callable[[], str]) -> list[Entry]:
    """Go through the steps; a reading that is implausible is told and the step is asked for again.

    The answer "skip" leaves a step out.
    """
    entries = []
    for step in STEPS:
        if not step.applies(measuring.bike):
            outcome, seen = NOT_APPLICABLE, ""
        elif only and step.name not in only:
            outcome, seen = SKIPPED, "not asked for"
        else:
            outcome, seen = _taken(step, measuring)
        entries.append(Entry(step.name, step.sentence, outcome, seen, now()))
    return entries


def _taken(step: Step, measuring: Measuring) -> tuple[str, str]:
    while True:
        if measuring.ask(f"{step.name}: {step.sentence} Enter, or skip: ") == "skip":
            return SKIPPED, "left out by the person"
        try:
            seen = step.take(measuring)
        except Implausible as error:
            measuring.say(f"  not taken: {error}")
            continue
        measuring.say(f"  {seen}")
        return TICKED, seen


def _number(measuring: Measuring, question: str) -> float:
    text = measuring.ask(question).replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        raise Implausible(f'"{text[:20]}" is no number') from None
    if not 0.0 < value < 1e6:
        raise Implausible(f"{text[:20]} is not above 0")
    return value


def _end(name: str, key: str, low_v: float, high_v: float) -> Callable[[Measuring], str]:
    """Return a step that reads one end of a lever, which must lie within what a bike file allows."""

    def take(measuring: Measuring) -> str:
        value_v = round(steady_v(measuring.board, f"{name}_v"), 2)
        if not low_v <= value_v <= high_v:
            raise Implausible(
                f"{key} reads {value_v:g} V, allowed is {low_v:g} to {high_v:g} V: look at the wires"
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
                    "was the order the other way round, or the lever not moved?"
                )
        measuring.found[key] = value_v
        return f"{key} = {value_v:g} V"

    return take


def _positions(measuring: Measuring) -> str:
    """Read every position between the ends, and hold it against an even spacing."""
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
                f"position {position} reads {value_v:.2f} V, allowed is {wanted_v:.2f} V within "
                f"{POSITION_OFF * step_v:.2f} V: positions are taken as evenly spaced"
            )
        seen.append(f"{value_v:.2f} V")
    return f"positions between the ends: {', '.join(seen) or 'none'}"


def _scale(measuring: Measuring, what: str, told: float, metered: float, place: str) -> str:
    factor = metered / told if told > 0.0 else float("inf")
    if abs(factor - 1.0) > SCALE_MOST:
        raise Implausible(
            f"the board reads {told:.2f} {what} and the meter {metered:.2f}, allowed is "
            f"{SCALE_MOST * 100:g} % apart: "
            "a wrong resistor, or another range of the meter"
        )
    if abs(factor - 1.0) > SCALE_NOTED:
        measuring.notes.append(
            f"multiply {place} in the board's pins.py by {factor:.4f}: no setting exists for this scale"
        )
    return f"the board reads {told:.2f} {what}, the meter {metered:.2f}: factor {factor:.4f}"


def _brakes(measuring: Measuring) -> str:
    """See every lever by itself, pulled and let go; no number comes of it."""
    if steady_brake(measuring.board):
        raise Implausible("a brake reads as pulled although all are let go: look for a broken wire")
    told = measuring.ask("  How many brake levers have a switch? ")
    if not (told.isascii() and told.isdigit() and 1 <= int(told) <= BRAKES_MOST):
        raise Implausible(f'"{told[:20]}" levers, allowed is 1 to {BRAKES_MOST}')
    for lever in range(1, int(told) + 1):
        measuring.ask(f"  Pull lever {lever} alone and hold it, then press Enter: ")
        if not steady_brake(measuring.board):
            raise Implausible(f"lever {lever} reads as let go although it is pulled: look at its switch")
        measuring.ask(f"  Let lever {lever} go, then press Enter: ")
        if steady_brake(measuring.board):
            raise Implausible(f"lever {lever} reads as pulled although it is let go: look at its switch")
    return f"brake levers: {told}, each pulled and let go by itself"


def _battery(measuring: Measuring) -> str:
    metered_v = _number(measuring, "  Volts at the battery by the meter: ")
    return _scale(measuring, "V", steady_v(measuring.board, "battery_v"), metered_v, "BATTERY_FULL_MV")


def _shunt(measuring: Measuring) -> str:
    metered_a = _number(measuring, "  Amperes by the meter, while that load is on: ")
    if metered_a < CURRENT_LEAST_A:
        raise Implausible(
            f"{metered_a:g} A is too little to tell a scale by, allowed is {CURRENT_LEAST_A:g} A or more"
        )
    return _scale(measuring, "A", steady_current_a(measuring.board), metered_a, "CURRENT_FULL_MA")


def _wheel(measuring: Measuring) -> str:
    way_m = _number(measuring, f"  Way of {WHEEL_TURNS} turns of the wheel with the rider on it, in m: ")
    around_m = round(way_m / WHEEL_TURNS, 3)
    known_m = measuring.bike.bicycle.wheel_circumference_m
    if not 0.5 <= around_m <= 3.0 or abs(around_m / known_m - 1.0) > WHEEL_OFF:
        raise Implausible(
            f"a turn would be {around_m:g} m and the bike file has {known_m:g} m, allowed is "
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
    Step("throttle rest", "Let the throttle go.", _end("throttle", "throttle.rest_v", 0.2, 3.9), _throttle),
    Step(
        "throttle full",
        "Driven wheel off the ground, brake pulled or motor controller unplugged: open it fully and hold it.",
        _end("throttle", "throttle.full_v", 0.7, 4.4),
        _throttle,
    ),
    Step(
        "selector low",
        "Put the selector to its lowest.",
        _end("selector", "selector.low_v", 0.3, 4.0),
        _selector,
    ),
    Step("selector high", "Put it to its highest.", _end("selector", "selector.high_v", 0.8, 4.6), _selector),
    Step(
        "selector positions",
        "Now its positions, one after the other.",
        _positions,
        lambda bike: bike.selector.kind == "positions",
    ),
    Step(
        "brakes",
        "Let all brake levers go.",
        _brakes,
        lambda bike: bike.brakes.switches != "none",
    ),
    Step("battery", "Hold a meter to the battery.", _battery),
    Step(
        "shunt",
        "Motor controller unplugged, a lamp or resistor behind the shunt, a meter in its wire.",
        _shunt,
        lambda bike: bike.shunt.fitted,
    ),
    Step("wheel", f"Mark tyre and floor, sit on it, and roll {WHEEL_TURNS} turns.", _wheel),
)
STEP_NAMES = tuple(step.name for step in STEPS)
