"""Lesson 5's figure: requested, allowed and delivered power over speed."""

from host_sim.lab.levers import OVER_LIMIT_MOST, TOP_KM_PER_H, Levered
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import GREEN, ORANGE, PURPLE, RED, Drawing, Panel
from host_sim.units import KM_PER_H_PER_MM_PER_S

_MOST_W = 600.0
_EVERY = 2  # Of the samples: a point every 20 ms, about one a pixel.


def draw_levers(tried: Levered) -> str:
    """Return the numbers and the chart as HTML."""
    ends = "no help" if tried.ends_km_per_h is None else f"help up to {tried.ends_km_per_h:.1f} km/h"
    told = f"In {tried.bike.place_profile.title}: {ends}, at most {tried.most_w:.0f} watts."
    drawing = Drawing(680, 280, told)
    settings = tried.bike.firmware_settings
    panel = Panel(drawing, (40, 30, 630, 200), (0.0, TOP_KM_PER_H), (0.0, _MOST_W))
    panel.axes(range(0, 37, 5), range(0, 601, 100), "speed, km/h")
    speed_km_per_h = tried.speed_km_per_h[::_EVERY]
    given = list(zip(speed_km_per_h, tried.power_w[::_EVERY], strict=True))
    panel.area(given, "#bfe0d4")
    panel.plot(given, GREEN, 3)
    panel.plot(list(zip(speed_km_per_h, tried.wanted_w[::_EVERY], strict=True)), PURPLE, 3.5, "2 5")
    panel.plot(list(zip(speed_km_per_h, tried.allowed_w[::_EVERY], strict=True)), ORANGE, 2.2, "8 4")
    panel.mark(
        settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S, "cut-off speed", RED, to_the_left=False
    )
    if settings.startup_speed_mm_per_s and settings.throttle_unpedalled == 1:
        startup = settings.startup_speed_mm_per_s * KM_PER_H_PER_MM_PER_S
        panel.mark(startup, "start-up speed: end for a throttle alone", RED)
    drawing.words(6, 18, "given, W", GREEN, 13, bold=True)
    drawing.words(80, 18, "requested (dotted)", PURPLE, 13, bold=True)
    drawing.words(226, 18, "allowed (dashed)", ORANGE, 13, bold=True)
    return strip(_numbers(tried)) + drawing.text()


def _numbers(tried: Levered) -> list[Number]:
    ends = "no help" if tried.ends_km_per_h is None else f"{tried.ends_km_per_h:.1f} km/h"
    settings = tried.bike.firmware_settings
    set_to = settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S
    alone = ("never", "only to start", "at any speed")
    return [
        (
            "highest power, mean of 1 s",
            f"{tried.most_w:.0f} W",
            f"limit here: {settings.power_limit_w} W plus 5 %",
            tried.most_w <= settings.power_limit_w * (1.0 + OVER_LIMIT_MOST),
        ),
        ("help up to", ends, f"set to end at {set_to:.1f} km/h{_spread(tried)}", None),
        ("a throttle alone may drive", alone[settings.throttle_unpedalled], "check your local code", None),
    ]


def _spread(tried: Levered) -> str:
    """Return between which speeds help ended, with the wheel's magnet at several places."""
    found = tried.ends_found_km_per_h
    if len(found) < 2:
        return ""
    return f"; {len(found)} places of the wheel's magnet: {min(found):.1f} to {max(found):.1f}"
