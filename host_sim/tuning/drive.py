"""Chooses rise rate, gain and integral time together: theory proposes, the bench decides.

The rise rate starts from the comfort limit, the gains from SIMC around the operating point where a volt
moves the most watts, for several closed-loop times. Every proposal is ridden; around the best one, small
steps are tried too. They are compared by `drive_score`, which includes the greatest Ms over the whole
operating range.
"""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from host_sim.bikes.model import Bike
from host_sim.tuning.drive_bench import AS_GOOD, DriveBench, DriveChoice, DrivePoint, DriveSettings
from host_sim.tuning.identify import IdentifiedPlant, ProcessModel
from host_sim.tuning.open_loop import PERIOD_S
from host_sim.tuning.rates import legal_rise, rates_for
from host_sim.tuning.score import Priority
from host_sim.tuning.simc import PiGains, simc

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
    return replace(strongest, dead_time_s=strongest.dead_time_s + PERIOD_S / 2.0)


def legal_gains(gains: PiGains) -> tuple[int, int]:
    """Return gain and integral time as the whole, legal settings nearest to `gains`."""
    gain = min(max(round(gains.gain * 1e6), 1), GAIN_MOST_UV_PER_W)
    return gain, min(max(round(gains.integral_s * 1000.0), INTEGRAL_LEAST_MS), INTEGRAL_MOST_MS)


def choose_drive(
    bike: Bike,
    plants: list[IdentifiedPlant],
    priority: Priority,
    seed: int = 1,
    fixed: Mapping[str, int] = MappingProxyType({}),
) -> DriveChoice:
    """Return rise rate, gain and integral time with the least score that theory and a look around it find.

    What `fixed` names keeps its value, and the rest is chosen for it.
    """
    bench = DriveBench(bike, plants, priority, seed, fixed)
    model = loop_model(plants)
    comfort = rates_for(bike, priority.jerk_m_per_s3).rise_mv_per_s
    pairs = _gain_pairs(bike, model)
    proposed = [bench.ride(one) for one in _proposals(bike, pairs, comfort)]
    ends = [_descend(bench, start, pairs, bike.shunt.fitted) for start in _starts(proposed)]
    best = min(ends, key=lambda point: point.score)
    return DriveChoice(_least_change(bike, bench, best, pairs, comfort), bench.tried, model)


def _starts(proposed: list[DrivePoint]) -> list[DrivePoint]:
    """Return the best proposal, and the best of those with quite another rise rate.

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

    What is as good with the present values keeps them: all three, the gains (within GAINS_AS_GOOD), the rise
    rate. What does not is the middle of what theory proposes, each weighed by its score: the best of many as
    good is luck.
    """
    now = bike.firmware_settings
    chosen = best.settings
    gains_now = replace(chosen, gain_uv_per_w=now.gain_uv_per_w, integral_ms=now.integral_ms)
    all_now = replace(gains_now, rise_mv_per_s=now.rise_mv_per_s)
    if bench.ride(all_now).score <= AS_GOOD * best.score:
        return bench.ride(all_now)
    if bench.ride(gains_now).score <= GAINS_AS_GOOD * best.score:
        chosen = gains_now
    else:
        pairs_there = [replace(chosen, gain_uv_per_w=gain, integral_ms=ms) for gain, ms in pairs]
        chosen = bench.middle(pairs_there, best)
    rise_now = bench.ride(replace(chosen, rise_mv_per_s=now.rise_mv_per_s))
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
    now = bike.firmware_settings
    found = [DriveSettings(legal_rise(factor * comfort), *pair) for factor in RISE_FACTORS for pair in pairs]
    # Then the recommendation is never worse than the present settings.
    return [*found, DriveSettings(now.rise_mv_per_s, now.gain_uv_per_w, now.integral_ms)]


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
