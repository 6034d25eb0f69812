"""An inspection as JSON: one object with findings, confidences, and the reasons for the exit code."""

from typing import Any

from host_sim.capture.board_count import Count
from host_sim.capture.findings import Finding, Inspection


def findings_json(inspection: Inspection, advice: list[str]) -> dict[str, Any]:
    """Return the findings; "can't tell" is null."""
    cadence = inspection.cadence
    return {
        "channels": inspection.channels.number.value,
        "lead": inspection.lead.value,
        "pulses_per_rev": inspection.pulses.value,
        "confidence": _confidence(inspection),
        "duty": {name: _rounded(finding, 3) for name, finding in inspection.duty.items()},
        "phase_deg": _rounded(inspection.phase_deg, 1),
        "missing": inspection.missing.value,
        "weak": inspection.weak.value,
        "noise_per_s": round(inspection.noise_per_s, 3),
        "invalid_per_s": round(inspection.invalid_per_s, 3),
        "reversals": inspection.reversals,
        "cadence_rpm": None
        if cadence is None
        else {
            "min": round(cadence.least, 1),
            "median": round(cadence.median, 1),
            "max": round(cadence.most, 1),
        },
        "advice": advice,
    }


def verdict_json(inspection: Inspection, why: list[str]) -> dict[str, Any]:
    """Return the reasons for the exit code."""
    overlap, table = inspection.overlap, inspection.table
    return {
        "fit": not why,
        "why": why,
        "dead": inspection.channels.dead or None,
        "bounces": inspection.bounces,
        "seen_by_one_channel_only": [
            {"lacking_on": one.channel, "magnet": one.magnet or None} for one in inspection.lacking
        ],
        "weak_on_one_channel": [
            {
                "weak_on": one.channel,
                "magnet": one.magnet or None,
                "share": round(one.share, 3),
                "sure": one.sure,
            }
            for one in inspection.unequal
        ],
        "overlap": None
        if overlap is None
        else {
            "least_share": round(overlap.share, 4),
            "magnet": overlap.magnet or None,
            "highest_rpm": round(overlap.highest_rpm),
            "of_each_magnet": overlap.shares,
        },
        "counts": {
            "board": _count(inspection.board),
            "table": None if table is None else _count(table),
        },
        "changes": [
            {"at_s": round(one.at_s, 3), "lost": one.lost, "back": one.back, "weak": one.weak}
            for one in inspection.changes
        ],
    }


def _count(count: Count) -> dict[str, int]:
    return {"forward": count.forward, "backward": count.backward, "refused": count.rejected}


def _confidence(inspection: Inspection) -> dict[str, float]:
    duty = [finding.confidence for finding in inspection.duty.values()]
    kind = inspection.kind
    if kind.value == "duty-coded":
        duty_coded = kind.confidence
    else:
        duty_coded = 1.0 - kind.confidence if kind.value is not None else 0.0
    return {
        "channels": round(inspection.channels.number.confidence, 3),
        "lead": round(inspection.lead.confidence, 3),
        "pulses_per_rev": round(inspection.pulses.confidence, 3),
        "duty": round(min(duty, default=0.0), 3),
        "phase_deg": round(inspection.phase_deg.confidence, 3),
        "missing": round(inspection.missing.confidence, 3),
        "weak": round(inspection.weak.confidence, 3),
        "duty_coded": round(duty_coded, 3),
    }


def _rounded(finding: Finding[float], digits: int) -> float | None:
    return None if finding.value is None else round(finding.value, digits)
