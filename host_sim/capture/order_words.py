"""What to do about phase, duty and the overlap of A and B, with the direction in which to move parts."""

from host_sim.capture.findings import Inspection
from host_sim.capture.order import QUICK_LEGS_RPM

PHASE_GOOD_DEG = (60.0, 120.0)
BEST_PHASE_DEG = 90.0
DUTY_GOOD = (0.35, 0.65)
# A mismatch of duty between A and B shifts an edge by this much phase: a percent of 360°.
PHASE_PER_DUTY_PERCENT_DEG = 3.6
DUTY_MISMATCH_PERCENT = 5.0


def overlap_words(inspection: Inspection) -> list[str]:
    """Return what to do where two edges follow each other too closely for the board."""
    overlap = inspection.overlap
    if overlap is None or not inspection.overlap_too_brief or inspection.lacking:
        return []
    where = f" at magnet {overlap.magnet}" if overlap.magnet else ""
    if overlap.share <= 0.0:
        return [f"A and B don't overlap{where}: edges come out of order there, so the board miscounts"]
    return [
        f"A and B overlap too briefly{where} ({overlap.share:.1%} of a pitch): "
        f"above {overlap.highest_rpm:.0f} rpm "
        f"the board refuses edges there, but it should accept them up to {QUICK_LEGS_RPM:.0f} rpm. Move the "
        "pickups closer to the ring for longer pulses" + _phase_remedy(inspection.phase_deg.value)
    ]


def _phase_remedy(phase_deg: float | None) -> str:
    """Return how to move the phase towards 90°; moving both pickups together along the ring does not help."""
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
    elif phase_deg is not None and _phase_remedy(phase_deg) and not inspection.overlap_too_brief:
        remedy = _phase_remedy(phase_deg).removeprefix(", and ")
        said.append(f"the phase is {phase_deg:.0f}°, 90° would be best: {remedy}")
    if inspection.kind.value != "duty-coded" and shares and inspection.decodable.value is not False:
        if not DUTY_GOOD[0] <= min(shares) <= max(shares) <= DUTY_GOOD[1]:
            worst = max(shares, key=lambda share: abs(share - 0.5))
            said.append(f"the duty is {worst:.0%}, 50 % would be best: change the distance of the pickup")
    if len(shares) == 2 and abs(shares[0] - shares[1]) * 100.0 > DUTY_MISMATCH_PERCENT:
        percent = abs(shares[0] - shares[1]) * 100.0
        said.append(
            f"the duty of A and B differs by {percent:.0f} %, which shifts an edge by "
            f"{percent * PHASE_PER_DUTY_PERCENT_DEG:.0f}° of phase: set the pickup square to the ring"
        )
    return said
