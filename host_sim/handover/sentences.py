"""What the sheet says in plain words, made from a bike's settings: first the words, then the numbers."""

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

KM_PER_H_PER_MM_PER_S = 0.0036
_UNITS = (
    ("_mm_per_s", "mm/s"), ("_mv_per_s", "mV/s"), ("_uv_per_w", "µV/W"), ("_decicelsius", "tenths of °C"),
    ("_permille", "‰"), ("_percent", "%"), ("_rpm", "rpm"), ("_mm", "mm"), ("_ms", "ms"), ("_mv", "mV"),
    ("_w", "W"),
)  # fmt: skip
# The settings that a rider feels; all others are in the long table.
FELT = (
    "pulses_per_rev", "engage_edges", "engage_rpm", "release_rpm", "stop_pitch_percent", "cutoff_distance_mm",
    "assist_power_w", "throttle_unpedalled", "cutoff_speed_mm_per_s", "rise_mv_per_s",
)  # fmt: skip


def km_per_h(speed_mm_per_s: int) -> str:
    """Return a speed as people say it."""
    return f"{speed_mm_per_s * KM_PER_H_PER_MM_PER_S:.1f} km/h"


def setting_rows(settings: Settings, names: tuple[str, ...] | None = None) -> list[tuple[str, str, str]]:
    """Return name, value with unit, and sentence of settings; all of them without `names`."""
    values = settings.as_dict()
    return [
        (name, f"{values[name]} {_unit(name)}".rstrip(), sentence)
        for name, _, _, _, sentence in TABLE
        if names is None or name in names
    ]


def felt_rows(settings: Settings) -> list[tuple[str, str, str]]:
    """Return the settings that a rider feels, with speeds and ways as people say them."""
    said = {
        "cutoff_speed_mm_per_s": km_per_h(settings.cutoff_speed_mm_per_s),
        "cutoff_distance_mm": f"{settings.cutoff_distance_mm / 1000:.1f} m",
    }
    return [(name, said.get(name, value), sentence) for name, value, sentence in setting_rows(settings, FELT)]


def _unit(name: str) -> str:
    return next((unit for suffix, unit in _UNITS if name.endswith(suffix)), "")


def feelings(bike: Bike, ride: FirstRide) -> list[tuple[str, str]]:
    """Return what the rider will feel: words, and the numbers that belong to them."""
    settings = bike.firmware_settings
    told = [_starting(ride, settings), _stopping(ride), _braking(bike), _speed(settings)]
    told += [line for line in (_selector(bike), _throttle(settings)) if line is not None]
    told += [_backward(settings), _battery(bike), _rest(settings)]
    return told


def _starting(ride: FirstRide, settings: Settings) -> tuple[str, str]:
    if ride.help_after_s is None or ride.help_after_turns is None:
        return ("On the bench the motor did not join in on a plain start.", "Find out why before you ride.")
    words = "Start to pedal and the motor joins in after part of a turn of the crank, gently, then fully."
    if settings.engage_speed_mm_per_s > 0:
        words = "Start to pedal; once the bicycle rolls, the motor joins in, gently, then fully."
    numbers = f"{ride.help_after_turns:.2f} turns, {ride.help_after_s:.1f} s"
    if ride.full_after_s is not None:
        numbers += f"; full help {ride.full_after_s:.1f} s later, {ride.help_w:.0f} W"
    return (words, numbers)


def _stopping(ride: FirstRide) -> tuple[str, str]:
    words = (
        "Stop pedalling and the motor lets go at once; keep the pedals still, or turn them on, never half."
    )
    return (words, f"{ride.run_on_s:.2f} s, {ride.run_on_m:.1f} m")


def _braking(bike: Bike) -> tuple[str, str]:
    if bike.brakes.switches == "all":
        return ("Pull any brake lever, even a little, and the motor stops.", "switches on all levers, 5 ms")
    if bike.brakes.switches == "some":
        return (
            "One brake lever stops the motor, the other does not: learn which, and stop pedalling "
            "when you brake.",
            "switches on some levers only",
        )
    return ("The brake levers do not stop the motor: stop pedalling before you brake.", "no switches")


def _speed(settings: Settings) -> tuple[str, str]:
    start, end = settings.taper_start_mm_per_s, settings.cutoff_speed_mm_per_s
    return (
        "Near its top speed the help fades away; faster than that you ride on your own.",
        f"fades from {km_per_h(start)}, ends at {km_per_h(end)}",
    )


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


def _throttle(settings: Settings) -> tuple[str, str] | None:
    if settings.throttle_fitted == 0:
        return None
    watts = f"up to {settings.throttle_power_w} W"
    if settings.throttle_unpedalled == THROTTLE_FREELY:
        return ("The throttle drives without pedalling. Turn it gently.", watts)
    if settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED:
        end = km_per_h(settings.startup_speed_mm_per_s)
        return (
            "The throttle alone gives a push at walking pace; beyond that you must pedal.",
            f"ends at {end}",
        )
    return ("The throttle adds to your pedalling and does nothing alone.", watts)


def _backward(settings: Settings) -> tuple[str, str]:
    if settings.sensor_kind == ONE_CHANNEL:
        return (
            "This pedal sensor can't tell forward from backward: pedalling backward drives the bicycle too. "
            "Never turn or rock the pedals while you stand, walk or push; switch off first.",
            "one channel",
        )
    if settings.sensor_kind == DUTY_CODED:
        return ("Pedal backward and the motor stops.", "after a magnet or two")
    return ("Pedal backward and the motor stops.", f"after {settings.backward_edges} edges of the sensor")


def _battery(bike: Bike) -> tuple[str, str]:
    settings = bike.firmware_settings
    words = "With a low battery the help grows weaker, then ends. Ride home gently, and charge it."
    if settings.heat_sensor_fitted:
        words = (
            "With a low battery or a hot motor the help grows weaker, then ends. Ride gently; charge, "
            "or let it cool."
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
        "the lamp tells",
    )
