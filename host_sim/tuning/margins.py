"""Margins of a loop from its frequency response, computed by python-control.

Frequency response data represents dead time exactly. A first-order Padé approximation would give SIMC's own
loop a gain margin of 4.00 instead of 3.14.
"""

from dataclasses import dataclass
from math import inf, isfinite, log10, pi, radians

import numpy as np

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.tuning.identify import Complexes, Floats, IdentifiedPlant
from host_sim.tuning.operating import OperatingPoint
from host_sim.tuning.simc import PiGains

_NYQUIST_RAD_PER_S = pi / CONTROL_PERIOD_S
_FREQUENCIES = 300


@dataclass(frozen=True, slots=True)
class Margins:
    """Gain margin (times), phase margin (degrees), delay margin (s), greatest sensitivity Ms; inf if none.

    `surge_rad_per_s` is where the phase crosses -180 degrees, `crossover_rad_per_s` where the gain crosses 1.
    """

    gain: float
    phase_deg: float
    delay_s: float
    sensitivity: float
    surge_rad_per_s: float
    crossover_rad_per_s: float

    @property
    def surge_hz(self) -> float:
        """The frequency at which the loop oscillates when the gain is raised by the gain margin."""
        return self.surge_rad_per_s / (2.0 * pi)


@dataclass(frozen=True, slots=True)
class WorstCase:
    """The least margin of each kind over the operating range, and where the gain margin is least."""

    margins: Margins
    surge_point: OperatingPoint


def margins_of(response: Complexes, rad_per_s: Floats) -> Margins:
    """Return the margins of an open loop given by its frequency response at ascending frequencies."""
    import control

    data = control.frd(response, rad_per_s, smooth=True)
    gains, phases, distances, surges, crossovers, _ = control.stability_margins(data, returnall=True)
    stable_gains = [(float(gain), float(at)) for gain, at in zip(gains, surges, strict=True) if gain > 1.0]
    # A crossing of -180 degrees with a gain above 1 means that the loop surges already.
    unstable = [(float(gain), float(at)) for gain, at in zip(gains, surges, strict=True) if gain <= 1.0]
    gain, surge = min(unstable or stable_gains, default=(inf, inf))
    pairs = [(float(phase), float(at)) for phase, at in zip(phases, crossovers, strict=True) if at > 0.0]
    phase_deg, _ = min(pairs, default=(inf, inf))
    delay_s = min((radians(phase) / at for phase, at in pairs), default=inf)
    # The nearest approach to -1 on the grid counts too: a minimum at the grid's end is no turning point.
    nearest = min([float(distance) for distance in distances] + [float(np.min(np.abs(1.0 + response)))])
    crossover = max((at for _, at in pairs), default=inf)
    return Margins(gain, phase_deg, delay_s, 1.0 / nearest if nearest > 0.0 else inf, surge, crossover)


def loop_frequencies() -> Floats:
    """Return the frequencies at which the sampled loop is evaluated: 0.5 rad/s to the Nyquist frequency."""
    return np.logspace(log10(0.5), log10(0.999 * _NYQUIST_RAD_PER_S), _FREQUENCIES)


def firmware_pi_response(gains: PiGains, rad_per_s: Floats) -> Complexes:
    """Return the frequency response of the firmware's power loop without saturation.

    u = K e + I, and in each period T = CONTROL_PERIOD_S I moves towards u by the share T / Ti:
    K (z - 1 + T / Ti) / (z - 1).
    """
    z = np.exp(1j * rad_per_s * CONTROL_PERIOD_S)
    answer: Complexes = gains.gain * (z - 1.0 + CONTROL_PERIOD_S / gains.integral_s) / (z - 1.0)
    return answer


def loop_margins(plant: IdentifiedPlant, gains: PiGains) -> Margins:
    """Return the margins of the firmware's loop (gain in V/W) around a measured plant."""
    rad_per_s = loop_frequencies()
    return margins_of(firmware_pi_response(gains, rad_per_s) * plant.response_at(rad_per_s), rad_per_s)


def proportional_limit(plant: IdentifiedPlant) -> tuple[float, float]:
    """Return the gain at which a loop without integral just oscillates, and its period in s."""
    rad_per_s = loop_frequencies()
    margins = margins_of(plant.response_at(rad_per_s), rad_per_s)
    return margins.gain, 2.0 * pi / margins.surge_rad_per_s


def worst_case(plants: list[IdentifiedPlant], gains: PiGains) -> WorstCase:
    """Return the least margins over all plants; ValueError without a plant."""
    if not plants:
        raise ValueError("plants must contain one plant or more")
    each = [loop_margins(plant, gains) for plant in plants]
    least, at = min(zip(each, plants, strict=True), key=lambda pair: pair[0].gain)
    worst = Margins(
        gain=least.gain,
        phase_deg=min(margins.phase_deg for margins in each),
        delay_s=min(margins.delay_s for margins in each),
        sensitivity=max(margins.sensitivity for margins in each),
        surge_rad_per_s=least.surge_rad_per_s,
        crossover_rad_per_s=max(margins.crossover_rad_per_s for margins in each if isfinite(margins.delay_s)),
    )
    return WorstCase(worst, at.point)
