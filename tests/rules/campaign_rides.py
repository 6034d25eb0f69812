"""The random rides of the campaign: random legal bikes, random stretches, random faults.

Each ride is a function of its number. A ride may end with a fault at the very moment that matters.
"""

from random import Random
from typing import Any

from firmware.settings import ASCENDING, FIRST_PITCH_EDGES, TABLE, Settings
from host_sim.bench.course import course_from
from host_sim.bench.faults import FAULTS
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case, Lines
from host_sim.rules.riding import cutoff_km_per_h, rest

# What is drawn from. One more name, and every number is another ride: add it on purpose.
BIKES = ("cargo_trike", "folding", "tandem")
# The fault matrix goes through the others one by one and judges by what is true; the rules of the campaign
# judge by what the controller can know.
FAULT_NAMES = (
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
ENDINGS = 0.3  # The share of rides that end with such a fault.
SHUNT_FAULTS = ("shunt reading dead", "shunt reading stuck")
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
        "motor_kind",
        "back_emf_mv_per_m_per_s",
        "motor_resistance_mohm",
        "motor_current_limit_ma",
        "battery_current_limit_ma",
        "no_load_current_ma",
    }
)


def random_bike(draw: Random) -> Bike:
    """Return an example bike with another sensor, other parts, and settings from all over their ranges."""
    bike = load_bike(draw.choice(BIKES))
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
    values["engage_edges"] = max(values["engage_edges"], FIRST_PITCH_EDGES[values["sensor_kind"]])
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
    end_s, ending = _ending(bike, at_s + 2.0, Random(f"campaign {number}, ending"))
    course = course_from(f"campaign {number}", f"ride {number} of the campaign", end_s, lines + ending)
    return Case(bike, course, number)


def _ending(bike: Bike, at_s: float, draw: Random) -> tuple[float, Lines]:
    """Return the end of a ride, and for some what happens until then.

    What is random seldom drives at full power when just that sensor fails which limits it. So here, after a
    new start, the wheel sensor is lost below or above the cut-off while the motor drives and the bicycle goes
    on getting faster; or the shunt fails at some power. Such a fault stays until the end of the ride.
    """
    if draw.random() >= ENDINGS:
        return at_s, []
    cutoff = cutoff_km_per_h(bike)
    drive_s = at_s + 0.5 + min(rest(bike), 8.0)
    fault_s = drive_s + draw.uniform(3.0, 8.0)
    lines: Lines = [
        {"at_s": at_s, "power_switch": False, "fault": [], "brake": False, "throttle_percent": 0.0}
        | {"cadence_rpm": 0, "crank_free": True, "roller_km_per_h": draw.uniform(0.3, 0.9) * cutoff},
        {"at_s": at_s + 0.5, "power_switch": True},
        {"at_s": drive_s, "cadence_rpm": draw.uniform(50.0, 95.0), "selector_percent": 100.0},
    ]
    if bike.shunt.fitted and draw.random() < 0.5:
        lines.append({"at_s": fault_s, "fault": [{"name": draw.choice(SHUNT_FAULTS)}]})
        return fault_s + 10.0, lines
    faster = {"over_s": draw.uniform(1.0, 4.0), "roller_km_per_h": draw.uniform(1.0, 1.3) * cutoff}
    lost = [{"name": "wheel sensor lost"}]
    if draw.random() < 0.5:
        lines.append({"at_s": fault_s, "fault": lost} | faster)
    else:
        lines.append({"at_s": drive_s + 2.5} | faster)
        lines.append({"at_s": fault_s + 4.0, "fault": lost})
    return fault_s + 14.0, lines


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
    name = draw.choice(FAULT_NAMES)
    values: dict[str, Any] = {
        "channel": draw.choice("AB"),
        "magnet": draw.randint(1, bike.pedal_sensor.pulses_per_rev),
        "strength": draw.uniform(0.05, 0.9),
        "per_s": 10.0 ** draw.uniform(0.0, 3.6),
        "stall_ms": draw.choice((10, 20, 60, 200, 1000)),
    }
    return {"name": name} | {key: values[key] for key in FAULTS[name][0]}
