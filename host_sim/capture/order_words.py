"""Advice about phase, duty and the overlap of A and B: which parts to move, and in which direction."""

from host_sim.capture.findings import Inspection
from host_sim.capture.order import QUICK_LEGS_RPM

PHASE_GOOD_DEG = (60.0, 120.0)
BEST_PHASE_DEG = 90.0
DUTY_GOOD = (0.35, 0.65)
# A mismatch of duty between A and B shifts an edge by this much phase per percent: 1 % of 360°.
PHASE_PER_DUTY_PERCENT_DEG = 3.6
DUTY_MISMATCH_PERCENT = 5.0


def overlap_words(inspection: Inspection) -> list[str]:
    """Return what to do if two edges are too close for the board."""
    overlap = inspection.overlap
    if overlap is None or not inspection.overlap_too_brief or inspection.lacking:
        return []
    where = f" at magnet {overlap.magnet}" if overlap.magnet else ""
    if overlap.share <= 0.0:
        return [f"A and B don't overlap{where}: edges come out of order there, so the board miscounts"]
    return [
        f"A and B overlap too briefly{where} ({overlap.share:.1%} of a pitch): above "
        f"{overlap.highest_rpm:.0f} rpm the board refuses edges there, but it should accept them up to "
        f"{QUICK_LEGS_RPM:.0f} rpm. Move the pickups closer to the ring for longer pulses"
        + _phase_remedy(inspection.phase_deg.value)
    ]


def _phase_remedy(phase_deg: float | None) -> str:
    """Return how to bring the phase closer to 90°; moving both pickups along the ring does not help."""
    if phase_deg is None or PHASE_GOOD_DEG[0] <= phase_deg <= PHASE_GOOD_DEG[1]:
        return ""
    if phase_deg < BEST_PHASE_DEG:
        return (
            ", and raise the phase: move the two pickups farther apart, or hold them straight along the ring "
            "if they are tilted, or use a smaller radius of the ring"
        )
    return (
        ", and lower the phase: move the two pickups closer together, or tilt the pair out of the ring's "
        "line, or use a larger radius of the ring"
    )


def order_words(inspection: Inspection) -> list[str]:
    """Return what to do about phase and duty."""
    said: list[str] = []
    phase_deg = inspection.phase_deg.value
    shares = [finding.value for finding in inspection.duty.values() if finding.value is not None]
    if inspection.decodable.value is False:
        duty = f"duty {min(shares):.0%}, " if shares else ""
        said.append(
            f"the pulses of A and B do not overlap as they should ({duty}phase {phase_deg:.0f}°), "
            "so the board can't tell direction: move both pickups closer for longer pulses"
            + _phase_remedy(phase_deg)
        )
    elif (remedy := _phase_remedy(phase_deg)) and not inspection.overlap_too_brief:
        remedy = remedy.removeprefix(", and ")
        said.append(f"the phase is {phase_deg:.0f}°, {BEST_PHASE_DEG:.0f}° would be best: {remedy}")
    if inspection.kind.value != "duty-coded" and shares and inspection.decodable.value is not False:
        if not DUTY_GOOD[0] <= min(shares) <= max(shares) <= DUTY_GOOD[1]:
            worst = max(shares, key=lambda share: abs(share - 0.5))
            said.append(f"the duty is {worst:.0%}, 50 % would be best: change the distance of the pickup")
    percent = (max(shares) - min(shares)) * 100.0 if shares else 0.0
    if percent > DUTY_MISMATCH_PERCENT:
        said.append(
            f"the duty of A and B differs by {percent:.0f} %, which shifts an edge by "
            f"{percent * PHASE_PER_DUTY_PERCENT_DEG:.0f}° of phase: set the pickup square to the ring"
        )
    return said
