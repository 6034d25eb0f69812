"""Replaces settings that the rules refuse by the best ones that do no worse than before in any rule.

Only what was refused is ridden, with some settings as the bike has them, to find which to hold back; riding
steps between present and best values shows how far they may go. Everything else is then chosen again for
them. Of several possibilities the one with the least score is taken, and the whole check is ridden again. If
no two groups of settings cure it, all are held except those that don't affect it; in the worst case, all.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import processes_kept
from host_sim.errors import RequestError
from host_sim.rules.judge import Done, Say
from host_sim.tuning.apart import tune_apart
from host_sim.tuning.rates import fall_for, legal_rise
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.rules_check import Refusal, RulesCheck, check_rules
from host_sim.tuning.score import Priority
from host_sim.tuning.variant import with_settings

Again = Callable[[Mapping[str, int]], Tuned]
Names = tuple[str, ...]
ROUNDS = 4
STEPS = (0.75, 0.5, 0.25)  # Of the way from the present value to the best one.
GROUPS: tuple[Names, ...] = (
    ("rise_mv_per_s", "fall_mv_per_s"),
    ("gain_uv_per_w", "integral_ms"),
    ("stop_pitch_percent",),
    ("release_rpm",),
    ("engage_edges", "engage_rpm"),
    ("throttle_rest_mv", "throttle_full_mv"),
    ("battery_foldback_mv",),
    ("heat_foldback_decicelsius",),
    ("assist_power_w",),
)
"""Settings that are held back together."""


@dataclass(frozen=True, slots=True)
class Within:
    """`tuned` keeps within the rules, as `check` shows; `best` is the choice without the rules."""

    tuned: Tuned
    check: RulesCheck
    best: Tuned
    refused: list[Refusal]

    @property
    def sentence(self) -> str:
        """The cost of keeping within the rules and the reason, with numbers; "" if nothing was held back."""
        if self.best is self.tuned:
            return ""
        found = [name for name in self.best.changes if self.best.changes[name] != self.tuned.changes[name]]
        settings = " and ".join(
            f"{name} {self.tuned.changes[name]} instead of {self.best.changes[name]}" for name in found
        )
        now, here, there = (
            measures.scores.total for measures in (self.best.before, self.tuned.after, self.best.after)
        )
        why = self.refused[0].sentence.rstrip(".")
        more = f" (and {len(self.refused) - 1} more)" if len(self.refused) > 1 else ""
        return (
            f"Held back for the rules: {settings}; the score is {here:.2f} instead of {there:.2f} (now "
            f"{now:.2f}). With the best settings: {why}{more}."
        )


def tune_within_rules(
    bike: Bike,
    priority: Priority,
    done: Done,
    seed: int = 1,
    keep: tuple[str, ...] = (),
    say: Say = lambda sentence: None,
) -> Within:
    """Tune a bicycle and hold back what the rules refuse; `treadle tune` recommends and writes the result.

    `say` gets a message if the bench has to be compiled first, which takes a minute or two, once.
    """
    with processes_kept():
        best = tune_apart(bike, priority, done, seed, keep, say=say)

        def again(held: Mapping[str, int]) -> Tuned:
            return tune_apart(bike, priority, done, seed, keep, held, best)

        return within_rules(best, again, seed, done)


def within_rules(tuned: Tuned, again: Again, seed: int, done: Done) -> Within:
    """Check a recommendation and hold back what the rules refuse; `again(held)` tunes with values held."""
    best, check = tuned, check_rules(tuned, seed, done)
    refused = list(check.refused)
    for turn in range(ROUNDS):
        if not check.refused:
            break
        ways = _ways_back(tuned, refused if turn < ROUNDS - 1 else [])
        tuned = min((again(tuned.held | way) for way in ways), key=lambda one: one.after.scores.total)
        check = check_rules(tuned, seed, done)
        refused += check.refused
    if tuned is not best and tuned.after.scores.total > tuned.before.scores.total:
        # The rest would be worse than the present settings. All of those stay, which no rule can refuse.
        tuned = again(_part(best, sum(GROUPS, ()), 0.0))
        check = check_rules(tuned, seed, done)
    return Within(tuned, check, best, refused)


def _ways_back(tuned: Tuned, refused: list[Refusal]) -> list[dict[str, int]]:
    """Return one or more sets of values to hold that cure every refusal, as near to the best as STEPS go."""
    changed = [group for group in GROUPS if _changes(tuned, group)]
    for count in (1, 2):
        some = [sum(groups, ()) for groups in combinations(changed, count)]
        if refused and (found := [way for names in some if (way := _furthest(tuned, names, refused))]):
            return found
    return [_all_but(tuned, changed if refused else [], refused)]


def _all_but(tuned: Tuned, changed: list[Names], refused: list[Refusal]) -> dict[str, int]:
    """Return the present values without the groups that can be left out, one by one, with all still cured."""
    held = _part(tuned, sum(GROUPS, ()), 0.0)
    for group in changed:
        less = {name: value for name, value in held.items() if name not in group}
        if _cured(tuned, less, refused):
            held = less
    return held


def _changes(tuned: Tuned, names: Names) -> bool:
    now = tuned.bike.firmware_settings
    return any(name in tuned.changes and tuned.changes[name] != getattr(now, name) for name in names)


def _furthest(tuned: Tuned, names: Names, refused: list[Refusal]) -> dict[str, int]:
    """Return the values furthest from the present ones that cure every refusal; empty if none do."""
    present = _part(tuned, names, 0.0)
    if not _cured(tuned, present, refused):
        return {}
    parts = (_part(tuned, names, share) for share in STEPS)
    return next((part for part in parts if _cured(tuned, part, refused)), present)


def _part(tuned: Tuned, names: Names, share: float) -> dict[str, int]:
    """Return values at this share of the way from the present to the chosen ones, on a scale of ratios."""
    now = tuned.bike.firmware_settings
    values = {}
    for name in names:
        if name not in tuned.changes:
            continue
        present = max(getattr(now, name), 1)
        values[name] = round(present * (tuned.changes[name] / present) ** share)
    if share > 0.0 and "rise_mv_per_s" in values:
        values["rise_mv_per_s"] = legal_rise(values["rise_mv_per_s"])
        values["fall_mv_per_s"] = fall_for(tuned.bike, values["rise_mv_per_s"])
    return values


def _cured(tuned: Tuned, values: dict[str, int], refused: list[Refusal]) -> bool:
    """Tell whether everything that was refused holds with these values, the rest as chosen."""
    try:
        bike: Bike = with_settings(tuned.tuned, values)
    except RequestError:
        return False  # Some settings only go together.
    return all(refusal.holds(bike) for refusal in refused)
