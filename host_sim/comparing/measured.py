"""A board's log as series of ten values a second: the rider's actions and their effects."""

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
PER_SECOND = round(1.0 / GRID_S)
SECONDS_LEAST = 10.0
WHEEL_STILL_S = 3.0  # Without a pulse for this time the wheel stands, as in the firmware.
CRANK_STILL_S = 0.8
NEXT_PERIOD = 1.5  # A moving wheel gives its next pulse within this many periods. Judgement.
FASTEST_M_PER_S = 28.0  # A pulse that means a higher speed is a bounce.


@dataclass(frozen=True, slots=True)
class Measured:
    """The ride; entry i of a series is for the time from i to i + 1 times GRID_S.

    `cadence_rpm` is negative backward. `brake_pulled` is 0 or 1. `step_s` and `step_command_v` have an entry
    for every step. `spans_s`: from when to when the motor helped; `first_state`: engagement state at the
    beginning.
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
        """The length of the ride, s."""
        return len(self.speed_m_per_s) * GRID_S


def measured(section: Section, seconds: float | None = None) -> Measured:
    """Return the series of a section up to its first gap, or `seconds`; RequestError if that is too short."""
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
    """Return from when to when the motor was driven, from (time, engagement state) in order of time."""
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
    """Return the mean of each bin; a bin without a step has the mean of the one before."""
    found = np.bincount(bins, minlength=count)
    total = np.bincount(bins, weights=values, minlength=count)
    last = np.maximum.accumulate(np.where(found > 0, np.arange(count), 0))
    return np.asarray(total[last] / np.maximum(found[last], 1), dtype=np.float64)


def _edge_times(
    steps: list[RecordedStep], times_s: list[float], wheel: bool
) -> tuple[list[float], list[int]]:
    """Return the time of each edge, s of the log, and the levels after it."""
    at_s, levels = [], []
    for step, time_s in zip(steps, times_s, strict=True):
        for edge in step.edges:
            if edge.wheel == wheel:
                at_s.append(time_s - ticks_diff_us(step.now_us, edge.time_us) * 1e-6)
                levels.append(edge.levels)
    return at_s, levels


def _speed(steps: list[RecordedStep], times_s: list[float], settings: Settings, grid_s: Series) -> Series:
    """Return the speed: from pulse to pulse, linear between the middles of these periods."""
    spacing_m = settings.wheel_circumference_mm * 1e-3 / settings.wheel_pulses_per_rev
    at_s, levels = _edge_times(steps, times_s, wheel=True)
    pulses = [time_s for time_s, level in zip(at_s, levels, strict=True) if level == 1]
    kept = pulses[:1]
    for time_s in pulses:
        if time_s - kept[-1] >= spacing_m / FASTEST_M_PER_S:
            kept.append(time_s)
    return _rate(np.array(kept), spacing_m, WHEEL_STILL_S, grid_s)


def _rate(at_s: Series, way: float, still_s: float, grid_s: Series) -> Series:
    """Return `way` per second, linear between the middles of the periods, 0 at a standstill.

    It rises from 0 within one period before a movement, and falls to 0 within one period after it.
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
    # A log that begins or ends in motion has no standstill there: it would show the next pulse.
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
    """Return the cadence from the rises of one channel; negative where the sensor shows backward."""
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
    """Return for each rise the high share of the pitch before it; the first gets that of the second."""
    last_fall = falls[np.maximum(np.searchsorted(falls, rises[1:]) - 1, 0)]
    shares = (last_fall - rises[:-1]) / np.maximum(np.diff(rises), 1e-6)
    return np.concatenate((shares[:1], shares))
