"""What a priority gives up: the same rides, scored for the other priorities."""

from host_sim.tuning.drive_bench import DrivePoint
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.score import PRIORITIES, Priority, drive_score

WORTH_A_WORD = 0.05  # A difference of less than a twentieth is not felt.


def point_for(tuned: Tuned, priority: Priority) -> DrivePoint:
    """Return the ridden point that is best for a priority; for the chosen priority, the chosen point."""
    if priority.name == tuned.priority.name:
        return tuned.drive.chosen
    return min(tuned.drive.tried, key=lambda point: drive_score(point.measures, point.sensitivity, priority))


def front(points: list[DrivePoint]) -> list[DrivePoint]:
    """Return the points that no other beats in both measures, by ascending time to half of the power."""
    best: list[DrivePoint] = []
    for point in sorted(points, key=lambda one: (one.measures.half_s, one.measures.jerk_m_per_s3)):
        if not best or point.measures.jerk_m_per_s3 < best[-1].measures.jerk_m_per_s3:
            best.append(point)
    return best


def given_up(tuned: Tuned) -> str:
    """Return a sentence with numbers: how much longer a wait than "quick", how much more jerk than "calm"."""
    name, chosen = tuned.priority.name, tuned.drive.chosen.measures
    quick = point_for(tuned, PRIORITIES["quick"]).measures
    calm = point_for(tuned, PRIORITIES["calm"]).measures
    parts = _road_words(tuned)
    if chosen.half_s > (1.0 + WORTH_A_WORD) * quick.half_s:
        parts.append(
            f"half of the power comes after {chosen.half_s:.2f} s (quick, before the rules: "
            f"{quick.half_s:.2f} s)"
        )
    if chosen.jerk_m_per_s3 > (1.0 + WORTH_A_WORD) * calm.jerk_m_per_s3:
        parts.append(
            f"the push rises by {chosen.jerk_m_per_s3:.2f} m/s3 (calm, before the rules: "
            f"{calm.jerk_m_per_s3:.2f} m/s3)"
        )
    if not parts:
        return f"What you give up for {name}: nothing that can be felt on this bicycle."
    return f"What you give up for {name}: {'; '.join(parts)}."


def _road_words(tuned: Tuned) -> list[str]:
    """Return what less help costs and gives; nothing where the assist power was not chosen."""
    if tuned.road is None:
        return []
    here, full = tuned.after.road, tuned.road.full.measures
    ranges = [one.range_km(tuned.bike) or 0.0 for one in (here, full)]
    return [
        f"a kilometre takes {here.min_per_km:.1f} min (with {tuned.road.full.assist_power_w} W of help: "
        f"{full.min_per_km:.1f} min), for {ranges[0]:.0f} km on a full battery instead of {ranges[1]:.0f} km"
    ]
