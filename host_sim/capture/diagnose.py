"""From edges to an inspection: clean, find out how the crank turned, find the turn, fold the ring, count."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firmware.settings import B_LEADS, DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS, Settings
from host_sim.capture.angles import Angles, angles_of
from host_sim.capture.board_count import Count, board_count, table_count
from host_sim.capture.cadence import cadence_of
from host_sim.capture.channels import channels_of
from host_sim.capture.cleaning import CleanChannel, clean_channel
from host_sim.capture.duty_code import by_direction, kind_of_one_channel, pitch_shares
from host_sim.capture.edges import CHANNEL_A, CHANNEL_B
from host_sim.capture.findings import SURE, Channels, Finding, Inspection
from host_sim.capture.gathering import EdgeSource, Gathered, gather
from host_sim.capture.pattern import NOTHING, find_pattern
from host_sim.capture.pulses import Seen, seen_a_turn
from host_sim.capture.ring import Ring, ring_of
from host_sim.capture.stretches import NS_PER_S, Floats, Stretch, stretches_of

KINDS = {"two channels": TWO_CHANNELS, "one channel": ONE_CHANNEL, "duty-coded": DUTY_CODED}
PULSES_UNKNOWN = 64  # The decoder then lets everything pass that any ring could send.
LONG_PEDALLING_S = 60.0  # Nobody pedals backward for a minute at 30 rpm and more; common practice, no source.
LONG_PEDALLING_RPM = 30.0
ORDER_MARGIN = 0.02  # Of a pitch: nearer than this, the order of two edges is a matter of luck.
MIXED_DUTY = 0.05
NARROW_SHARE = 0.88
CAN_NOT_TELL = 0.0


@dataclass(frozen=True)
class Told:
    """What the user knows: seconds of the capture that are forward pedalling, and the turns in all of it."""

    forward_s: tuple[float, float] | None = None
    turns: float | None = None
    channels_named: bool = False


def inspect_edges(source: EdgeSource, in_file: int, told: Told) -> Inspection:
    """Inspect the edges of `source`, which has `in_file` channels (1 or 2)."""
    gathered = gather(source)
    a = clean_channel(gathered.times_ns, gathered.levels, CHANNEL_A)
    b = clean_channel(gathered.times_ns, gathered.levels, CHANNEL_B)
    channels = channels_of(a, b, in_file, told.channels_named)
    kind, stretches = _turning(a, b, channels)
    main = _main_direction(stretches)
    angles = [angles_of(stretch) for stretch in stretches if stretch.direction == main]
    # Where the legs' swing can be taken out, what is too short for that would only spoil it.
    angles = [one for one in angles if one.free_of_legs] or angles
    pattern = find_pattern(angles, _clock_share(gathered, stretches, main)) if angles else NOTHING
    seen = seen_a_turn(pattern, _rises(stretches, main), told.turns)
    free_of_legs = bool(angles) and all(one.free_of_legs for one in angles)
    leading = _leading(a, b, channels, main)
    first_rise_s = next((one.rises_s[0] for one in stretches if one.direction == main), 0.0)
    before = int(np.searchsorted(leading.rises_ns / NS_PER_S, first_rise_s - 1e-9))
    if stretches and stretches[0].direction != main:
        before = 0
    ring = ring_of(angles, seen.magnets, free_of_legs, before) if seen.magnets else None
    forward, forward_confidence = _forward(stretches, told, main)
    lead = _lead(kind, forward, forward_confidence)
    pulses = _pulses(ring, seen)
    decodable = _decodable(kind, ring, angles)
    settings = _decoder_settings(kind, pulses, forward or main)
    board = board_count(gathered.chunks() if gathered.whole else source(), settings)
    table = table_count(a, b, settings.lead != B_LEADS) if kind.value == "two channels" else None
    seconds = max((gathered.end_ns - int(gathered.times_ns[0])) / NS_PER_S, 1e-9)
    kept_s = max((gathered.kept_end_ns - int(gathered.times_ns[0])) / NS_PER_S, 1e-9)
    noise = len(a.noise_ns) + len(b.noise_ns)
    cadence = None
    if pulses.value:
        cadence = cadence_of(stretches, ring, pulses.value, forward or main)
    if lead.value is None and kind.value == "two channels" and forward == 0 and cadence is not None:
        lead = _lead_by_habit(stretches, main, cadence.median)
    return Inspection(
        channels=channels,
        kind=kind,
        lead=lead,
        pulses=pulses,
        duty=_duty(kind, ring, angles, stretches, main, channels, pulses.sure),
        phase_deg=_phase(ring, angles),
        missing=_missing(ring, seen, angles),
        weak=_weak(ring, seen, angles),
        decodable=decodable,
        noise_per_s=noise / kept_s,
        invalid_per_s=board.rejected / seconds,
        bounces=a.bounces or b.bounces,
        reversals=board.reversals,
        reversals_seen=_reversals_seen(stretches),
        cadence=cadence,
        ring=ring,
        swing=_swing(angles, ring),
        turns_seen=sum(len(one.pitch) for one in angles) / seen.magnets if seen.magnets else 0.0,
        turns_asked=told.turns or 0.0,
        board=board,
        table=table,
        agree=_agree(board, table, gathered, noise, channels, decodable),
        seconds=seconds,
        a_first=main > 0,
        rises_s=_rises_from(leading, first_rise_s, before),
        gathered=gathered,
    )


def _turning(a: CleanChannel, b: CleanChannel, channels: Channels) -> tuple[Finding[str], list[Stretch]]:
    """Return the kind of sensor and its stretches of turning."""
    if channels.live == CHANNEL_A + CHANNEL_B and not channels.same_signal:
        return Finding("two channels", channels.number.confidence), stretches_of(a, b)
    if channels.live == 0:
        return Finding(None, CAN_NOT_TELL), []
    stretches = stretches_of(b if channels.live == CHANNEL_B else a, None)
    if channels.number.value == 2:
        return Finding("two channels", channels.number.confidence), stretches
    kind = kind_of_one_channel(stretches)
    if kind.value == "duty-coded":
        return kind, by_direction(stretches)
    return Finding(kind.value, min(kind.confidence, channels.number.confidence)), stretches


def _main_direction(stretches: list[Stretch]) -> int:
    """Return the direction in which most pitches were turned."""
    pitches: dict[int, int] = {}
    for stretch in stretches:
        pitches[stretch.direction] = pitches.get(stretch.direction, 0) + len(stretch)
    return max(pitches, key=lambda direction: pitches[direction], default=0)


def _clock_share(gathered: Gathered, stretches: list[Stretch], main: int) -> float:
    """Return the tick of the capture's clock beside what is timed: A to B with two channels, else a pitch."""
    tick_s = float(np.gcd.reduce(gathered.times_ns)) / NS_PER_S
    chosen = [one for one in stretches if one.direction == main]
    timed_s = np.concatenate([one.transit_s for one in chosen])
    timed_s = timed_s[~np.isnan(timed_s)]
    if len(timed_s) == 0:
        timed_s = np.concatenate([one.pitches_s for one in chosen])
    return tick_s / float(np.median(timed_s))


def _leading(a: CleanChannel, b: CleanChannel, channels: Channels, main: int) -> CleanChannel:
    """Return the channel whose magnets come first in the main direction."""
    if channels.live == CHANNEL_B or (channels.live == CHANNEL_A + CHANNEL_B and main < 0):
        return b
    return a


def _rises_from(leading: CleanChannel, first_rise_s: float, before: int) -> Floats:
    """Return the leading channel's rises from that of magnet 1 on."""
    rises_s = leading.rises_ns / NS_PER_S
    return np.asarray(rises_s[max(int(np.searchsorted(rises_s, first_rise_s - 1e-9)) - before, 0) :])


def _rises(stretches: list[Stretch], main: int) -> int:
    """Return how many magnets passed in the main direction, less those in the other."""
    # A stretch of n pitches has n + 1 rises; the crank went on a little beyond both of its ends.
    return sum((len(one) + 1) * (1 if one.direction == main else -1) for one in stretches)


def _forward(stretches: list[Stretch], told: Told, main: int) -> tuple[int, float]:
    """Return the direction that is forward by what the user said, 0 if unknown, and how sure."""
    if told.forward_s is None or main == 0:
        return 0, CAN_NOT_TELL
    begin_s, end_s = told.forward_s
    passed = {1: 0, -1: 0}
    for stretch in stretches:
        inside = (stretch.rises_s >= begin_s) & (stretch.rises_s <= end_s)
        passed[stretch.direction] += int(np.count_nonzero(inside))
    both = passed[1] + passed[-1]
    if both < 4:
        return 0, CAN_NOT_TELL
    share = max(passed.values()) / both
    return (1 if passed[1] > passed[-1] else -1), (0.99 if share > 0.9 else 0.7 if share > 0.7 else 0.4)


def _lead(kind: Finding[str], forward: int, confidence: float) -> Finding[str]:
    if kind.value != "two channels" or forward == 0:
        return Finding(None, CAN_NOT_TELL)
    return Finding("A" if forward > 0 else "B", confidence)


def _lead_by_habit(stretches: list[Stretch], main: int, median_rpm: float) -> Finding[str]:
    """Guess from a long time of pedalling one way."""
    lasting_s = {1: 0.0, -1: 0.0, 0: 0.0}
    for stretch in stretches:
        lasting_s[stretch.direction] += float(stretch.rises_s[-1] - stretch.rises_s[0])
    share = lasting_s[main] / max(sum(lasting_s.values()), 1e-9)
    if main and lasting_s[main] >= LONG_PEDALLING_S and share > 0.9 and median_rpm >= LONG_PEDALLING_RPM:
        return Finding("A" if main > 0 else "B", 0.8)
    return Finding(None, CAN_NOT_TELL)


def _pulses(ring: Ring | None, seen: Seen) -> Finding[int]:
    if ring is None or not 4 <= ring.pulses <= 64:
        return Finding(None, CAN_NOT_TELL)
    return Finding(ring.pulses, seen.confidence)


def _decoder_settings(kind: Finding[str], pulses: Finding[int], forward: int) -> Settings:
    number = pulses.value if pulses.sure and pulses.value is not None else PULSES_UNKNOWN
    return Settings(
        {
            "sensor_kind": KINDS[kind.value or "two channels"],
            "pulses_per_rev": number,
            "lead": 1 if forward < 0 else 0,
            "forward_duty_high": 0 if forward < 0 else 1,
        }
    )


def _median(columns: list[np.ndarray]) -> float:
    values = np.concatenate(columns) if columns else np.zeros(0)
    values = values[~np.isnan(values)]
    return float(np.median(values)) if len(values) else float("nan")


def _duty(
    kind: Finding[str],
    ring: Ring | None,
    angles: list[Angles],
    stretches: list[Stretch],
    main: int,
    channels: Channels,
    sure: bool,
) -> dict[str, Finding[float]]:
    """Return the duty of each channel that lives."""
    pitches = sum(len(one.pitch) for one in angles)
    confidence = 0.95 if pitches >= 12 else 0.7 if pitches >= 4 else CAN_NOT_TELL
    if not angles:
        return {}
    first = "B" if (main < 0 and kind.value == "two channels") or channels.live == CHANNEL_B else "A"
    if not angles[0].free_of_legs:
        shares = np.concatenate([pitch_shares(one) for one in stretches if one.direction == main])
        if ring is not None and sure:
            return {first: Finding(ring.duty, confidence)}
        # The mean, in which quick and slow parts of the turn cancel; a weak magnet pulls it down.
        mixed = float(np.nanstd(shares)) > MIXED_DUTY
        return {first: Finding(float(np.nanmean(shares)), min(confidence, 0.8 if mixed else 1.0))}
    duty = ring.duty if ring is not None else _median([one.high for one in angles])
    other = ring.other_duty if ring is not None else _median([one.other_high for one in angles])
    found = {first: Finding(duty, confidence)}
    if not np.isnan(other):
        found["B" if first == "A" else "A"] = Finding(other, confidence)
    return dict(sorted(found.items()))


def _phase(ring: Ring | None, angles: list[Angles]) -> Finding[float]:
    shares = [one.transit_share for one in angles if one.free_of_legs and len(one.pitch) >= 4]
    if not shares:
        return Finding(None, CAN_NOT_TELL)
    phase_deg = ring.phase_deg if ring is not None else 360.0 * float(np.median(shares))
    pitches = sum(len(one.pitch) for one in angles)
    return Finding(phase_deg, 0.95 if pitches >= 12 else 0.7)


def _missing(ring: Ring | None, seen: Seen, angles: list[Angles]) -> Finding[list[int]]:
    """Return the missing magnets, as sure as the turn is; that none is missing shows without a turn."""
    if ring is not None and seen.confidence >= SURE:
        return Finding(ring.missing, min(seen.confidence, 0.97))
    gaps = [np.abs(one.pitch / np.median(one.pitch) - 1.0) > 0.4 for one in angles]
    return _none_seen(gaps)


def _weak(ring: Ring | None, seen: Seen, angles: list[Angles]) -> Finding[list[int]]:
    """Return the weak magnets, in the same way."""
    if ring is not None and seen.confidence >= SURE:
        return Finding(ring.weak, 0.6 if ring.doubt else min(seen.confidence, 0.97))
    if angles and not angles[0].free_of_legs:
        return Finding(None, CAN_NOT_TELL)
    return _none_seen([one.high / np.median(one.high) < NARROW_SHARE for one in angles])


def _none_seen(odd: list[NDArray[np.bool_]]) -> Finding[list[int]]:
    """Return "none" where many pitches were seen and hardly any was odd; else it can't be told."""
    pitches = sum(len(one) for one in odd)
    if pitches < 2 * PULSES_UNKNOWN or sum(int(np.count_nonzero(one)) for one in odd) > 0.01 * pitches:
        return Finding(None, CAN_NOT_TELL)
    return Finding([], 0.92)


def _decodable(kind: Finding[str], ring: Ring | None, angles: list[Angles]) -> Finding[bool]:
    """Tell whether A and B overlap, so that the four edges of a pitch come in the order of a quadrature."""
    if kind.value != "two channels" or not angles or not angles[0].free_of_legs:
        return Finding(None, CAN_NOT_TELL)
    share = float(np.median([one.transit_share for one in angles if one.free_of_legs]))
    first = ring.duty if ring is not None else _median([one.high for one in angles])
    second = ring.other_duty if ring is not None else _median([one.other_high for one in angles])
    margin = min(share, first - share, share + second - first, 1.0 - share - second)
    return Finding(margin > 0.0, 0.97 if abs(margin) > ORDER_MARGIN else 0.6)


def _swing(angles: list[Angles], ring: Ring | None) -> float:
    """Return how far the crank's speed swings within a turn, as a share; a tenth where it can't be seen."""
    if not angles or ring is None or not all(one.free_of_legs for one in angles):
        return 0.1
    swings = []
    for one in angles:
        turn = len(ring.magnets)
        for first in range(0, len(one.log_speed) - turn + 1, turn):
            part = one.log_speed[first : first + turn]
            swings.append(float(part.max() - part.min()) / 2.0)
    return float(np.median(swings)) if swings else 0.1


def _reversals_seen(stretches: list[Stretch]) -> int:
    """Return how often the crank turned back for three pitches or more, by the cleaned edges."""
    directions = [stretch.direction for stretch in stretches if stretch.direction != 0]
    return sum(one != two for one, two in pairwise(directions))


def _agree(
    board: Count,
    table: Count | None,
    gathered: Gathered,
    noise: int,
    channels: Channels,
    decodable: Finding[bool],
) -> bool:
    """Whether the board's count and the one beside it say the same, within what noise can do to either."""
    if table is None or not gathered.whole or channels.dead or decodable.value is False:
        return True
    room = 4 + noise + (board.forward + board.backward) // 200
    return abs(board.net - table.net) <= room
