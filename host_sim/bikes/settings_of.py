"""The settings of the firmware that follow from a bicycle and its place.

Everything that a bicycle implies is computed here, once; [settings] in the bike file overrides it, but never
the limits of the place.
"""

from math import ceil, floor, sqrt

from firmware.settings import DUTY_CODED, FIRST_PITCH_EDGES, ONE_CHANNEL, TABLE, TWO_CHANNELS, Settings
from host_sim.bikes.fit import edge_gaps, neighbour_error, refuse
from host_sim.bikes.model import Bike, PedalSensor
from host_sim.bikes.power_loop_of import motor_model, open_map_full_w, power_loop
from host_sim.places.limits import Place
from host_sim.refusals import closest
from host_sim.units import MM_PER_S_PER_KM_PER_H

_KINDS = {"two channels": TWO_CHANNELS, "one channel": ONE_CHANNEL, "duty-coded": DUTY_CODED}
_THROTTLE_USES = ("never", "below start-up speed", "freely")
# A sixth of a turn is pedalling; less may be a nudge. With a tenth, 40 to 50 % of nudges of up to
# 0.16 of a turn engaged on two channels, with a sixth 0 to 1 % (measured; tests/tuning/test_thresholds.py).
_ENGAGE_TURN_SHARE = 1.0 / 6.0
# Power fades over the last 12 % of speed, so that the cut-off is not felt as a brake. Judgement.
_TAPER_FROM_SHARE = 0.88
# The speed is known a wheel pulse late: start-up assistance, which gathers speed, aims below what the place
# allows, and so does the cut-off where the place has no tolerance for it. Judgement.
_STARTUP_SHARE = 0.95
# A heavy bicycle that starts uphill still gathers speed like this with help. Judgement.
_SLOWEST_START_M_PER_S2 = 0.15
_CUTOFF_SHARE = 0.99


def settings_from(bike: Bike, place: Place) -> Settings:
    """Return the settings of a bicycle; ValueError names the key of [settings] that is at fault."""
    _check_names(bike.settings)
    limits = _place(bike, place)
    values = {**_sensor(bike), **limits, **_drive(bike, limits), **_levers(bike), **bike.settings}
    try:
        settings = Settings(values)
    except ValueError as error:
        raise ValueError(f"settings: {error}") from None
    _check_lawful(settings, bike, place)
    return settings


def _check_names(chosen: dict[str, int]) -> None:
    table = {row[0]: row for row in TABLE}
    for name, value in chosen.items():
        if name not in table:
            raise ValueError(f"settings.{name[:60]} is not a known key, {closest(name, list(table))}")
        _, _, lowest, highest, _ = table[name]
        if not lowest <= value <= highest:
            # Not as a float: a user's number may have any length.
            raise ValueError(f"settings.{name} is {_short(value)}, allowed is {lowest} to {highest}")


def _short(value: int) -> str:
    return str(value) if abs(value) < 10**15 else "a number of more than 15 digits"


def _sensor(bike: Bike) -> dict[str, int]:
    sensor = bike.pedal_sensor
    kind = _KINDS[sensor.kind]
    return {
        "sensor_kind": kind,
        "lead": 1 if _on_b(sensor) else 0,
        "forward_duty_high": 1 if sensor.duty_percent >= 50.0 else 0,
        "pulses_per_rev": sensor.pulses_per_rev,
        "edge_gap_permille": _edge_gap_permille(sensor),
        "engage_edges": max(FIRST_PITCH_EDGES[kind], round(sensor.edges_per_turn * _ENGAGE_TURN_SHARE)),
        "wheel_circumference_mm": round(bike.bicycle.wheel_circumference_m * 1000.0),
        "wheel_pulses_per_rev": bike.wheel_sensor.pulses_per_rev,
        "wheel_lost_ms": _wheel_lost_ms(bike),
    }


def _wheel_lost_ms(bike: Bike) -> int:
    """Return how long the slowest start takes to its second wheel pulse, from 2 to 6 s."""
    spacing_m = bike.bicycle.wheel_circumference_m / bike.wheel_sensor.pulses_per_rev
    return min(max(round(sqrt(4.0 * spacing_m / _SLOWEST_START_M_PER_S2) * 1000.0), 2000), 6000)


def _on_b(sensor: PedalSensor) -> bool:
    """Tell whether channel B is the one that leads, or the only one."""
    return not sensor.a_leads if sensor.kind == "two channels" else sensor.channel == "B"


def _edge_gap_permille(sensor: PedalSensor) -> int:
    """Return the longest gap between edges of this ring, its flaws included, as a share of a pitch."""
    longest = max(edge_gaps(sensor)) + neighbour_error(sensor)
    return min(max(ceil(longest * 1000.0), 250), 1000)


def _place(bike: Bike, place: Place) -> dict[str, int]:
    cutoff_share = 1.0 if place.cutoff_tolerance_percent > 0.0 else _CUTOFF_SHARE
    cutoff_mm_per_s = _mm_per_s(place.cutoff_km_per_h * cutoff_share)
    taper_mm_per_s = floor(cutoff_mm_per_s * _TAPER_FROM_SHARE)
    if place.taper_from_km_per_h is not None:
        taper_mm_per_s = _mm_per_s(place.taper_from_km_per_h)
    power_w = floor(min(most_power_w(place), bike.motor.rated_power_w))
    return {
        "power_limit_w": power_w,
        "assist_power_w": power_w,
        "throttle_power_w": power_w,
        "throttle_unpedalled": _THROTTLE_USES.index(place.throttle_unpedalled),
        "startup_speed_mm_per_s": _mm_per_s(place.startup_km_per_h * _STARTUP_SHARE),
        "taper_start_mm_per_s": taper_mm_per_s,
        "cutoff_speed_mm_per_s": cutoff_mm_per_s,
        "engage_speed_mm_per_s": ceil(place.engage_km_per_h * MM_PER_S_PER_KM_PER_H),
        "cutoff_distance_mm": round((cutoff_distance_m(bike, place) or 2.0) * 1000.0),
    }


def most_power_w(place: Place) -> int:
    """Return the most whole watts that a place allows."""
    most_w = floor(place.power_limit_w)
    return most_w - 1 if place.power_strict and most_w == place.power_limit_w else most_w


def cutoff_distance_m(bike: Bike, place: Place) -> float | None:
    """Return the cut-off distance of the place for these brake switches; None where its text has none."""
    if bike.brakes.switches == "all" and place.cutoff_distance_all_brakes_m is not None:
        return place.cutoff_distance_all_brakes_m
    return place.cutoff_distance_m


def _mm_per_s(km_per_h: float) -> int:
    """Return a speed in whole mm/s, rounded down."""
    return floor(km_per_h * MM_PER_S_PER_KM_PER_H)


def _drive(bike: Bike, limits: dict[str, int]) -> dict[str, int]:
    controller, battery = bike.motor_controller, bike.battery
    full_w = open_map_full_w(bike, limits["power_limit_w"], limits["taper_start_mm_per_s"])
    empty_mv, span_mv = battery.empty_v * 1000.0, (battery.full_v - battery.empty_v) * 1000.0
    values = {
        **motor_model(bike),
        "command_start_mv": round(controller.start_v * 1000.0),
        "command_max_mv": round(controller.full_v * 1000.0),
        # After three lags 5 % of the power are left.
        "motor_lag_ms": round(3.0 * controller.lag_s * 1000.0),
        "shunt_fitted": 1 if bike.shunt.fitted else 0,
        "open_map_full_w": min(max(ceil(full_w), 50), 3000),
        "battery_empty_mv": round(empty_mv),
        "battery_foldback_mv": round(empty_mv + max(span_mv / 6.0, 150.0)),
        "battery_highest_mv": round(battery.full_v * 1000.0 * 1.025),
        "heat_sensor_fitted": 1 if bike.motor.has_temperature_sensor else 0,
    }
    return values | power_loop(bike, limits["power_limit_w"], limits["taper_start_mm_per_s"])


def _levers(bike: Bike) -> dict[str, int]:
    throttle, selector = bike.throttle, bike.selector
    values = {"throttle_fitted": 1 if throttle.fitted else 0}
    if throttle.fitted:
        rest_mv, full_mv = round(throttle.rest_v * 1000.0), round(throttle.full_v * 1000.0)
        # 150 mV inside the travel, so that play and heat neither hide the rest nor the end.
        values["throttle_open_mv"] = rest_mv // 2
        values["throttle_rest_mv"] = rest_mv + 150
        values["throttle_full_mv"] = full_mv - 150
        values["throttle_short_mv"] = full_mv + 400
    if selector.kind == "none":
        return values | {"selector_positions": 0}
    low_mv, high_mv = round(selector.low_v * 1000.0), round(selector.high_v * 1000.0)
    values["selector_positions"] = selector.positions or 1
    values["selector_open_mv"] = low_mv // 2
    values["selector_low_mv"] = low_mv
    values["selector_high_mv"] = high_mv
    values["selector_short_mv"] = high_mv + 300
    for number, share in enumerate(selector.shares_percent, start=1):
        values[f"share_{number}_permille"] = round(share * 10.0)
    return values


def limits_of(bike: Bike, place: Place) -> dict[str, tuple[int, int, str]]:
    """Return by a setting's name the lowest and highest value in the place, and the unit or meaning."""
    rows = {row[0]: row for row in TABLE}
    most = {
        "power_limit_w": (most_power_w(place), "W"),
        "cutoff_speed_mm_per_s": (_mm_per_s(place.cutoff_km_per_h), "mm/s"),
        "throttle_unpedalled": (_THROTTLE_USES.index(place.throttle_unpedalled), place.throttle_unpedalled),
    }
    if place.throttle_unpedalled == "below start-up speed":
        most["startup_speed_mm_per_s"] = (_mm_per_s(place.startup_km_per_h), "mm/s")
    distance_m = cutoff_distance_m(bike, place)
    if distance_m is not None:
        most["cutoff_distance_mm"] = (floor(distance_m * 1000.0), "mm")
    limits = {name: (rows[name][2], limit, unit) for name, (limit, unit) in most.items()}
    least_mm_per_s = ceil(place.engage_km_per_h * MM_PER_S_PER_KM_PER_H)
    highest = rows["engage_speed_mm_per_s"][3]
    return limits | {"engage_speed_mm_per_s": (least_mm_per_s, highest, "mm/s")}


def _check_lawful(settings: Settings, bike: Bike, place: Place) -> None:
    """Raise ValueError for a chosen setting that goes beyond the limits of the place."""
    for name, (lowest, highest, unit) in limits_of(bike, place).items():
        value = getattr(settings, name)
        if value > highest:
            raise refuse(f"settings.{name}", value, f"up to {highest} ({unit}) in {bike.place}")
        if value < lowest:
            raise refuse(f"settings.{name}", value, f"{lowest} or more ({unit}) in {bike.place}")
