"""A board's log as series, ten values a second: the rider's actions and their effects."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware.decide.engagement import ASSISTING, THROTTLING
from firmware.settings import B_LEADS, ONE_CHANNEL, TWO_CHANNELS, Settings
from firmware.ticks import ticks_diff_us
from host_sim.boardlink.recorded import Loss, RecordedStep
from host_sim.errors import RequestError
from host_sim.replay.log_file import Section

Series = NDArray[np.float64]

GRID_S = 0.1
SECONDS_LEAST = 10.0
WHEEL_STILL_S = 3.0  # After this time without a pulse the wheel stands, as in the firmware.
CRANK_STILL_S = 0.8
NEXT_PERIOD = 1.5  # The next pulse of a moving wheel comes at latest after this many periods. Judgement.
FASTEST_M_PER_S = 28.0  # A pulse that gives a higher speed is a bounce.


@dataclass(frozen=True, slots=True)
class Measured:
    """The ride; entry i of each series is the mean over, or holds at, GRID_S times i.

    `cadence_rpm` is below 0 backward; `step_s` and `step_command_v` have every step. `spans_s` says from when
    to when the motor helped, `first_state` is the engagement state in which the log begins.
    """

    speed_m_per_s: Series
    cadence_rpm: Series
    battery_v: Series
    battery_w: Series
    command_v: Series
    throttle_v: Series
    selector_v: Series
    brake_pulled: Series
    step_s: Series
    step_command_v: Series
    spans_s: list[tuple[float, float]]
    first_state: int
    settings: Settings

    @property
    def seconds(self) -> float:
        """How long it is."""
        return len(self.speed_m_per_s) * GRID_S


def measured(section: Section, seconds: float | None = None) -> Measured:
    """Return the series of a section, up to its first gap; RequestError if that is too short."""
    settings = Settings(section.settings)
    steps, times_s = _steps(section, seconds)
    if not steps or times_s[-1] < SECONDS_LEAST:
        told = times_s[-1] if steps else 0.0
        raise RequestError(
            f"the log has {told:.1f} s without a gap, allowed is {SECONDS_LEAST:g} s or more to compare"
        )
    bins = (np.array(times_s) / GRID_S).astype(np.intp)
    count = int(bins[-1]) + 1
    grid_s: Series = (np.arange(count, dtype=np.float64) + 0.5) * GRID_S

    def mean(values: list[float]) -> Series:
        return _mean_by_bin(np.array(values, dtype=float), bins, count)

    battery_v = mean([step.battery_mv * 1e-3 for step in steps])
    return Measured(
        speed_m_per_s=_speed(steps, times_s, settings, grid_s),
        cadence_rpm=_cadence(steps, times_s, settings, grid_s),
        battery_v=battery_v,
        battery_w=mean([step.battery_mv * step.current_ma * 1e-6 for step in steps]),
        command_v=mean([step.command_mv * 1e-3 for step in steps]),
        throttle_v=mean([step.throttle_mv * 1e-3 for step in steps]),
        selector_v=mean([step.selector_mv * 1e-3 for step in steps]),
        brake_pulled=np.ceil(mean([float(step.brake_pulled) for step in steps])),
        step_s=np.array(times_s),
        step_command_v=np.array([step.command_mv * 1e-3 for step in steps]),
        spans_s=helped_spans([(time_s, step.state) for time_s, step in zip(times_s, steps, strict=True)]),
        first_state=steps[0].state,
        settings=settings,
    )


def helped_spans(states: list[tuple[float, int]]) -> list[tuple[float, float]]:
    """Return from when to when the state was one that drives, from times and states in order."""
    spans: list[tuple[float, float]] = []
    since_s: float | None = None
    for time_s, state in states:
        drives = state in (ASSISTING, THROTTLING)
        if drives and since_s is None:
            since_s = time_s
        elif not drives and since_s is not None:
            spans.append((since_s, time_s))
            since_s = None
    if since_s is not None:
        spans.append((since_s, states[-1][0]))
    return spans


def _steps(section: Section, seconds: float | None) -> tuple[list[RecordedStep], list[float]]:
    steps: list[RecordedStep] = []
    times_s: list[float] = []
    for item in section.steps():
        if isinstance(item, Loss):
            break
        elapsed_us = ticks_diff_us(item.now_us, steps[-1].now_us) if steps else 0
        time_s = (times_s[-1] if times_s else 0.0) + max(elapsed_us, 0) * 1e-6
        if seconds is not None and time_s > seconds:
            break
        steps.append(item)
        times_s.append(time_s)
    return steps, times_s


def _mean_by_bin(values: Series, bins: NDArray[np.intp], count: int) -> Series:
    """Return the mean of each bin; one without a step has that of the bin before."""
    found = np.bincount(bins, minlength=count)
    total = np.bincount(bins, weights=values, minlength=count)
    last = np.maximum.accumulate(np.where(found > 0, np.arange(count), 0))
    return np.asarray(total[last] / np.maximum(found[last], 1), dtype=np.float64)


def _edge_times(
    steps: list[RecordedStep], times_s: list[float], wheel: bool
) -> tuple[list[float], list[int]]:
    """Return when each edge came, on the log's time, and the levels after it."""
    at_s, levels = [], []
    for step, time_s in zip(steps, times_s, strict=True):
        for edge in step.edges:
            if edge.wheel == wheel:
                at_s.append(time_s - ticks_diff_us(step.now_us, edge.time_us) * 1e-6)
                levels.append(edge.levels)
    return at_s, levels


def _speed(steps: list[RecordedStep], times_s: list[float], settings: Settings, grid_s: Series) -> Series:
    """Return the speed: the way from pulse to pulse, straight lines between their middles."""
    spacing_m = settings.wheel_circumference_mm * 1e-3 / settings.wheel_pulses_per_rev
    at_s, levels = _edge_times(steps, times_s, wheel=True)
    pulses = [time_s for time_s, level in zip(at_s, levels, strict=True) if level == 1]
    kept = pulses[:1]
    for time_s in pulses:
        if time_s - kept[-1] >= spacing_m / FASTEST_M_PER_S:
            kept.append(time_s)
    return _rate(np.array(kept), spacing_m, WHEEL_STILL_S, grid_s)


def _rate(at_s: Series, way: float, still_s: float, grid_s: Series) -> Series:
    """Return ways per second: straight lines between the middles of the periods, 0 where none is near.

    Before its first period and after its last it comes from 0 and goes to 0 within as long again.
    """
    if len(at_s) < 2:
        return np.zeros(len(grid_s))
    periods = np.diff(at_s)
    turning = np.concatenate(([False], periods < still_s, [False]))
    starts = np.flatnonzero(turning[1:] & ~turning[:-1])
    ends = np.flatnonzero(turning[:-1] & ~turning[1:])
    moving = turning[1:-1]
    places = [(at_s[:-1] + 0.5 * periods)[moving]]
    rates = [way / np.maximum(periods[moving], 1e-6)]
    # A log that begins or ends in motion has no rest there: its next pulse comes within a period.
    for start in starts[at_s[starts] - grid_s[0] > NEXT_PERIOD * periods[starts]]:
        places.append(at_s[start : start + 1] - periods[start])
        rates.append(np.zeros(1))
    for end in ends[grid_s[-1] - at_s[ends] > NEXT_PERIOD * periods[ends - 1]]:
        places.append(at_s[end : end + 1] + periods[end - 1])
        rates.append(np.zeros(1))
    if not moving.any():
        return np.zeros(len(grid_s))
    place, rate = np.concatenate(places), np.concatenate(rates)
    order = np.argsort(place, kind="stable")
    return np.asarray(np.interp(grid_s, place[order], rate[order]), dtype=np.float64)


def _cadence(steps: list[RecordedStep], times_s: list[float], settings: Settings, grid_s: Series) -> Series:
    """Return the cadence from the rises of one channel; below 0 where the channels tell backward."""
    at_s, levels = _edge_times(steps, times_s, wheel=False)
    if len(at_s) < 2:
        return np.zeros(len(grid_s))
    channel = 2 if settings.sensor_kind != TWO_CHANNELS and settings.lead == B_LEADS else 1
    high = np.array(levels) & channel > 0
    rises = np.array(at_s)[1:][high[1:] & ~high[:-1]]
    turns = _rate(rises, 1.0 / settings.pulses_per_rev, CRANK_STILL_S, grid_s)
    if settings.sensor_kind == ONE_CHANNEL or len(rises) < 2:
        return turns * 60.0
    if settings.sensor_kind == TWO_CHANNELS:
        other = (np.array(levels) & 2 > 0)[1:][high[1:] & ~high[:-1]]
        forward_low = settings.lead != B_LEADS  # A leads: B is still low when A rises.
        backward = other if forward_low else ~other
    else:
        falls = np.array(at_s)[1:][~high[1:] & high[:-1]]
        mostly_high = _high_shares(rises, falls) > 0.5
        backward = mostly_high != (settings.forward_duty_high == 1)
    nearest = np.clip(np.searchsorted(rises, grid_s), 0, len(rises) - 1)
    return np.where(backward[nearest], -turns, turns) * 60.0


def _high_shares(rises: Series, falls: Series) -> Series:
    """Return for each rise the high share of the pitch that it ends; the first has that of the second."""
    last_fall = falls[np.maximum(np.searchsorted(falls, rises[1:]) - 1, 0)]
    shares = (last_fall - rises[:-1]) / np.maximum(np.diff(rises), 1e-6)
    return np.concatenate((shares[:1], shares))
