"""The rules that convert a recorder's data to a ride. Each use of a rule is counted.

1. Pause. Records more than PAUSE_FROM_S seconds apart are a pause: the rider stands, cadence and power 0,
   brakes on. At most PAUSE_KEPT_S seconds of it are kept: nothing happens in the rest. A shorter gap counts
   as empty cells. Records within one second are averaged.
2. Empty cells. Up to FILLED_MAX_S seconds are interpolated between their neighbours, longer ones are 0:
   without a reading no pedalling is assumed.
3. Spike. One second of cadence that differs by more than SPIKE_RPM from both neighbours, to the same side,
   while these agree within SPIKE_RPM, becomes their mean. Three exceptions: a dip in a second without rider
   power is kept, since the rider did ease off; a second between two standing ones is kept up to PUSH_MAX_RPM,
   it is a short push of the pedal; and zero never counts as a spike (see rule 4).
4. Lag. Zero cadence with rider power for up to LAG_MAX_S seconds means that the recorder lags behind the
   legs: cadence is interpolated. Zero cadence without power is a real stop, even of a single second. Power
   without cadence for longer, or between two standing seconds, is set to 0: the assist logic sees the crank,
   and a standing crank does no work.
"""

from dataclasses import asdict, dataclass

from host_sim.bench.records_of_ride import VALUES, RideRecords

PAUSE_FROM_S = 4.0  # Recorders sometimes drop one to three records; a rider stands longer than that.
PAUSE_KEPT_S = 20  # Long enough for the bicycle to come to rest and for every time-out to pass.
FILLED_MAX_S = 3
SPIKE_RPM = 25.0  # Legs change cadence by less than this in a second, and back again in the next: judgement.
PUSH_MAX_RPM = 100.0  # Nobody turns the crank twice from rest to rest within a second: judgement.
LAG_MAX_S = 2


@dataclass(slots=True)
class Corrections:
    """How many seconds of a recording each rule changed."""

    averaged_records: int = 0
    blank_seconds: int = 0
    filled_seconds: int = 0
    lagging_seconds: int = 0
    left_out_seconds: int = 0
    pauses: int = 0
    spikes: int = 0
    unbelieved_power_seconds: int = 0

    def as_dict(self) -> dict[str, int]:
        """Return the counts by name."""
        return asdict(self)


def lay_out_seconds(records: RideRecords, corrections: Corrections) -> tuple[RideRecords, list[bool]]:
    """Return one record a second (None where there was none) and which of them are pauses (rule 1)."""
    track = RideRecords()
    paused: list[bool] = []
    index = 0
    previous_s = records.elapsed_s[0]
    # The start of the present stretch of uninterrupted recording, in recorder time and in our seconds.
    origin_s, origin_row = previous_s, 0
    while index < len(records.elapsed_s):
        now_s = records.elapsed_s[index]
        if now_s - previous_s > PAUSE_FROM_S:
            _add_pause(track, paused, now_s - previous_s, corrections)
            origin_s, origin_row = now_s, len(paused)
        row = _row(now_s, origin_s, origin_row)
        while len(paused) < row:
            _add_row(track, paused, {}, False)
        last = index
        while (
            last + 1 < len(records.elapsed_s)
            and _row(records.elapsed_s[last + 1], origin_s, origin_row) == row
        ):
            last += 1
        corrections.averaged_records += last - index
        _add_row(track, paused, _mean_of(records, index, last), False)
        previous_s = records.elapsed_s[last]
        index = last + 1
    return track, paused


def _row(elapsed_s: float, origin_s: float, origin_row: int) -> int:
    return origin_row + int(elapsed_s - origin_s + 0.5)


def _add_pause(track: RideRecords, paused: list[bool], gap_s: float, corrections: Corrections) -> None:
    missing = int(gap_s + 0.5) - 1
    kept = min(missing, PAUSE_KEPT_S)
    corrections.pauses += 1
    corrections.left_out_seconds += missing - kept
    standing: dict[str, float | None] = {"cadence_rpm": 0.0, "rider_power_w": 0.0, "speed_m_per_s": 0.0}
    for _ in range(kept):
        _add_row(track, paused, standing, True)


def _add_row(track: RideRecords, paused: list[bool], values: dict[str, float | None], is_pause: bool) -> None:
    track.add(float(len(paused)), values)
    paused.append(is_pause)


def _mean_of(records: RideRecords, first: int, last: int) -> dict[str, float | None]:
    """Return the mean of each column over the records `first` to `last`, None where all are empty."""
    means: dict[str, float | None] = {}
    for name in VALUES:
        values = getattr(records, name)
        if first == last:  # The usual case: one record a second.
            means[name] = values[first]
            continue
        known = [value for value in values[first : last + 1] if value is not None]
        means[name] = sum(known) / len(known) if known else None
    return means


def fill_gaps(values: list[float | None], corrections: Corrections) -> list[float]:
    """Return `values` without empty cells (rule 2)."""
    filled = [0.0 if value is None else value for value in values]
    row = 0
    while row < len(values):
        end = row
        while end < len(values) and values[end] is None:
            end += 1
        count = end - row
        if count and count <= FILLED_MAX_S and row > 0 and end < len(values):
            _interpolate(filled, row, end)
            corrections.filled_seconds += count
        elif count:
            corrections.blank_seconds += count
        row = end + 1
    return filled


def remove_spikes(
    cadence_rpm: list[float], rider_power_w: list[float], paused: list[bool], corrections: Corrections
) -> None:
    """Replace spikes in place (rule 3), from left to right, so that a repaired second judges the next one."""
    for row in range(1, len(cadence_rpm) - 1):
        before, here, after = cadence_rpm[row - 1], cadence_rpm[row], cadence_rpm[row + 1]
        if here == 0.0 or paused[row] or abs(before - after) > SPIKE_RPM:
            continue
        lower, upper = min(before, after), max(before, after)
        above = here > upper + SPIKE_RPM and (upper > 0.0 or here > PUSH_MAX_RPM)
        below = here < lower - SPIKE_RPM and rider_power_w[row] > 0.0
        if above or below:
            cadence_rpm[row] = (before + after) / 2.0
            corrections.spikes += 1


def join_lagging_cadence(
    cadence_rpm: list[float], rider_power_w: list[float], corrections: Corrections
) -> None:
    """Interpolate zero cadence under power, or set the power to 0, in place (rule 4)."""
    row = 0
    while row < len(cadence_rpm):
        end = row
        while end < len(cadence_rpm) and cadence_rpm[end] == 0.0 and rider_power_w[end] > 0.0:
            end += 1
        count = end - row
        inside = row > 0 and end < len(cadence_rpm)
        moving = inside and (cadence_rpm[row - 1] > 0.0 or cadence_rpm[end] > 0.0)
        if count and count <= LAG_MAX_S and moving:
            _interpolate(cadence_rpm, row, end)
            corrections.lagging_seconds += count
        elif count:
            rider_power_w[row:end] = [0.0] * count
            corrections.unbelieved_power_seconds += count
        row = end + 1


def _interpolate(values: list[float], first: int, end: int) -> None:
    """Interpolate the rows `first` to `end - 1` between their neighbours, in place."""
    rise = (values[end] - values[first - 1]) / (end - first + 1)
    for row in range(first, end):
        values[row] = values[first - 1] + rise * (row - first + 1)
