"""The page: 24 fixed rows, and more history on a higher terminal.

Colours (Okabe and Ito's, which the colour-blind can distinguish) only repeat what the words say.
"""

import textwrap
from dataclasses import dataclass

from rich.text import Text

from firmware.settings import TWO_CHANNELS
from firmware.ticks import CONTROL_PERIOD_MS
from host_sim.boardlink.frames import Frame
from host_sim.units import KM_PER_H_PER_M_PER_S
from host_sim.watching import words
from host_sim.watching.drawing import Characters, bar_rows, column_rows, trace_rows
from host_sim.watching.watched import Watched, printable

ROWS = 24
SMALLEST_WIDTH = 60
LABEL_WIDTH = 12
VALUE_WIDTH = 9
CADENCE_TOP_RPM = 120
HISTORY_LEAST, HISTORY_MOST = 3, 8
A_STYLE, B_STYLE = "#56B4E9", "#E69F00"
BAR_STYLE, ALARM_STYLE = "#009E73", "bold #D55E00"
PRESENT = ("direction", "cadence", "", "power", "", "command", "supply", "state", "fault")
COUNTS = ("magnets", "sensor", "loop")
_UNFIT = "not fitted: the pedal sensor has one channel"


@dataclass(slots=True)
class Controls:
    """The state that keys change: samples per column, and the held levels (None if not held).

    `held_seen`: how many samples had arrived by then; `keys`: whether there are keys; `file`: the record's
    name, or empty.
    """

    per_column: int = 2
    held: tuple[int | None, ...] | None = None
    held_seen: int = 0
    keys: bool = True
    file: str = ""


def page(
    watched: Watched, now_s: float, width: int, height: int, controls: Controls, kit: Characters
) -> list[Text]:
    """Return the rows of the page, `height` of them, none wider than `width`."""
    if width < SMALLEST_WIDTH or height < ROWS:
        rows = [
            Text(f"the page needs {SMALLEST_WIDTH} columns and {ROWS} rows, not {width} and {height}"),
            Text(words.link(watched, now_s)),
        ]
    else:
        rows = _rows(watched, now_s, width, height, controls, kit)
    rows = (rows + [Text("")] * height)[:height]
    for row in rows:
        row.no_wrap = True
        row.truncate(width, overflow="crop")
    return rows


def _rows(
    watched: Watched, now_s: float, width: int, height: int, controls: Controls, kit: Characters
) -> list[Text]:
    frame = watched.frame
    rows = _head(watched, now_s, width)
    rows += _traces(watched, width, controls, kit)
    rows += [Text("")]
    rows += _present(watched, frame, width, kit) if frame is not None else _still_unknown(PRESENT)
    rows += _counts(watched, frame, controls)
    rows += _history(watched, width, height - ROWS, kit)
    last = watched.happenings[-1] if watched.happenings else None
    rows.append(Text(f"{last.at_s:.1f} s  {last.text}" if last else "", style="bold"))
    rows.append(_keys(controls))
    return rows


def _still_unknown(labels: tuple[str, ...]) -> list[Text]:
    """Return the rows before the first frame."""
    return [_labelled(label, "") for label in labels]


def _head(watched: Watched, now_s: float, width: int) -> list[Text]:
    clock = f"{int(now_s) // 3600:02d}:{int(now_s) // 60 % 60:02d}:{int(now_s) % 60:02d}"
    name = f"treadle watch  {watched.board or 'board'} at {printable(watched.port)}"
    title = name[: width - len(clock) - 2].ljust(width - len(clock)) + clock
    link = words.link(watched, now_s)
    style = "" if link.startswith("connected") else ALARM_STYLE
    lines = [*textwrap.wrap(link, width)[:2], ""][:2]
    return [Text(title, style="reverse"), *(Text(line, style=style) for line in lines)]


def _traces(watched: Watched, width: int, controls: Controls, kit: Characters) -> list[Text]:
    levels, seen = list(watched.levels), watched.levels_seen
    if controls.held is not None:
        levels, seen = list(controls.held), controls.held_seen
    columns = width - LABEL_WIDTH
    # Columns begin at fixed samples, so that a sample stays in its column.
    whole = len(levels) - seen % controls.per_column
    recent = levels[max(whole - columns * controls.per_column, 0) : max(whole, 0)]
    rows: list[Text] = []
    one_channel = watched.settings.get("sensor_kind", TWO_CHANNELS) != TWO_CHANNELS
    for name, bit, style in (("channel A", 0, A_STYLE), ("channel B", 1, B_STYLE)):
        if bit and one_channel:
            rows += [Text(f"{name:<{LABEL_WIDTH}}{_UNFIT}", style=style), Text("")]
            continue
        channel = [None if one is None else one >> bit & 1 for one in recent]
        upper, lower = trace_rows(channel, columns, controls.per_column, kit)
        rows.append(Text(f"{name:<{LABEL_WIDTH}}{upper}", style=style))
        rows.append(Text(" " * LABEL_WIDTH + lower, style=style))
    column_ms = controls.per_column * CONTROL_PERIOD_MS
    what = "held; recording continues" if controls.held is not None else "now at the right edge"
    scale = f"{column_ms} ms a column, {columns * column_ms / 1000:.1f} s in all, {what}"
    return [*rows, Text(" " * LABEL_WIDTH + scale, style="dim")]


def _present(watched: Watched, frame: Frame, width: int, kit: Characters) -> list[Text]:
    bar_width = width - LABEL_WIDTH - VALUE_WIDTH
    settings = watched.settings
    brake = "brake pulled" if frame.brake_pulled else "brake free"
    rest = "rest seen" if frame.throttle_rest_seen else "rest not seen"
    throttle = (
        f"throttle {frame.throttle_v:.2f} V, {rest}" if settings.get("throttle_fitted", 1) else "no throttle"
    )
    warning = words.settings_in_force(frame)
    fault = frame.fault if frame.fault != "none" or not warning else f"none, but {warning}"
    return [
        _labelled("direction", words.direction(watched, frame)),
        *_cadence(watched, frame, bar_width, kit),
        *_power(watched, frame, bar_width, kit),
        _labelled(
            "command",
            f"{frame.command_v:.2f} V, drive {'on' if frame.drive_enabled else 'off'}; "
            f"assist share {words.share(watched, frame)}; "
            f"{frame.speed_m_per_s * KM_PER_H_PER_M_PER_S:.1f} km/h",
        ),
        _labelled(
            "supply",
            f"battery {frame.battery_v:.1f} V, {frame.current_a:.1f} A; {brake}; {throttle}",
        ),
        _labelled("state", frame.state, ALARM_STYLE if frame.state == "faulted" else "bold"),
        _labelled("fault", fault, "" if fault == "none" else ALARM_STYLE),
    ]


def _cadence(watched: Watched, frame: Frame, bar_width: int, kit: Characters) -> list[Text]:
    settings = watched.settings
    marks, said = [], words.cadence(watched, frame)
    text = "thresholds come with the settings" if watched.connected else ""
    if said:
        marks = [settings["release_rpm"], settings["engage_rpm"]]
        text = f"release {marks[0]}, engage {marks[1]}: {said}"
    bar, below = bar_rows(frame.cadence_rpm, CADENCE_TOP_RPM, marks, text, bar_width, kit)
    return [_bar("cadence", f"{frame.cadence_rpm} rpm", bar), Text(" " * (LABEL_WIDTH + VALUE_WIDTH) + below)]


def _power(watched: Watched, frame: Frame, bar_width: int, kit: Characters) -> list[Text]:
    top_w = power_top_w(watched)
    text = f"delivered; requested {frame.wanted_w}, allowed {frame.ceiling_w}"
    bar, below = bar_rows(frame.power_w, top_w, (frame.wanted_w, frame.ceiling_w), text, bar_width, kit)
    return [_bar("power", f"{frame.power_w} W", bar), Text(" " * (LABEL_WIDTH + VALUE_WIDTH) + below)]


def power_top_w(watched: Watched) -> int:
    """Return the end of the scale for power: a quarter above the limit, so that a surge is visible."""
    return max(watched.settings.get("power_limit_w", 400), 40) * 5 // 4


def _counts(watched: Watched, frame: Frame | None, controls: Controls) -> list[Text]:
    lost = f"{watched.lost.count} lost, {watched.damaged} damaged"
    record = f"; recorded in {controls.file}" if controls.file else "; not recorded"
    away = f"; port lost: {watched.connections - 1}" if watched.connections > 1 else ""
    if frame is None:
        return [*_still_unknown(COUNTS), _labelled("frames", f"{watched.frames}, {lost}{away}{record}")]
    edges = f"{frame.edges} edges, {frame.rejected} rejected as noise, {frame.edges_lost} lost"
    return [
        _labelled("magnets", words.judged(watched, frame), ALARM_STYLE if watched.missed.count else ""),
        _labelled("sensor", edges),
        _labelled("loop", words.loop(watched, frame)),
        _labelled("frames", f"{watched.frames}, {lost}{away}{record}"),
    ]


def _history(watched: Watched, width: int, room: int, kit: Characters) -> list[Text]:
    """Return `room` rows with the last minutes of cadence and power, if they fit."""
    if room < 2 * HISTORY_LEAST + 3:
        return [Text("")] * room
    rows_each = min((room - 3) // 2, HISTORY_MOST)
    columns = width - LABEL_WIDTH - VALUE_WIDTH
    scale = " " * (LABEL_WIDTH + VALUE_WIDTH) + "one second a column, now at the right edge"
    rows = [Text("")]
    for name, top, unit, values, style in (
        ("cadence", CADENCE_TOP_RPM, "rpm", watched.cadences_rpm, A_STYLE),
        ("power", power_top_w(watched), "W", watched.powers_w, BAR_STYLE),
    ):
        drawn = column_rows(list(values), top, columns, rows_each, kit)
        labels = [f"{top} {unit}", *[""] * (rows_each - 2), f"0 {unit}"]
        for at, (label, line) in enumerate(zip(labels, drawn, strict=True)):
            text = Text(f"{name if at == 0 else '':<{LABEL_WIDTH}}{label:<{VALUE_WIDTH}}")
            rows.append(text.append(line, style=style))
        rows.append(Text(""))
    rows[-1] = Text(scale, style="dim")
    return (rows + [Text("")] * room)[:room]


def _labelled(label: str, value: str, style: str = "") -> Text:
    return Text(f"{label:<{LABEL_WIDTH}}").append(value, style=style)


def _bar(label: str, value: str, bar: str) -> Text:
    return _labelled(label, f"{value:<{VALUE_WIDTH}}", "bold").append(bar, style=BAR_STYLE)


def _keys(controls: Controls) -> Text:
    if not controls.keys:
        return Text("Ctrl-C ends", style="dim")
    hold = "releases the traces" if controls.held is not None else "holds the traces"
    return Text(f"q ends   + and - change the time a column   space {hold}", style="dim")
