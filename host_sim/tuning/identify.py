"""Identifies the plant of the power loop by steps of the command on the bench.

It uses the firmware's own readings, so shunt, converter and smoothing are included; the step response is the
mean of several steps up and down. For the tuning rules a first-order lag with dead time is fitted to it, or
an integrating process with dead time where the response has not flattened by the end of the window. For the
margins that would be too coarse: for them two lags with dead time are fitted (power stage, smoothing of the
current), and sampled as the firmware samples. The raw response has the shunt's noise in it up to the surge
frequency.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.bikes.model import Bike
from host_sim.tuning.open_loop import OpenLoop
from host_sim.tuning.operating import OperatingPoint, operating_points

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

WINDOW_PERIODS = 100  # 0.5 s, many lags of any power stage that a bike file allows.
STEPS = 8  # So many up and so many down: the noise of the mean falls with the square root.
STEP_SHARE = 0.12  # Of the assist power: large against the noise, small against the curve.
# With a lag of more windows than this only the slope is visible: integrating.
INTEGRATING_WINDOWS = 2.0


@dataclass(frozen=True, slots=True)
class ProcessModel:
    """k e^(-theta s) / (lag s + 1), or slope e^(-theta s) / s when `integrating`.

    `gain` in output units per input unit, with `integrating` per input unit and second; `lag_s` is then inf.
    """

    gain: float
    lag_s: float
    dead_time_s: float
    integrating: bool = False

    def step_response(self, times_s: Floats) -> Floats:
        """Return the answer to a unit step at time 0."""
        since_s = np.maximum(times_s - self.dead_time_s, 0.0)
        if self.integrating:
            return self.gain * since_s
        return self.gain * (1.0 - np.exp(-since_s / self.lag_s))

    def response_at(self, rad_per_s: Floats) -> Complexes:
        """Return the frequency response with exact dead time, no Padé approximation."""
        s = 1j * rad_per_s
        lag = s if self.integrating else 1.0 + self.lag_s * s
        answer: Complexes = self.gain * np.exp(-s * self.dead_time_s) / lag
        return answer


@dataclass(frozen=True, slots=True)
class TwoLags:
    """k e^(-theta s) / ((slow s + 1) (fast s + 1)), k in output units per input unit."""

    gain: float
    slow_s: float
    fast_s: float
    dead_time_s: float

    def step_response(self, times_s: Floats) -> Floats:
        """Return the answer to a unit step at time 0."""
        since_s = np.maximum(times_s - self.dead_time_s, 0.0)
        # Equal lags would need another formula; a slight difference is exact enough.
        slow_s, fast_s = self.slow_s, min(self.fast_s, 0.999 * self.slow_s)
        slow, fast = slow_s * np.exp(-since_s / slow_s), fast_s * np.exp(-since_s / fast_s)
        answer: Floats = self.gain * (1.0 - (slow - fast) / (slow_s - fast_s))
        return answer

    def sampled_pulses(self) -> Floats:
        """Return the pulse response to a command held for a period, period by period."""
        times_s = np.arange(WINDOW_PERIODS, dtype=np.float64) * CONTROL_PERIOD_S
        return np.diff(self.step_response(times_s), prepend=0.0)


@dataclass(frozen=True, slots=True)
class IdentifiedPlant:
    """One operating point: `steps` is the measured response to a volt of command, W, period by period.

    `model` is for the tuning rules, `lags` for the margins; `command_v` draws `power_w`.
    """

    point: OperatingPoint
    steps: Floats
    model: ProcessModel
    lags: TwoLags
    command_v: float
    power_w: float

    def response_at(self, rad_per_s: Floats) -> Complexes:
        """Return the sampled plant, command to reading, at frequencies up to pi / CONTROL_PERIOD_S.

        The transform of the pulse response: exact, dead time included, for a command that is held over each
        period.
        """
        pulses = self.lags.sampled_pulses()
        turns = np.exp(-1j * np.outer(rad_per_s * CONTROL_PERIOD_S, np.arange(len(pulses))))
        answer: Complexes = turns @ pulses
        return answer

    @property
    def misfit(self) -> float:
        """Root mean square between measured and two-lag step response, as a share of the final value."""
        times_s = np.arange(len(self.steps), dtype=np.float64) * CONTROL_PERIOD_S
        apart = self.lags.step_response(times_s) - self.steps
        return float(np.sqrt(np.mean(apart**2)) / abs(self.lags.gain))


def identify(bike: Bike, seed: int = 1) -> list[IdentifiedPlant]:
    """Return the plant at every operating point that the motor can reach; empty without a shunt."""
    if not bike.shunt.fitted:
        return []
    found = [identify_at(bike, point, seed) for point in operating_points(bike)]
    return [plant for plant in found if plant is not None]


def identify_at(bike: Bike, point: OperatingPoint, seed: int = 1) -> IdentifiedPlant | None:
    """Return the plant at one operating point; None if the motor can't draw the power there."""
    rig = OpenLoop(bike, point, seed)
    power_w = bike.firmware_settings.assist_power_w * point.load
    if power_w <= 0.0 or not rig.settle_at(power_w):
        return None
    base_mv = rig.command_mv
    step_mv = _step_size_mv(rig, bike, float(bike.firmware_settings.assist_power_w))
    if base_mv + step_mv > bike.firmware_settings.command_max_mv:
        base_mv -= step_mv  # Near the top, where a step up would exceed the range.
    steps = _step_response(rig, base_mv, step_mv)
    model = fit_model(steps, CONTROL_PERIOD_S)
    return IdentifiedPlant(point, steps, model, fit_two_lags(steps), base_mv / 1000.0, power_w)


def _step_size_mv(rig: OpenLoop, bike: Bike, power_w: float) -> int:
    """Return the step of command, at least 4 mV, that moves the power by about STEP_SHARE."""
    base_mv = rig.command_mv
    settings = bike.firmware_settings
    trial_mv = max((settings.command_max_mv - settings.command_start_mv) // 100, 4)
    rig.mean_w(base_mv - trial_mv, WINDOW_PERIODS)
    below_w = rig.mean_w(base_mv - trial_mv, WINDOW_PERIODS)
    rig.mean_w(base_mv, WINDOW_PERIODS)
    slope_w_per_mv = (rig.mean_w(base_mv, WINDOW_PERIODS) - below_w) / trial_mv
    if slope_w_per_mv <= 0.0:
        return trial_mv
    return int(min(max(STEP_SHARE * power_w / slope_w_per_mv, 4), 20 * trial_mv))


def _step_response(rig: OpenLoop, base_mv: int, step_mv: int) -> Floats:
    """Return the mean response to steps up and down, W per volt; entry n is n periods after the step."""
    total = np.zeros(WINDOW_PERIODS)
    for _ in range(STEPS):
        for sign, from_mv, to_mv in ((1.0, base_mv, base_mv + step_mv), (-1.0, base_mv + step_mv, base_mv)):
            rig.mean_w(from_mv, WINDOW_PERIODS)
            before_w = rig.mean_w(from_mv, WINDOW_PERIODS)
            answer = np.array([rig.step(to_mv) for _ in range(WINDOW_PERIODS)], dtype=float)
            total += sign * (answer - before_w)
    mean: Floats = total / (2 * STEPS) / (step_mv / 1000.0)
    mean[0] = 0.0  # The first reading was taken before the command went out.
    return mean


def fit_model(steps: Floats, period_s: float) -> ProcessModel:
    """Fit a lag with dead time to a step response from entry 0 on; integrating if it doesn't flatten."""
    times_s = np.arange(len(steps), dtype=np.float64) * period_s
    window_s = float(times_s[-1])
    last = float(np.mean(steps[-len(steps) // 5 :]))
    third = float(np.argmax(np.abs(steps) > 0.632 * abs(last))) * period_s

    def misfit(values: Floats) -> Floats:
        return ProcessModel(*values).step_response(times_s) - steps

    scale = max(abs(last), 1e-9)
    fit = least_squares(
        misfit,
        [last, max(third, period_s), period_s],
        x_scale=[scale, 0.1 * window_s, 0.01 * window_s],
        bounds=([-np.inf, 1e-4, 0.0], [np.inf, 1e3 * window_s, window_s]),
    )
    gain, lag_s, dead_time_s = (float(value) for value in fit.x)
    if lag_s <= INTEGRATING_WINDOWS * window_s:
        return ProcessModel(gain, lag_s, dead_time_s)
    return _fit_integrating(steps, times_s, ProcessModel(gain / lag_s, np.inf, dead_time_s, True))


def _fit_integrating(steps: Floats, times_s: Floats, first: ProcessModel) -> ProcessModel:
    def misfit(values: Floats) -> Floats:
        return ProcessModel(float(values[0]), np.inf, float(values[1]), True).step_response(times_s) - steps

    bounds = ([-np.inf, 0.0], [np.inf, float(times_s[-1])])
    fit = least_squares(misfit, [first.gain, first.dead_time_s], bounds=bounds)
    return ProcessModel(float(fit.x[0]), np.inf, float(fit.x[1]), True)


def fit_two_lags(steps: Floats) -> TwoLags:
    """Fit two lags with dead time to a step response by the control period, starting at entry 0."""
    times_s = np.arange(len(steps), dtype=np.float64) * CONTROL_PERIOD_S
    last = float(np.mean(steps[-len(steps) // 5 :]))

    def misfit(values: Floats) -> Floats:
        gain, slow_s, fast_share, dead_time_s = (float(value) for value in values)
        return TwoLags(gain, slow_s, fast_share * slow_s, dead_time_s).step_response(times_s) - steps

    fit = least_squares(
        misfit,
        [last, 0.02, 0.7, CONTROL_PERIOD_S / 2.0],
        x_scale=[max(abs(last), 1e-9), 0.01, 0.3, CONTROL_PERIOD_S],
        bounds=([-np.inf, 1e-3, 0.02, 0.0], [np.inf, 10.0, 0.999, times_s[-1]]),
    )
    gain, slow_s, fast_share, dead_time_s = (float(value) for value in fit.x)
    return TwoLags(gain, slow_s, fast_share * slow_s, dead_time_s)
