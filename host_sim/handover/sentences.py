"""The sentences of the sheet, made from a bike's settings: first the words, then the numbers."""

from collections.abc import Sequence

from firmware.settings import (
    DUTY_CODED,
    ONE_CHANNEL,
    TABLE,
    THROTTLE_BELOW_STARTUP_SPEED,
    THROTTLE_FREELY,
    Settings,
)
from host_sim.bikes.model import Bike
from host_sim.handover.first_ride import FirstRide
from host_sim.handover.reports import RuleHeld
from host_sim.units import KM_PER_H_PER_MM_PER_S

_UNITS = (
    ("_mm_per_s", "mm/s"), ("_mv_per_s", "mV/s"), ("_uv_per_w", "µV/W"), ("_decicelsius", "tenths of °C"),
    ("_permille", "‰"), ("_percent", "%"), ("_rpm", "rpm"), ("_mm", "mm"), ("_ms", "ms"), ("_mv", "mV"),
    ("_w", "W"),
)  # fmt: skip


def km_per_h(speed_mm_per_s: int) -> str:
    """Return a speed as people say it."""
    return f"{speed_mm_per_s * KM_PER_H_PER_MM_PER_S:.1f} km/h"


def setting_rows(settings: Settings) -> list[tuple[str, str, str]]:
    """Return name, value with unit, and sentence of all settings."""
    values = settings.as_dict()
    return [(name, f"{values[name]} {_unit(name)}".rstrip(), words) for name, _, _, _, words in TABLE]


def felt_rows(bike: Bike) -> list[tuple[str, str]]:
    """Return the settings that a rider feels, in words for the owner, only for parts that are fitted."""
    settings = bike.firmware_settings
    rows = [
        ("Full help", f"{settings.assist_power_w} W"),
        ("Help starts at", f"{settings.engage_rpm} turns a minute"),
        ("Help ends below", f"{settings.release_rpm} turns a minute"),
        ("Help fades from", km_per_h(settings.taper_start_mm_per_s)),
        ("Help has ended at", km_per_h(settings.cutoff_speed_mm_per_s)),
        ("Weaker help below", f"{settings.battery_foldback_mv / 1000:.1f} V"),
    ]
    if settings.throttle_fitted:
        alone = ("only while you pedal", "alone at walking pace only", "without pedalling")
        rows.append(("The throttle drives", alone[settings.throttle_unpedalled]))
    if settings.heat_sensor_fitted:
        rows.append(("Weaker help above", f"{settings.heat_foldback_decicelsius // 10} °C"))
    return rows


def _unit(name: str) -> str:
    return next((unit for suffix, unit in _UNITS if name.endswith(suffix)), "")


def feelings(bike: Bike, ride: FirstRide, rules: Sequence[RuleHeld] = ()) -> list[tuple[str, str]]:
    """Return what the rider will feel: words, and the numbers that belong to them.

    With a report of `treadle verify`, the numbers are its worst cases. Without one they are those of one easy
    ride, and the words say so.
    """
    settings = bike.firmware_settings
    worst = {row.rule: row for row in rules}
    told = [_starting(ride, settings), _stopping(ride, worst.get("cut-off distance"))]
    told += [_braking(bike, worst.get("brake cut")), _speed(settings, worst.get("cut-off speed"))]
    told += [line for line in (_selector(bike), _throttle(settings, worst.get("start-up speed"))) if line]
    told += [_backward(settings, worst), _battery(bike), _rest(settings)]
    return told


def _starting(ride: FirstRide, settings: Settings) -> tuple[str, str]:
    if ride.help_after_s is None or ride.help_after_turns is None:
        return ("In the simulated start the motor gave no help.", "Find out why before you ride.")
    words = "Start pedalling: after part of a turn of the crank the motor helps, gently at first, then fully."
    if settings.engage_speed_mm_per_s > 0:
        words = "Start pedalling: once the bicycle rolls, the motor helps, gently at first, then fully."
    numbers = f"felt after {ride.help_after_turns:.2f} turns, {ride.help_after_s:.1f} s"
    if ride.full_after_s is not None:
        numbers += f"; full help {ride.full_after_s:.1f} s later, {ride.help_w:.0f} W"
    return (words, numbers)


def _stopping(ride: FirstRide, worst: RuleHeld | None) -> tuple[str, str]:
    rock = "Stop completely or keep pedalling; don't rock the pedals."
    if worst is None or worst.measured is None:
        return (
            f"Stop pedalling and the motor stops; the worst case was not measured. {rock}",
            f"one easy stop: {ride.run_on_s:.2f} s, {ride.run_on_m:.1f} m",
        )
    limit = "no limit" if worst.limit is None else f"limit {_metres(worst.limit)}"
    numbers = f"worst simulated stop {_metres(worst.measured)}, {limit}"
    if worst.failed:
        return (f"The motor can push on after you stop pedalling. Keep a hand on the brake. {rock}", numbers)
    return (f"Stop pedalling and the motor stops. {rock}", numbers)


def _metres(way_m: float) -> str:
    return f"{way_m:.1f} m"


def _braking(bike: Bike, worst: RuleHeld | None) -> tuple[str, str]:
    if worst is not None and worst.failed:
        return (
            "Pulling a brake lever did not end help in time: stop pedalling before you brake.",
            _cut(worst),
        )
    if bike.brakes.switches == "all":
        return ("Pull any brake lever, even a little, and the motor stops.", _cut(worst))
    if bike.brakes.switches == "some":
        return (
            "One brake lever stops the motor, the other does not: learn which one, and stop pedalling "
            "when you brake.",
            f"a switch on some levers only; {_cut(worst)}",
        )
    return ("The brake levers do not stop the motor: stop pedalling before you brake.", "no switches")


def _cut(worst: RuleHeld | None) -> str:
    """Return how long the brake took to end the signal, without the motor controller's own delay."""
    if worst is None or worst.measured is None:
        return "the time was not measured"
    return f"the signal ends within {worst.measured:.0f} ms"


def _speed(settings: Settings, worst: RuleHeld | None) -> tuple[str, str]:
    start, end = settings.taper_start_mm_per_s, settings.cutoff_speed_mm_per_s
    words = "Near the top speed help fades away; above it you ride without help."
    numbers = f"fades from {km_per_h(start)}, set to end at {km_per_h(end)}"
    if worst is not None and worst.measured is not None:
        numbers += f"; worst ride {worst.measured:.1f} km/h"
        if worst.failed:
            words = "Help goes on above the top speed that is set."
    return (words, numbers)


def _selector(bike: Bike) -> tuple[str, str] | None:
    settings = bike.firmware_settings
    if settings.selector_positions == 0:
        return None
    if settings.selector_positions == 1:
        return (
            "The knob on the handlebar sets how strong the help is, from none to all.",
            f"0 to {settings.assist_power_w} W",
        )
    shares = [getattr(settings, f"share_{at}_permille") for at in range(1, settings.selector_positions + 1)]
    watts = ", ".join(f"{settings.assist_power_w * share // 1000}" for share in shares)
    return (
        "The switch on the handlebar sets how strong the help is.",
        f"positions 1 to {len(shares)}: {watts} W",
    )


def _throttle(settings: Settings, worst: RuleHeld | None) -> tuple[str, str] | None:
    if settings.throttle_fitted == 0:
        return None
    watts = f"up to {settings.throttle_power_w} W"
    if settings.throttle_unpedalled == THROTTLE_FREELY:
        return ("The throttle drives without pedalling. Turn it gently.", watts)
    if settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED:
        numbers = f"set to end at {km_per_h(settings.startup_speed_mm_per_s)}"
        if worst is not None and worst.measured is not None:
            numbers += f"; worst ride {worst.measured:.1f} km/h"
        if worst is not None and worst.failed:
            return ("The throttle alone drives faster than its set speed: turn it with care.", numbers)
        return ("The throttle alone drives at walking pace; above that you must pedal.", numbers)
    return ("The throttle works only while you pedal.", watts)


def _backward(settings: Settings, worst: dict[str, RuleHeld]) -> tuple[str, str]:
    if settings.sensor_kind == ONE_CHANNEL:
        return (
            "This pedal sensor can't tell forward from backward: pedalling backward drives the bicycle too. "
            "Never turn or rock the pedals while you stand, walk or push; switch off first.",
            "this kind of sensor has one signal only",
        )
    if any(name in worst and worst[name].failed for name in ("forward pedalling only", "backward edges")):
        return ("Pedalling backward did not end help in time: don't rely on it.", "see the red box")
    if settings.sensor_kind == DUTY_CODED:
        return ("Pedal backward and the motor stops.", "after a magnet or two")
    return ("Pedal backward and the motor stops.", f"after about {_backward_deg(settings):.0f}° of the crank")


def _backward_deg(settings: Settings) -> float:
    """Return the backward angle that ends help: backward_edges, and one edge that has just passed."""
    edges_per_rev = 4 * settings.pulses_per_rev
    return 360.0 * (settings.backward_edges + 1) / edges_per_rev


def _battery(bike: Bike) -> tuple[str, str]:
    settings = bike.firmware_settings
    words = "With a low battery the help gets weaker, then ends. Ride home gently and charge the battery."
    if settings.heat_sensor_fitted:
        words = (
            "With a low battery or a hot motor the help gets weaker, then ends. Ride gently; charge the "
            "battery, or let the motor cool."
        )
    numbers = (
        f"from {settings.battery_foldback_mv / 1000:.1f} V, ends at {settings.battery_empty_mv / 1000:.1f} V"
    )
    if settings.heat_sensor_fitted:
        numbers += f"; from {settings.heat_foldback_decicelsius // 10} °C"
    return (words, numbers)


def _rest(settings: Settings) -> tuple[str, str]:
    still = "pedals and throttle" if settings.throttle_fitted else "the pedals"
    return (
        f"Switch on with {still} at rest. After a fault the motor stays off, however you pedal, until "
        "someone clears it.",
        "the lamp shows a fault",
    )
