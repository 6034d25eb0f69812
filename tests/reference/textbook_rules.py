"""Rules of textbooks that only tests need."""

from host_sim.tuning.identify import ProcessModel


def half_rule(gain: float, lags_s: list[float], dead_time_s: float) -> ProcessModel:
    """Return the first-order model of several lags, the largest first, by Skogestad's half rule.

    Half of the second lag goes to the first, half to the dead time, and so do all smaller ones. ValueError
    without a lag.
    """
    if not lags_s:
        raise ValueError("lags_s must contain one lag or more")
    first, *others = sorted(lags_s, reverse=True)
    second = others[0] if others else 0.0
    return ProcessModel(gain, first + second / 2.0, dead_time_s + second / 2.0 + sum(others[1:]))
