"""The three figures of the sheet: a start and a stop, the help over speed, and the pedal sensor."""

from math import cos, pi, sin

from firmware.decide.ceilings import Ceilings
from firmware.decide.engagement import ASSISTING, THROTTLING
from firmware.settings import (
    SELECTOR_ABSENT,
    THROTTLE_BELOW_STARTUP_SPEED,
    THROTTLE_FREELY,
    TWO_CHANNELS,
    Settings,
)
from host_sim.bikes.model import Bike
from host_sim.handover.first_ride import END_S, START_S, STOP_S, FirstRide
from host_sim.report.svg import BLUE, GREEN, GRID, INK, ORANGE, PAPER, QUIET, RED, Drawing, Panel, ticks
from host_sim.units import MM_PER_S_PER_KM_PER_H

_COOL_DECICELSIUS = 200


def start_and_stop(ride: FirstRide) -> str:
    """Return the first ride on the bench as a chart: pedals and help over time."""
    samples = ride.samples
    most_w = max(100.0, *samples.power_w) * 1.6
    drawing = Drawing(
        430, 220, "The motor's help over time: it begins after the pedals start and ends when they stop."
    )
    panel = Panel(drawing, (46, 30, 372, 140), (0.0, END_S), (0.0, most_w))
    panel.span(START_S, STOP_S, BLUE, 0.1)
    panel.axes(range(0, 16, 3), ticks(0, most_w, 4), "seconds", "help of the motor, W")
    panel.area(list(zip(samples.time_s, samples.power_w, strict=True)), "#bfe0d4")
    panel.plot(list(zip(samples.time_s, samples.power_w, strict=True)), GREEN)
    panel.mark(START_S, "pedals start", BLUE, to_the_left=False)
    panel.mark(STOP_S, "pedals stop", BLUE, to_the_left=True)
    if ride.help_after_s is not None:
        panel.mark(START_S + ride.help_after_s, f"felt {ride.help_after_s:.1f} s later", GREEN, row=1)
        panel.mark(STOP_S, f"no help {ride.run_on_s:.2f} s later", GREEN, to_the_left=True, row=2)
    return drawing.text()


def help_over_speed(bike: Bike) -> str:
    """Return what the firmware's ceilings allow at each speed, for pedals and for the throttle alone."""
    settings = bike.firmware_settings
    top_km_per_h = settings.cutoff_speed_mm_per_s / MM_PER_S_PER_KM_PER_H * 1.2
    watts = max(settings.assist_power_w, settings.throttle_power_w)
    alone = " and with the throttle alone" if settings.throttle_fitted else ""
    drawing = Drawing(430, 220, f"The most help at each speed, with pedals{alone}.")
    panel = Panel(drawing, (48, 30, 366, 140), (0.0, top_km_per_h), (0.0, watts * 1.2))
    panel.axes(ticks(0, top_km_per_h, 5), ticks(0, watts * 1.2, 4), "km/h", "most help, W")
    speeds = [at * top_km_per_h / 150 for at in range(151)]
    pedalled = [(speed, _allowed_w(settings, ASSISTING, speed, settings.assist_power_w)) for speed in speeds]
    panel.area(pedalled, "#bfe0d4")
    panel.plot(pedalled, GREEN, 2.4)
    panel.mark(settings.cutoff_speed_mm_per_s / MM_PER_S_PER_KM_PER_H, "end of help", RED, to_the_left=True)
    drawing.words(panel.left + 130, panel.y_at(settings.assist_power_w) + 18, "with pedals", GREEN, bold=True)
    freely = settings.throttle_unpedalled == THROTTLE_FREELY
    if settings.throttle_fitted and (freely or settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED):
        throttled = [
            (speed, _allowed_w(settings, THROTTLING, speed, settings.throttle_power_w)) for speed in speeds
        ]
        panel.plot(throttled, ORANGE, 2.0, "7 4")
        left = panel.left + 130 if freely else panel.x_at(settings.startup_speed_mm_per_s / 277.8) + 6
        drawing.words(left, panel.top + panel.height - 12, "throttle alone", ORANGE, bold=True)
    return drawing.text()


def _allowed_w(settings: Settings, state: int, speed_km_per_h: float, wanted_w: int) -> float:
    """Return what the firmware allows with a full battery and a cool motor."""
    ceilings = Ceilings(settings)
    speed_mm_per_s = round(speed_km_per_h * MM_PER_S_PER_KM_PER_H)
    battery_mv = settings.battery_highest_mv - 1
    return float(min(wanted_w, ceilings.step(state, speed_mm_per_s, battery_mv, _COOL_DECICELSIUS)))


def sensor_and_wires(bike: Bike) -> str:
    """Return the magnet ring as seen from its side of the bicycle, and the wires to the controller."""
    sensor = bike.pedal_sensor
    drawing = Drawing(
        360, 220, f"Ring of {sensor.pulses_per_rev} magnets on the {sensor.side} crank, and the wires."
    )
    x, y, radius = 92.0, 104.0, 62.0
    drawing.circle(x, y, radius + 13, PAPER, GRID, 1.5)
    drawing.circle(x, y, 12, GRID)
    turn = 1.0 if sensor.side == "right" else -1.0  # Forward is clockwise from the right, else the other way.
    drawing.line([(x, y), (x - 10 * turn, y + 46)], QUIET, 5)
    for magnet in range(sensor.pulses_per_rev):
        angle = 2.0 * pi * (magnet + 0.5) / sensor.pulses_per_rev
        drawing.circle(
            x + radius * cos(angle), y + radius * sin(angle), 4.5 if sensor.pulses_per_rev < 20 else 3, INK
        )
    arrow = [
        (x + (radius - 12) * sin(at / 10 * turn), y - (radius - 12) * cos(at / 10)) for at in range(-8, 9)
    ]
    tip = arrow[-1]
    drawing.line(arrow, GREEN, 2.5)
    drawing.line([(tip[0] - 10 * turn, tip[1] + 1), tip, (tip[0] - 1 * turn, tip[1] - 11)], GREEN, 2.5)
    drawing.words(x, y - 24, "forward", GREEN, 12, "middle")
    drawing.box(x + radius - 2, y - 12, 30, 24, PAPER, 1.0, BLUE)
    channels = "A B" if sensor.kind == "two channels" else "A"
    drawing.words(x + radius + 13, y + 4, channels, BLUE, 12, "middle", bold=True)
    drawing.words(x, 206, f"seen from the {sensor.side}", QUIET, 12, "middle")
    for row, name in enumerate(_wires(bike)):
        top = 24.0 + row * 24.0
        drawing.line([(222, top), (246, top)], BLUE, 2)
        drawing.words(252, top + 4, name, INK, 12)
    drawing.line([(222, 24), (222, 24 + 24 * (len(_wires(bike)) - 1))], BLUE, 2)
    drawing.line([(x + radius + 28, y), (222, y)], BLUE, 2)
    return drawing.text()


def _wires(bike: Bike) -> list[str]:
    """Return what is connected to the controller."""
    settings = bike.firmware_settings
    wires = ["sensor A, B" if settings.sensor_kind == TWO_CHANNELS else "sensor A", "wheel sensor"]
    if bike.brakes.switches != "none":
        wires.append("brake switches")
    if settings.throttle_fitted:
        wires.append("throttle")
    if settings.selector_positions != SELECTOR_ABSENT:
        wires.append("selector")
    wires.append("battery, current" if settings.shunt_fitted else "battery")
    if settings.heat_sensor_fitted:
        wires.append("motor heat")
    wires.append("motor controller")
    return wires
