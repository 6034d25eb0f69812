"""From edges to an inspection: clean, find how the crank turned, find the turn, combine the turns, count."""

from dataclasses import dataclass, replace

import numpy as np

from firmware.settings import A_LEADS, B_LEADS, DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS, Settings
from host_sim.capture.board_count import Count, board_count, table_count
from host_sim.capture.cadence import Cadence, cadence_of
from host_sim.capture.channels import channels_of
from host_sim.capture.cleaning import CleanChannel, clean_channel
from host_sim.capture.duty_code import by_direction, kind_of_one_channel
from host_sim.capture.edges import CHANNEL_A, CHANNEL_B
from host_sim.capture.findings import CAN_NOT_TELL, Channels, Finding, Inspection
from host_sim.capture.gathering import EdgeSource, Gathered, gather
from host_sim.capture.lead import forward_of, lead_of, turned_at
from host_sim.capture.order import Lacking, Overlap, lacking_in, odd_edges_in, overlap_in
from host_sim.capture.parts import filled, turns_in
from host_sim.capture.ring import PULSES_MOST
from host_sim.capture.shape import decodable_of, duty_of, phase_of, swing_of
from host_sim.capture.steady_turn import UNSURE_NUMBER, Context, Turn, numbers_in_doubt
from host_sim.capture.stretches import Stretch, stretches_of
from host_sim.capture.turn import turn_of
from host_sim.capture.unequal import Unequal, again_in_a_turn, unequal_in
from host_sim.capture.ways import Way, reversals_seen, way_of
from host_sim.units import NS_PER_S

KINDS = {"two channels": TWO_CHANNELS, "one channel": ONE_CHANNEL, "duty-coded": DUTY_CODED}
WEAK_ON_ONE = 0.97


@dataclass(frozen=True, slots=True)
class Told:
    """Information from the user: the seconds of forward pedalling, and the total number of turns.

    `one_channel`: the bike file says that the sensor has one channel.
    """

    forward_s: tuple[float, float] | None = None
    turns: float | None = None
    one_channel: bool = False


def inspect_edges(source: EdgeSource, in_file: int, told: Told) -> Inspection:
    """Inspect the edges of `source`, which has `in_file` channels (1 or 2)."""
    gathered = gather(source)
    a = clean_channel(gathered.times_ns, gathered.levels, CHANNEL_A)
    b = clean_channel(gathered.times_ns, gathered.levels, CHANNEL_B)
    noise = len(a.noise_ns) + len(b.noise_ns)
    channels = channels_of(a, b, in_file, told.one_channel)
    kind, stretches = _turning(a, b, channels)
    way = way_of(a, b, channels, stretches)
    turn = turn_of(
        way.turning, Context(_clock_share(gathered, way), told.turns, noise, way.before, way.rises)
    )
    forward, forward_confidence = forward_of(stretches, told.forward_s, way.main)
    cadence = _cadence(way, turn, forward)
    decodable = decodable_of(kind, turn.ring, way.angles)
    both = kind.value == "two channels" and channels.live == CHANNEL_A + CHANNEL_B
    unequal, lacking, overlap = _both_channels(way, turn, a, b) if both and way.main else ([], [], None)
    phase_deg = phase_of(turn.ring, way)
    swinging = phase_deg.value is not None and not phase_deg.sure
    # Without an order of edges magnet 1 is arbitrary; strongly varying legs look like weak magnets.
    turn = numbers_in_doubt(turn) if decodable.value is False or swinging else turn
    settings = _decoder_settings(kind, turn.pulses, forward or way.main, channels.live)
    turn = _weak_on_one(turn, unequal)
    board = board_count(gathered.chunks() if gathered.whole else source(), settings)
    table = table_count(a, b, settings.lead != B_LEADS) if kind.value == "two channels" else None
    seconds = max((gathered.end_ns - int(gathered.times_ns[0])) / NS_PER_S, 1e-9)
    kept_s = max((gathered.kept_end_ns - int(gathered.times_ns[0])) / NS_PER_S, 1e-9)
    return Inspection(
        channels=channels,
        kind=kind,
        lead=lead_of(kind, way, forward, forward_confidence, cadence.median if cadence else 0.0),
        pulses=turn.pulses,
        duty=duty_of(kind, turn.ring, way, channels, turn.pulses.sure),
        phase_deg=phase_deg,
        missing=turn.missing,
        weak=turn.weak,
        decodable=decodable,
        lacking=lacking,
        unequal=unequal,
        overlap=overlap,
        odd_edges_a_turn=odd_edges_in(way.turning, a, b, turn.pulses.value) if both else 0.0,
        changes=turn.changes,
        turned_s=turned_at(stretches),
        noise_per_s=noise / kept_s,
        invalid_per_s=board.rejected / seconds,
        bounces=a.bounces or b.bounces,
        reversals=board.reversals,
        reversals_seen=reversals_seen(stretches),
        cadence=cadence,
        ring=turn.ring,
        swing=swing_of(way.angles, turn.ring),
        turns_seen=turns_in(way.turning, turn.pulses.value),
        turns_asked=told.turns or 0.0,
        board=board,
        table=table,
        agree=_agree(board, table, gathered, noise, channels, decodable),
        seconds=seconds,
        a_first=way.main > 0,
        rises_s=way.rises_s,
        gathered=gathered,
    )


def _both_channels(
    way: Way, turn: Turn, a: CleanChannel, b: CleanChannel
) -> tuple[list[Unequal], list[Lacking], Overlap | None]:
    """Return magnets that are weak on one channel, magnets that one channel misses, and the worst overlap."""
    ring = turn.ring if turn.pulses.sure else None
    names, trailing = (("A", "B"), b) if way.main > 0 else (("B", "A"), a)
    return (
        unequal_in(way.turning, names, ring, way.before),
        lacking_in(way.turning, trailing.rises_ns, names, ring, way.before),
        overlap_in(way.turning, ring, way.before),
    )


def _weak_on_one(turn: Turn, unequal: list[Unequal]) -> Turn:
    """Return the turn with the magnets that are weak on one channel counted as weak."""
    if not unequal:
        return turn
    numbers = {one.magnet for one in unequal if one.sure}
    if not numbers:
        return replace(turn, weak=turn.weak.at_most(UNSURE_NUMBER))
    weak = turn.weak.value
    if 0 in numbers or weak is None:
        return replace(turn, weak=CAN_NOT_TELL)
    if turn.pulses.value and again_in_a_turn(unequal, turn.pulses.value):
        turn = replace(turn, pulses=turn.pulses.at_most(UNSURE_NUMBER))
    confidence = min(turn.pulses.confidence, WEAK_ON_ONE)
    if turn.changes or not all(one.sure for one in unequal):
        confidence = UNSURE_NUMBER
    return replace(turn, weak=Finding(sorted(numbers | set(weak)), confidence))


def _cadence(way: Way, turn: Turn, forward: int) -> Cadence | None:
    """Return the cadence; if the ring changed during the capture, a turn still has all magnet positions."""
    if not turn.pulses.value:
        return None
    if turn.changes:
        stretches = [filled(one) for one in way.stretches]
        return cadence_of(stretches, None, turn.pulses.value, forward or way.main)
    return cadence_of(way.stretches, turn.ring, turn.pulses.value, forward or way.main)


def _turning(a: CleanChannel, b: CleanChannel, channels: Channels) -> tuple[Finding[str], list[Stretch]]:
    """Return the kind of sensor and its stretches of turning."""
    if channels.live == CHANNEL_A + CHANNEL_B and not channels.same_signal:
        return Finding("two channels", channels.number.confidence), stretches_of(a, b)
    if channels.live == 0:
        return CAN_NOT_TELL, []
    stretches = stretches_of(b if channels.live == CHANNEL_B else a, None)
    if channels.number.value == 2:
        return Finding("two channels", channels.number.confidence), stretches
    kind = kind_of_one_channel(stretches)
    if kind.value == "duty-coded":
        return kind, by_direction(stretches)
    return kind.at_most(channels.number.confidence), stretches


def _clock_share(gathered: Gathered, way: Way) -> float:
    """Return the clock's tick relative to the timed interval: A to B with two channels, else a pitch."""
    chosen = [one for one in way.stretches if one.direction == way.main]
    if not chosen:
        return 0.0
    tick_s = float(np.gcd.reduce(gathered.times_ns)) / NS_PER_S
    timed_s = np.concatenate([one.transit_s for one in chosen])
    timed_s = timed_s[~np.isnan(timed_s)]
    if len(timed_s) == 0:
        timed_s = np.concatenate([one.pitches_s for one in chosen])
    return tick_s / float(np.median(timed_s))


def _decoder_settings(kind: Finding[str], pulses: Finding[int], forward: int, live: int) -> Settings:
    """Return the board's settings; for a single wire `lead` is the channel it is on, not a direction."""
    sensor_kind = KINDS[kind.value or "two channels"]
    on_b = forward < 0 if sensor_kind == TWO_CHANNELS else live == CHANNEL_B
    # If the number is unknown, the decoder must accept everything that any ring could send.
    number = pulses.value if pulses.sure and pulses.value is not None else PULSES_MOST
    return Settings(
        {
            "sensor_kind": sensor_kind,
            "pulses_per_rev": number,
            "lead": B_LEADS if on_b else A_LEADS,
            "forward_duty_high": 0 if forward < 0 else 1,
        }
    )


def _agree(
    board: Count,
    table: Count | None,
    gathered: Gathered,
    noise: int,
    channels: Channels,
    decodable: Finding[bool],
) -> bool:
    """Whether the board's count and the second count agree, allowing for the effect of noise."""
    if table is None or not gathered.whole or channels.dead or decodable.value is False:
        return True
    room = 4 + noise + (board.forward + board.backward) // 200
    return abs(board.net - table.net) <= room
