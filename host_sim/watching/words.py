"""Texts about the board that the page and the lines share."""

from firmware.settings import ONE_CHANNEL
from firmware.ticks import CONTROL_PERIOD_MS
from host_sim.boardlink.frames import Frame
from host_sim.units import KM_PER_H_PER_M_PER_S
from host_sim.watching.missed_magnets import SHORTEST_PERIODS
from host_sim.watching.watched import Watched, other_kind_of

SHORTEST_PITCH_S = SHORTEST_PERIODS * CONTROL_PERIOD_MS / 1000
STEPS_PER_S = 1000 // CONTROL_PERIOD_MS
SILENCE_S = 2.0  # There are usually twenty frames a second; 2 s without one are not normal.
HOW_TO_SEE_MORE = (
    "is this the port of a board that rides? One in maintenance, or at its prompt, sends no frames"
)


def direction(watched: Watched, frame: Frame) -> str:
    """Return which way the crank turns, as far as the sensor shows it."""
    if watched.settings.get("sensor_kind") == ONE_CHANNEL and frame.direction == "forward":
        return "turning (one channel doesn't show which way)"
    return frame.direction


def cadence(watched: Watched, frame: Frame) -> str:
    """Return where the cadence is relative to its two thresholds; empty if they are unknown."""
    engage_rpm = watched.settings.get("engage_rpm")
    release_rpm = watched.settings.get("release_rpm")
    if engage_rpm is None or release_rpm is None:
        return ""
    if frame.cadence_rpm >= engage_rpm:
        return "engage or above"
    return "between thresholds" if frame.cadence_rpm >= release_rpm else "below release"


def share(watched: Watched, frame: Frame) -> str:
    """Return the assist share, and whether a selector sets it."""
    fitted = "" if watched.settings.get("selector_positions", 1) else ", no selector"
    return f"{frame.share * 100:.0f} %{fitted}"


def link(watched: Watched, now_s: float) -> str:
    """Return the state of the connection."""
    if not watched.connected:
        return f"port lost for {now_s - watched.since_s:.0f} s, waiting for it to come back"
    if watched.other_kind is not None:
        return other_kind_of(watched.other_kind)
    heard_s = max(watched.frame_s, watched.since_s) if watched.frame is not None else watched.since_s
    if now_s - heard_s >= SILENCE_S:
        return f"no frame for {now_s - heard_s:.0f} s: {HOW_TO_SEE_MORE}"
    if watched.frame is None or watched.frame_s < watched.since_s:
        return "connected, waiting for a frame"
    return "connected" if watched.settings else "connected; settings not known yet"


def loop(watched: Watched, frame: Frame) -> str:
    """Return which form of the firmware runs, how fast, and the longest step of the last second."""
    rate = f"{1e6 / frame.period_us:.0f}" if frame.period_us else "?"
    worst_ms = max(watched.worsts_us, default=frame.worst_us) / 1000
    return (
        f"{frame.form}, {rate} of {STEPS_PER_S} steps/s, "
        f"longest {worst_ms:.1f} of {CONTROL_PERIOD_MS} ms, {frame.overruns} overruns"
    )


def settings_in_force(frame: Frame) -> str:
    """Return a warning if the board has no valid settings."""
    return "" if frame.settings_valid else "no valid settings, or a safe start: the motor stays off"


def missed(watched: Watched) -> str:
    """Return how many magnets were missed, and whether it was always the same one."""
    found = watched.missed
    if found.count == 0:
        return "none missed"
    text = f"{found.count} missed"
    if found.repeated:
        return f"{text}, {found.repeated} at the same place as a turn before: weak or missing"
    if not found.pulses_per_rev:
        return f"{text}; waiting for the settings to see whether at one place"
    return f"{text}, not at one place: a resting foot looks the same"


def judged(watched: Watched, frame: Frame) -> str:
    """Return the text of `missed`, or that pitches are now too short to detect anything."""
    too_fast = 0.0 < frame.pitch_s < SHORTEST_PITCH_S and frame.direction != "standing"
    return f"{watched.missed.count} missed; now too fast to detect" if too_fast else missed(watched)


def one_line(watched: Watched, frame: Frame) -> str:
    """Return the present state in one line of text."""
    where = cadence(watched, frame)
    parts = [
        f"{direction(watched, frame)} {frame.cadence_rpm} rpm" + (f" ({where})" if where else ""),
        frame.state + (", brake pulled" if frame.brake_pulled else ""),
        f"{frame.power_w} W of {frame.wanted_w} requested, {frame.ceiling_w} allowed",
        f"command {frame.command_v:.2f} V",
        f"share {share(watched, frame)}",
        f"{frame.speed_m_per_s * KM_PER_H_PER_M_PER_S:.1f} km/h",
        f"fault {frame.fault}",
        f"noise {frame.rejected}",
        f"loop {loop(watched, frame)}",
    ]
    return "; ".join(parts)
