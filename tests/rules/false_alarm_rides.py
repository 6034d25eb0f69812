"""Random rides on which nothing is broken, though much looks like it: the firmware must latch no fault.

Motor settings are wrong, one by a fifth or all by up to a tenth; shunts are quiet, coarse or noisy;
wheels have one pulse a turn or more; batteries are stiff or weak, full or nearly empty; slopes reach 10 %;
the driven wheel slips, and the motor controller cuts out for a moment. A ride is repeated by its number.
"""

from random import Random
from typing import Any

from firmware.guard.faults import CAUSE_NAMES
from firmware.settings import Settings
from host_sim.bench.course import course_from
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.rules.case import Case, Lines
from host_sim.rules.riding import rest

BIKES = ("cargo_trike", "tandem", "folding", "strong tandem")
ONE_OFF_BY = 0.2
ALL_OFF_BY = 0.1
MOTOR_SETTINGS = (
    "back_emf_mv_per_m_per_s",
    "motor_resistance_mohm",
    "motor_current_limit_ma",
    "battery_current_limit_ma",
    "no_load_current_ma",
)
# What happens to one bicycle in a minute: a wheel that slips, or a controller that cuts out, once or twice.
EVENTS_MOST = 2


def false_alarm_case(number: int) -> Case:
    """Return ride `number`."""
    draw = Random(f"false alarm {number}")
    bike = _bike(draw)
    road = draw.random() < 0.85
    lines: Lines = [{"at_s": 0, "cadence_rpm": 0}]
    roller_km_per_h = draw.uniform(4.0, 30.0)
    if not road:
        lines[0] |= {"crank_free": True, "roller_km_per_h": roller_km_per_h}
    at_s = rest(bike)
    events = 0
    for _ in range(draw.randint(5, 9)):
        roller_km_per_h = max(roller_km_per_h + draw.uniform(-8.0, 8.0), 4.0)
        line = _road(bike, draw)
        if not road:
            line = {"over_s": draw.uniform(2.0, 6.0), "roller_km_per_h": roller_km_per_h}
        line |= {"at_s": round(at_s, 3), "fault": [], "selector_percent": draw.choice((100.0, 100.0, 60.0))}
        line["cadence_rpm"] = draw.choice((0.0, *(draw.uniform(40.0, 100.0) for _ in range(4))))
        lines.append(line)
        if events < EVENTS_MOST and draw.random() < 0.15:
            events += 1
            begin_s = at_s + max(line["over_s"], 2.0) + draw.uniform(0.1, 1.0)
            lines.append({"at_s": round(begin_s, 3), "fault": [_event(draw)]})
            lines.append({"at_s": round(begin_s + draw.uniform(0.05, 1.2), 3), "fault": []})
        at_s += draw.uniform(8.5, 13.0)
    return Case(bike, course_from(f"false alarm {number}", f"ride {number}", at_s, lines), number)


def _bike(draw: Random) -> Bike:
    name = draw.choice(BIKES)
    bike = load_bike("tandem" if name == "strong tandem" else name)
    motor: dict[str, Any] = {}
    if name == "strong tandem":  # Another motor on a speed controller: lower resistance, more current.
        motor = {"torque_constant_nm_per_a": 1.45, "resistance_ohm": 0.16, "no_load_current_a": 1.2}
    battery, controller = bike.battery, bike.motor_controller
    parts: dict[str, dict[str, Any]] = {
        "motor": motor,
        "wheel_sensor": {"pulses_per_rev": draw.choice((1, 1, 1, 2, 6))},
        "shunt": {
            "fitted": True,
            "noise_a": draw.choice((0.0, 0.05, 0.15, 0.4)),
            "step_a": draw.choice((0.03, 0.1, 0.25)),
        },
        "battery": {
            "charge": draw.uniform(0.05, 1.0),
            "resistance_ohm": battery.resistance_ohm * draw.uniform(0.6, 1.6),
        },
        "motor_controller": {"lag_s": controller.lag_s * draw.uniform(0.7, 1.5)},
        "bicycle": {"load_kg": bike.bicycle.load_kg * draw.random()},
    }
    changed = bike.model_copy(
        update={key: getattr(bike, key).model_copy(update=values) for key, values in parts.items()}
    )
    values = settings_from(changed, bike.place_profile).as_dict()
    wrong = draw.choice(((), (draw.choice(MOTOR_SETTINGS),), MOTOR_SETTINGS))
    for setting in wrong:
        off = (
            draw.choice((-ONE_OFF_BY, ONE_OFF_BY))
            if len(wrong) == 1
            else draw.uniform(-ALL_OFF_BY, ALL_OFF_BY)
        )
        values[setting] = round(values[setting] * (1.0 + off))
    changed.complete(bike.name, bike.place_profile, Settings(values))
    return changed


def _road(bike: Bike, draw: Random) -> dict[str, Any]:
    bicycle = bike.bicycle
    return {
        "over_s": draw.choice((0.0, 0.0, 2.0)),
        "effort_w": draw.uniform(30.0, 300.0),
        "grade_percent": draw.choice((0.0, draw.uniform(-10.0, 10.0), draw.uniform(3.0, 10.0))),
        "wind_m_per_s": draw.uniform(-4.0, 4.0),
        "gear_m": draw.uniform(bicycle.development_low_m, bicycle.development_high_m),
        "brake": draw.random() < 0.12,
    }


def _event(draw: Random) -> dict[str, Any]:
    if draw.random() < 0.5:
        return {"name": "wheel slips", "km_per_h": draw.uniform(3.0, 15.0)}
    return {"name": "motor controller cuts out", "per_s": 200.0, "cut_ms": 20}


def latched_on(number: int) -> tuple[int, list[str]]:
    """Ride one ride and return its number with the faults that were latched, which should be none."""
    case = false_alarm_case(number)
    bench = case.bench()
    bench.ride(case.script(), case.course.seconds)
    known = set(CAUSE_NAMES)
    assert all(fault in known for fault in bench.meter.faults)
    return number, list(bench.meter.faults)
