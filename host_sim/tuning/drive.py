"""Chooses rise rate, gain and integral time together: theory proposes, the bench decides.

The rise rate starts from the comfort limit, the gains from SIMC around the operating point where a volt
moves the most watts, for several closed-loop times. Every proposal is ridden; around the best one, small
steps are tried too. They are compared by `drive_score`, which includes the greatest Ms over the whole
operating range.
"""

from collections.abc import Mapping
from dataclasses import replace

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.bikes.model import Bike
from host_sim.tuning.drive_bench import (
    AS_GOOD,
    DriveBench,
    DriveChoice,
    DrivePoint,
    DriveSettings,
    settings_now,
)
from host_sim.tuning.identify import IdentifiedPlant, ProcessModel
from host_sim.tuning.rates import comfort_rise, legal_rise
from host_sim.tuning.score import Priority
from host_sim.tuning.simc import PiGains, simc
from host_sim.tuning.variant import NOTHING_FIXED

CLOSED_LOOP_DEAD_TIMES = (1.0, 2.0, 4.0, 8.0, 16.0)  # tau_c as multiples of the dead time; 1 is tight.
RISE_FACTORS = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 4.0, 8.0)
APART = 1.8  # Rise rates further apart than this are looked around separately.
ROUNDS = 6
# The score is flat in the gains: half to twice of them moves it by less than a tenth, a few percent of
# power for a fraction of a second on a slope. So the gains of the bicycle stay if no others save a tenth.
GAINS_AS_GOOD = 1.1
STEPS = (1.25, 0.8)
GAIN_MOST_UV_PER_W = 50_000
INTEGRAL_LEAST_MS, INTEGRAL_MOST_MS = 20, 20_000


def loop_model(plants: list[IdentifiedPlant]) -> ProcessModel | None:
    """Return the model that the gains are computed for: that of the point where a volt moves the most watts.

    Half a control period is added to the dead time: that is how long a command is held on average before the
    next one.
    """
    if not plants:
        return None
    strongest = max((plant.model for plant in plants), key=lambda model: model.gain)
    return replace(strongest, dead_time_s=strongest.dead_time_s + CONTROL_PERIOD_S / 2.0)


def legal_gains(gains: PiGains) -> tuple[int, int]:
    """Return gain and integral time as the whole, legal settings nearest to `gains`."""
    gain = min(max(round(gains.gain * 1e6), 1), GAIN_MOST_UV_PER_W)
    return gain, min(max(round(gains.integral_s * 1000.0), INTEGRAL_LEAST_MS), INTEGRAL_MOST_MS)


def choose_drive(
    bike: Bike,
    plants: list[IdentifiedPlant],
    priority: Priority,
    seed: int = 1,
    fixed: Mapping[str, int] = NOTHING_FIXED,
) -> DriveChoice:
    """Return rise rate, gain and integral time with the least score that theory and a look around it find.

    Settings in `fixed` have the value there; the rest is chosen for them.
    """
    bench = DriveBench(bike, plants, priority, seed, fixed)
    model = loop_model(plants)
    comfort = comfort_rise(bike, priority.jerk_m_per_s3)
    pairs = _gain_pairs(bike, model)
    proposed = [bench.ride(one) for one in _proposals(bike, pairs, comfort)]
    ends = [_descend(bench, start, pairs, bike.shunt.fitted) for start in _starts(proposed)]
    best = min(ends, key=lambda point: point.score)
    return DriveChoice(_least_change(bike, bench, best, pairs, comfort), bench.tried, model)


def _starts(proposed: list[DrivePoint]) -> list[DrivePoint]:
    """Return the best proposal, and the best of those whose rise rate is far from its own.

    A stiff loop behind a slow ramp and a soft loop behind a quick one can both be good, and nothing between.
    """
    best = min(proposed, key=lambda point: point.score)
    rise = best.settings.rise_mv_per_s
    others = [one for one in proposed if not rise / APART < one.settings.rise_mv_per_s < rise * APART]
    return [best, *sorted(others, key=lambda point: point.score)[:1]]


def _descend(bench: DriveBench, best: DrivePoint, pairs: list[tuple[int, int]], looped: bool) -> DrivePoint:
    """Return the best point that small steps from a start lead to.

    All proposals of gain are tried at each rise rate as well: small steps alone could end in a local minimum.
    """
    for _ in range(ROUNDS):
        before = best
        same_rise = [DriveSettings(before.settings.rise_mv_per_s, *pair) for pair in pairs]
        for settings in same_rise + _around(before.settings, looped):
            best = min(best, bench.ride(settings), key=lambda point: point.score)
        if best.score > 0.995 * before.score:
            break
    return best


def _least_change(
    bike: Bike, bench: DriveBench, best: DrivePoint, pairs: list[tuple[int, int]], comfort: int
) -> DrivePoint:
    """Return a point as good as the best that changes little and that noise moves little.

    Present values that are as good stay: all three, the gains (within GAINS_AS_GOOD), or the rise rate. The
    others become the middle of what theory proposes, each weighed by its score, because the best of many
    equally good ones is luck.
    """
    chosen, all_now = best.settings, settings_now(bike)
    gains_now = replace(all_now, rise_mv_per_s=chosen.rise_mv_per_s)
    if bench.ride(all_now).score <= AS_GOOD * best.score:
        return bench.ride(all_now)
    if bench.ride(gains_now).score <= GAINS_AS_GOOD * best.score:
        chosen = gains_now
    else:
        pairs_there = [replace(chosen, gain_uv_per_w=gain, integral_ms=ms) for gain, ms in pairs]
        chosen = bench.middle(pairs_there, best)
    rise_now = bench.ride(replace(chosen, rise_mv_per_s=all_now.rise_mv_per_s))
    rises = [replace(chosen, rise_mv_per_s=legal_rise(factor * comfort)) for factor in RISE_FACTORS]
    least = min((bench.ride(one) for one in [chosen, *rises]), key=lambda point: point.score)
    if rise_now.score <= AS_GOOD * least.score:
        return rise_now
    return bench.ride(bench.middle(rises, least))


def _gain_pairs(bike: Bike, model: ProcessModel | None) -> list[tuple[int, int]]:
    """Return gains and integral times by SIMC, from tight to slow; the bicycle's own if there is no loop."""
    if model is None:
        return [(bike.firmware_settings.gain_uv_per_w, bike.firmware_settings.integral_ms)]
    return [legal_gains(simc(model, share * model.dead_time_s)) for share in CLOSED_LOOP_DEAD_TIMES]


def _proposals(bike: Bike, pairs: list[tuple[int, int]], comfort: int) -> list[DriveSettings]:
    """Return every pair of gains at every share of the comfort limit, and the bicycle's present settings."""
    found = [DriveSettings(legal_rise(factor * comfort), *pair) for factor in RISE_FACTORS for pair in pairs]
    # Then the recommendation is never worse than the present settings.
    return [*found, settings_now(bike)]


def _around(settings: DriveSettings, loop: bool) -> list[DriveSettings]:
    """Return the neighbours: each value a fifth less and a quarter more."""
    found = [replace(settings, rise_mv_per_s=legal_rise(settings.rise_mv_per_s * step)) for step in STEPS]
    if loop:
        for step in STEPS:
            gain, integral = legal_gains(settings.gains.scaled(step))
            found.append(replace(settings, gain_uv_per_w=gain, integral_ms=integral))
            slower = replace(settings.gains, integral_s=settings.gains.integral_s * step)
            found.append(replace(settings, integral_ms=legal_gains(slower)[1]))
    return [one for one in found if one != settings]
