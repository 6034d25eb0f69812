"""One row of the recommendation: setting, now, recommended, why, assumes, check, before and after."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from host_sim.tuning.advice import ADVICE
from host_sim.tuning.loop_report import rounded
from host_sim.tuning.recommend import Tuned

Numbers = Mapping[str, float | None]
SHARES = "selector.shares_percent"
BACKED_OFF = "held back, so that no rule does worse than before"


@dataclass(frozen=True, slots=True)
class Row:
    """One recommendation; `before`, `after` are measured on the bench, or computed where `why` says so.

    `spread` says what single draws of the rides recommend; "" if no ride decides.
    """

    setting: str
    now: Any
    recommended: Any
    spread: str
    why: str
    assumes: str
    check: str
    before: Numbers
    after: Numbers

    def as_json(self) -> dict[str, Any]:
        """Return the row by name."""
        return asdict(self)


def row(tuned: Tuned, setting: str, recommended: Any, why: str, before: Numbers, after: Numbers) -> Row:
    """Return the row of a setting; one that is kept or held back says what would be recommended."""
    advice = ADVICE[setting]
    now = (
        tuned.bike.selector.shares_percent
        if setting == SHARES
        else getattr(tuned.bike.firmware_settings, setting)
    )
    clean = [{name: rounded(value) for name, value in numbers.items()} for numbers in (before, after)]
    spreads = tuned.engage.spreads | tuned.release.spreads
    spread = spreads[setting].words() if setting in spreads else ""
    if setting in tuned.changes and tuned.changes[setting] != recommended:
        reason = "kept as requested" if setting in tuned.keep else BACKED_OFF
        why = f"{reason}; {recommended} would be recommended: {why}"
        recommended = tuned.changes[setting]
    return Row(setting, now, recommended, spread, why, advice.assumes, advice.check, clean[0], clean[1])
