"""Random rides with random faults on random legal bikes: none of them may break a rule of safety.

`uv run pytest -m slow -s` rides 10,000 of them and prints the seed; a ride is repeated by its number alone.
"""

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from os import cpu_count
from random import Random
from typing import Any

from firmware.settings import ASCENDING, ONE_CHANNEL, TABLE, Settings
from host_sim.bench.course import course_from
from host_sim.bench.faults import FAULTS
from host_sim.bikes.load import example_names, load_bike
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case, Lines
from host_sim.rules.catalogue import rule_named
from host_sim.rules.riding import rest
from host_sim.rules.rule import Probe, Rule

SAFETY = (
    "output range",
    "rise rate",
    "brake cut",
    "a fault stays",
    "nothing from a standing crank",
    "two actions to start",
    "no drive over speed",
    "forward pedalling only",
)
# What a bicycle is, or what its place says, is not drawn: a speed, a size, a kind of part that must fit.
FITTED = frozenset(
    {
        "sensor_kind",
        "lead",
        "forward_duty_high",
        "pulses_per_rev",
        "edge_gap_permille",
        "wheel_circumference_mm",
        "wheel_pulses_per_rev",
        "command_start_mv",
        "command_max_mv",
        "shunt_fitted",
        "throttle_fitted",
        "throttle_open_mv",
        "throttle_rest_mv",
        "throttle_full_mv",
        "throttle_short_mv",
        "selector_positions",
        "selector_open_mv",
        "selector_low_mv",
        "selector_high_mv",
        "selector_short_mv",
        "battery_empty_mv",
        "battery_foldback_mv",
        "battery_highest_mv",
        "heat_sensor_fitted",
        "motor_lag_ms",
    }
)
# Faults that turn a rule's question round: a crank whose wires are swapped runs backward for the controller.
# With one pulse a turn the speed is known after two turns of the wheel, and a strong motor is faster than
# walking by then.
SPEED_KNOWN_MM_PER_S = 4000
BLINDING = ("channels swapped", "channel stuck low", "channel stuck high", "channel dead")
EXPLAINED = {
    "forward pedalling only": (*BLINDING, "noise"),
    "two actions to start": BLINDING,  # A crank that the sensor does not show looks like one at rest.
    "no drive over speed": ("wheel sensor lost",),
    "brake cut": ("loop stalls",),  # Then the board's own time limit ends the drive; see "stalled loop".
}


# What the campaign draws from. The other faults are gone through one by one in the fault matrix, which judges
# them by what is true; these rules judge by what the controller can know.
DRAWN = (
    "battery wire open",
    "bounce",
    "channel dead",
    "channel stuck high",
    "channel stuck low",
    "channels swapped",
    "loop stalls",
    "magnet missing",
    "magnet weak",
    "noise",
    "selector wire open",
    "selector wire shorted",
    "shunt reading dead",
    "shunt reading stuck",
    "throttle stuck",
    "throttle wire open",
    "throttle wire shorted",
    "wheel sensor lost",
)


class Violation:
    """A ride that broke a rule."""

    def __init__(self, number: int, rule: str, measured: float, limit: float, unit: str) -> None:
        """Note it."""
        self.number = number
        self.rule = rule
        self.measured = measured
        self.limit = limit
        self.unit = unit

    def __str__(self) -> str:
        return f"ride {self.number}: {self.rule}: {self.measured:g} against {self.limit:g} {self.unit}"


def random_bike(draw: Random) -> Bike:
    """Return an example bike with another sensor, other parts, and settings from all over their ranges."""
    bike = load_bike(draw.choice(example_names()))
    kind = draw.choice(("two channels", "two channels", "one channel", "duty-coded"))
    duty = draw.uniform(35.0, 65.0) if kind != "duty-coded" else draw.choice((28.0, 33.0, 67.0, 72.0))
    pulses = draw.choice((4, 5, 6, 8, 10, 12, 16, 24, 32, 64))
    sensor = bike.pedal_sensor.model_copy(
        update={
            "kind": kind,
            "pulses_per_rev": pulses,
            "side": draw.choice(("right", "left")),
            "leads_on_the_right": draw.choice("AB"),
            "duty_percent": duty,
            "phase_deg": draw.uniform(60.0, 120.0),
            "angle_errors_deg": [draw.uniform(-0.06, 0.06) * 360.0 / pulses for _ in range(pulses)],
            "hysteresis_deg": draw.uniform(0.0, 0.1) * 360.0 / pulses,
        }
    )
    parts = {
        "pedal_sensor": sensor,
        "wheel_sensor": bike.wheel_sensor.model_copy(update={"pulses_per_rev": draw.choice((1, 2, 6, 16))}),
        "battery": bike.battery.model_copy(update={"charge": draw.random()}),
    }
    changed = bike.model_copy(update=parts)
    changed.complete(bike.name, bike.place_profile, _random_settings(changed, draw))
    return changed


def _random_settings(bike: Bike, draw: Random) -> Settings:
    from host_sim.bikes.settings_of import settings_from

    plain = bike.model_copy(update={"settings": {}})
    values = settings_from(plain, bike.place_profile).as_dict()
    fixed = dict(values)
    for name, _, lowest, highest, _ in TABLE:
        if name not in FITTED and draw.random() < 0.5:
            values[name] = draw.randint(lowest, highest)
    for lower, higher in ASCENDING:
        if values[lower] >= values[higher]:
            values[lower], values[higher] = fixed[lower], fixed[higher]
    return Settings(values)


def random_case(number: int) -> Case:
    """Return ride `number` of the campaign."""
    draw = Random(f"campaign {number}")
    bike = random_bike(draw)
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(0.0, 30.0)}
    ]
    if draw.random() < 0.4:
        lines = [{"at_s": 0, "cadence_rpm": 0}]
    at_s = min(rest(bike), 8.0) if draw.random() < 0.9 else 0.1
    for _ in range(draw.randint(4, 9)):
        lines.append({"at_s": round(at_s, 3)} | _random_line(bike, draw))
        at_s += draw.uniform(0.2, 4.0)
    return Case(
        bike, course_from(f"campaign {number}", f"ride {number} of the campaign", at_s + 2.0, lines), number
    )


def _random_line(bike: Bike, draw: Random) -> dict[str, Any]:
    line: dict[str, Any] = {
        "cadence_rpm": draw.choice(
            (0.0, 0.0, draw.uniform(-90.0, 0.0), *(draw.uniform(8.0, 120.0) for _ in range(4)))
        ),
        "effort_w": draw.uniform(0.0, 300.0),
        "grade_percent": draw.uniform(-8.0, 8.0),
        "throttle_percent": draw.choice((0.0, 0.0, draw.uniform(0.0, 100.0))),
        "selector_percent": draw.choice((0.0, 50.0, 100.0, 100.0)),
        "brake": draw.random() < 0.12,
        "power_switch": draw.random() > 0.06,
        "fault": [_random_fault(bike, draw)] if draw.random() < 0.35 else [],
    }
    return line


def _random_fault(bike: Bike, draw: Random) -> dict[str, Any]:
    name = draw.choice(DRAWN)
    values: dict[str, Any] = {
        "channel": draw.choice("AB"),
        "magnet": draw.randint(1, bike.pedal_sensor.pulses_per_rev),
        "strength": draw.uniform(0.05, 0.9),
        "per_s": 10.0 ** draw.uniform(0.0, 3.6),
        "stall_ms": draw.choice((10, 20, 60, 200, 1000)),
    }
    return {"name": name} | {key: values[key] for key in FAULTS[name][0]}


def _asked(rule: Rule, case: Case) -> bool:
    """Tell whether this ride can answer the rule's question."""
    if rule.limit(case.bike) is None:
        return False
    faults = {fault.name for stretch in case.course.stretches for fault in stretch.faults}
    one_channel = case.settings.sensor_kind == ONE_CHANNEL
    if one_channel and rule.name == "forward pedalling only":
        return False  # It can't tell.
    if rule.name == "no drive over speed" and case.settings.cutoff_speed_mm_per_s < SPEED_KNOWN_MM_PER_S:
        return False
    if rule.name == "nothing from a standing crank" and "noise" in faults and case.settings.sensor_kind != 0:
        return False  # Slow noise on one channel looks like slow pedalling.
    return not faults.intersection(EXPLAINED.get(rule.name, ()))


def ride_number(number: int) -> list[Violation]:
    """Ride one ride of the campaign and return what it broke."""
    case = random_case(number)
    bench = case.bench()
    watched: list[tuple[Rule, Probe]] = []
    for name in SAFETY:
        rule = rule_named(name)
        if _asked(rule, case):
            probe = rule.probe(case)
            watched.append((rule, probe))
            bench.watch(probe)
            bench.watch_edges(probe)
    bench.ride(case.script(), case.course.seconds)
    broken = []
    for rule, probe in watched:
        probe.end()
        limit = rule.limit(case.bike)
        if (
            limit is not None
            and probe.measured is not None
            and not rule.holds(case.bike, probe.measured, limit)
        ):
            broken.append(Violation(number, rule.name, probe.measured, limit, rule.unit))
    return broken


def campaign(first: int, rides: int, workers: int | None = None) -> Iterator[tuple[int, list[Violation]]]:
    """Ride numbers `first` to `first + rides - 1`; yield how many are done and what the last broke."""
    with ProcessPoolExecutor(workers or cpu_count(), mp_context=get_context("fork")) as pool:
        numbers = range(first, first + rides)
        yield from enumerate(pool.map(ride_number, numbers, chunksize=20), start=1)
