"""An ideal magnet ring on a crank that turns at a given rate, in whole microseconds."""

from firmware.settings import DUTY_CODED, TWO_CHANNELS, Settings

Marks = tuple[tuple[int, int], ...]

# One pitch lasts 60_000_000 / (rpm * pulses) us; in units of rpm * pulses * us it is always this long.
_PITCH = 60_000_000
_SHARE = 700  # Permille of a pitch for which a duty-coded part says "high" going its larger way.

# A leads: 00, A alone, both, B alone (bit 0 is A). Each row: where in the pitch, permille, and the levels.
_RING_A_LEADS = ((0, 1), (250, 3), (500, 2), (750, 0))
_RING_B_LEADS = ((0, 2), (250, 3), (500, 1), (750, 0))
_RING_ONE = ((0, 1), (500, 0))


class Ring:
    """An ideal magnet ring and its pickup. `position` counts true edges, forward positive."""

    def __init__(self, settings: Settings, ring_lead: int | None = None) -> None:
        """Build the ring that the settings describe; `ring_lead` reverses it."""
        self.duty_coded = settings.sensor_kind == DUTY_CODED
        self.pulses = int(settings.pulses_per_rev)
        if settings.sensor_kind == TWO_CHANNELS:
            lead = settings.lead if ring_lead is None else ring_lead
            self.marks: Marks = _RING_B_LEADS if lead == 1 else _RING_A_LEADS
        else:
            self.marks = _RING_ONE
        # A single channel is on the wire that the settings name.
        self.wire = int(settings.lead) if settings.sensor_kind != TWO_CHANNELS else 0
        self.high_going_forward = _SHARE if settings.forward_duty_high == 1 else 1_000 - _SHARE
        self.phase = _PITCH // 100
        self.levels = self.marks[0][1]
        self.position = 0

    def edges(self, rpm: int, span_us: int) -> list[tuple[int, int]]:
        """Turn at `rpm` (negative backward) for `span_us`; return (us from the start, levels)."""
        rate = abs(rpm) * self.pulses
        found: list[tuple[int, int]] = []
        if rate == 0:
            return found
        marks = self._marks(rpm > 0)
        span = rate * span_us
        travelled = 0
        while True:
            distance, levels = min(self._ahead(where, rpm > 0, levels) for where, levels in marks)
            if travelled + distance > span:
                break
            travelled += distance
            self.phase = (self.phase + (distance if rpm > 0 else -distance)) % _PITCH
            if levels != self.levels:
                self.levels = levels
                self.position += 1 if rpm > 0 else -1
                found.append((travelled // rate, levels << self.wire))
        left = span - travelled
        self.phase = (self.phase + (left if rpm > 0 else -left)) % _PITCH
        return found

    def _ahead(self, where: int, forward: bool, levels: int) -> tuple[int, int]:
        """Return the way to a mark, never 0, and the levels beyond it."""
        mark = where * (_PITCH // 1_000)
        way = (mark - self.phase if forward else self.phase - mark) % _PITCH
        return (way or _PITCH), levels

    def _marks(self, forward: bool) -> Marks:
        if self.duty_coded:
            return ((0, 1), (self.high_going_forward, 0))  # High for the rest of the pitch going backward.
        if forward:
            return self.marks
        # Beyond a mark going backward lie the levels of the mark before it.
        count = len(self.marks)
        return tuple((self.marks[i][0], self.marks[(i - 1) % count][1]) for i in range(count))
