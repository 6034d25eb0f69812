"""The page of `treadle step`: power and command, measured and simulated, in the same charts."""

from html import escape

from host_sim.lab.bench_bridge import Bridged, Curve
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import BLUE, GREEN, INK, ORANGE, QUIET, Drawing, Panel, ticks

_TIMES = (-2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0)
_SHOWN_S = (-1.0, 5.0)
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_STYLE = (
    "body{font:16px/1.4 system-ui,sans-serif;color:#1d2733;background:#fff;margin:0 auto;padding:1rem;"
    "max-width:66rem}h1{font-size:1.5em;margin:0 0 .2em}.lab-strip{display:flex;flex-wrap:wrap;gap:.6em 2em}"
    ".lab-strip dd{margin:0;font-size:1.3em}.lab-strip dd.lab-wish{font-size:.9em;color:#4a535e}"
)


def draw_bridge(bridged: Bridged) -> str:
    """Return the numbers and the charts as HTML."""
    measured, simulated = bridged.measured, bridged.simulated
    told = (
        f"Power rises to {measured.last_w:.0f} watts on the board, to {simulated.last_w:.0f} on the bench; "
        f"the curves are at most {bridged.largest_w:.0f} watts apart."
    )
    drawing = Drawing(1000, 430, told)
    most_w = 1.25 * max(*measured.power_w, *simulated.power_w, *measured.setpoint_w, 40.0)
    power = Panel(drawing, (50, 34, 930, 170), _SHOWN_S, (0.0, most_w))
    power.axes([], ticks(0, most_w, 5))
    power.plot(_shown(measured, measured.setpoint_w), ORANGE, 2.0, "7 4")
    power.plot(_shown(simulated, simulated.power_w), BLUE, 2.5)
    _dots(drawing, power, _shown(measured, measured.power_w))
    power.mark(0.0, "the command rises", QUIET, to_the_left=True)
    drawing.words(8, 20, "power, W:", INK, 14, bold=True)
    drawing.circle(96, 15, 4, GREEN)
    drawing.words(106, 20, "measured, one dot a frame", GREEN, 14, bold=True)
    drawing.words(320, 20, "simulated (line)", BLUE, 14, bold=True)
    drawing.words(460, 20, "setpoint (dashed)", ORANGE, 14, bold=True)
    most_v = 1.25 * max(*measured.command_v, *simulated.command_v, 1.0)
    command = Panel(drawing, (50, 246, 930, 140), _SHOWN_S, (0.0, most_v))
    command.axes(_TIMES[1:], ticks(0, most_v, 4), "seconds")
    command.plot(_shown(simulated, simulated.command_v), BLUE, 2.5)
    _dots(drawing, command, _shown(measured, measured.command_v))
    drawing.words(8, 232, "command, V", INK, 14, bold=True)
    return strip(_numbers(bridged)) + drawing.text()


def bridge_page(title: str, bridged: Bridged, words: str) -> str:
    """Return a page that loads nothing."""
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body><main><h1>{escape(title)}</h1>"
        f'<p>{escape(words)}</p><figure style="margin:0">{draw_bridge(bridged)}</figure></main></body>'
        "</html>\n"
    )


def _shown(curve: Curve, values: tuple[float, ...]) -> list[tuple[float, float]]:
    early, late = _SHOWN_S
    return [(at, v) for at, v in zip(curve.time_s, values, strict=True) if early <= at <= late]


def _dots(drawing: Drawing, panel: Panel, points: list[tuple[float, float]]) -> None:
    for at, value in points:
        drawing.circle(panel.x_at(at), panel.y_at(value), 3.2, GREEN)


def _numbers(bridged: Bridged) -> list[Number]:
    measured, simulated = bridged.measured, bridged.simulated
    return [
        ("rise time, board", _seconds(measured.rise_s), f"bench: {_seconds(simulated.rise_s)}", None),
        ("overshoot, board", f"{measured.overshoot_percent:.0f} %",
         f"bench: {simulated.overshoot_percent:.0f} %", None),
        ("power at the end, board", f"{measured.last_w:.0f} W", f"bench: {simulated.last_w:.0f} W", None),
        ("command at the end, board", f"{measured.last_v:.2f} V", f"bench: {simulated.last_v:.2f} V", None),
        ("largest gap in power", f"{bridged.largest_w:.0f} W",
         f"PI: gain {bridged.gain_uv_per_w} µV/W, integral time {bridged.integral_ms} ms, rise "
         f"{bridged.rise_mv_per_s} mV/s", None),
    ]  # fmt: skip


def _seconds(value: float | None) -> str:
    return "never" if value is None else f"{value:.2f} s"
