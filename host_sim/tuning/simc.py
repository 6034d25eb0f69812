"""Tuning rules for a PI controller: SIMC, and Ziegler-Nichols to compare it with.

SIMC: S. Skogestad, "Simple analytic rules for model reduction and PID controller tuning", Journal of Process
Control 13 (2003) 291-309. Kc = lag / (k (tau_c + theta)), integral time = min(lag, 4 (tau_c + theta)); the
tight choice is tau_c = theta. Integrating, slope k': Kc = 1 / (k' (tau_c + theta)), integral time = 4 (tau_c
+ theta).

Ziegler-Nichols, from the oscillation: kp = 0.45 kc, ki = 0.54 kc / Tc, as K. J. Astrom and R. M. Murray give
the original gains in the errata of "Feedback Systems", 2nd ed.
"""

from dataclasses import dataclass

from host_sim.tuning.identify import ProcessModel


@dataclass(frozen=True, slots=True)
class PiGains:
    """u = gain (e + integral of e / integral_s): gain in input units per output unit, integral time in s."""

    gain: float
    integral_s: float

    def scaled(self, factor: float) -> "PiGains":
        """Return the gains with the proportional gain times `factor` and the same integral time."""
        return PiGains(self.gain * factor, self.integral_s)


def simc(model: ProcessModel, closed_loop_s: float | None = None) -> PiGains:
    """Return SIMC gains for a closed-loop time constant of 0 or more; the tight one, theta, if None.

    ValueError for a negative time, a model without gain, or tight tuning of a model without dead time.
    """
    theta_s = model.dead_time_s
    tau_c_s = theta_s if closed_loop_s is None else closed_loop_s
    if tau_c_s < 0.0 or tau_c_s + theta_s <= 0.0:
        raise ValueError(f"closed_loop_s plus dead time must be more than 0 s, got {tau_c_s + theta_s:g}")
    if model.gain == 0.0:
        raise ValueError("a process without gain can't be tuned")
    if model.integrating:
        return PiGains(1.0 / (model.gain * (tau_c_s + theta_s)), 4.0 * (tau_c_s + theta_s))
    gain = model.lag_s / (model.gain * (tau_c_s + theta_s))
    return PiGains(gain, min(model.lag_s, 4.0 * (tau_c_s + theta_s)))


def ziegler_nichols_oscillation(ultimate_gain: float, ultimate_period_s: float) -> PiGains:
    """Return the gains from the gain and period at which a proportional loop just oscillates."""
    if ultimate_gain <= 0.0 or ultimate_period_s <= 0.0:
        raise ValueError("ultimate gain and period must be more than 0")
    return PiGains(0.45 * ultimate_gain, ultimate_period_s * 0.45 / 0.54)
