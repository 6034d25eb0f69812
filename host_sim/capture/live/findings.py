"""The findings of a guided capture: an inspection with known turns and direction, and its faults."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from firmware.settings import A_LEADS
from host_sim.capture.diagnose import KINDS, Told, inspect_edges
from host_sim.capture.edges import EdgeChunk
from host_sim.capture.findings import Inspection
from host_sim.capture.live.guide import TURNS_BACK, TURNS_FORWARD, Edge, Guide
from host_sim.capture.live.position import ArmPosition, arm_position

MARGIN_S = 0.5
TURNS_WITHIN = 0.35  # Tolerance of the turns back: a person stops slightly before or after the mark.
EDGES_LOOKED_AT = 64
CODED = "duty-coded"


@dataclass(frozen=True, slots=True)
class GuidedFindings:
    """`inspection` is of the turns forward, `whole` has all edges; `why` and `advice`: faults of the turns.

    `arm` and `back_turns` are None if unknown.
    """

    inspection: Inspection
    whole: EdgeChunk
    arm: ArmPosition | None
    back_turns: float | None
    why: list[str]
    advice: list[str]


def levels_at_rest(edges: list[Edge]) -> int:
    """Return the levels before the first edge, which the stream does not contain.

    Two channels alternate, so the first edge was on the channel that did not have the second one.
    """
    if len(edges) < 2:
        return edges[0].levels ^ 1 if edges else 0
    changed = [(one.levels ^ two.levels) & 3 for one, two in pairwise(edges[:EDGES_LOOKED_AT])]
    if len({*changed} & {1, 2}) == 2:
        return edges[0].levels ^ (3 - changed[0] if changed[0] in (1, 2) else 1)
    return edges[0].levels ^ next((one for one in changed if one in (1, 2)), 1)


def guided_findings(guide: Guide, one_channel: bool) -> GuidedFindings:
    """Evaluate a guide's edges; `one_channel`: the board is set to a sensor with one."""
    rest_levels = levels_at_rest(guide.edges)
    whole = chunk_of(guide.edges, rest_levels)
    forward_s = guide.forward_s
    part, at_rest = guide.edges, rest_levels
    if forward_s is not None:
        before = [edge for edge in guide.edges if edge.at_s < forward_s[0]]
        part = [edge for edge in guide.edges if forward_s[0] <= edge.at_s <= forward_s[1]]
        at_rest = before[-1].levels if before else rest_levels
    forward = chunk_of(part, at_rest)
    found = inspect_edges(lambda: iter([forward]), 2, _told(guide, part, one_channel))
    if found.kind.value == "one channel" and guide.back_s is not None:
        found = _with_kind(found, whole)
    arm = arm_position(part, at_rest, found) if forward_s is not None else None
    back_turns = _back_turns(guide)
    why, advice = _against(guide, back_turns)
    return GuidedFindings(found, whole, arm, back_turns, why, advice)


@dataclass(frozen=True, slots=True)
class RingSoFar:
    """The ring according to the turns so far; `pulses` may still be a guess."""

    pulses: int
    sure: bool
    missing: list[int]
    weak: list[int]
    passed: int


def ring_so_far(guide: Guide, one_channel: bool) -> RingSoFar | None:
    """Return the ring according to the turns forward, finished or not; None if it is still unknown."""
    part = [edge for edge in guide.edges if edge.at_s >= guide.forward_began_s]
    if guide.forward_s is not None:
        part = [edge for edge in part if edge.at_s <= guide.forward_s[1]]
    if len(part) < EDGES_LOOKED_AT:
        return None
    chunk = chunk_of(part, levels_at_rest(part))
    found = inspect_edges(lambda: iter([chunk]), 2, _told(guide, part, one_channel))
    if not found.pulses.value:
        return None
    missing, weak = found.missing.value or [], found.weak.value or []
    passed = int(found.rises_s.size)
    return RingSoFar(found.pulses.value, found.pulses.sure, missing, weak, passed)


def _told(guide: Guide, part: list[Edge], one_channel: bool) -> Told:
    """Return that all of `part` is forward, and the number of turns if these have ended."""
    lasting_s = part[-1].at_s - part[0].at_s if part else 0.0
    turns = TURNS_FORWARD if guide.forward_s is not None else None
    return Told((0.0, lasting_s + 2.0 * MARGIN_S), turns, one_channel)


def chunk_of(edges: list[Edge], rest_levels: int) -> EdgeChunk:
    """Return edges as file readers do: times ascending from 0, changes only."""
    begin_s = edges[0].at_s - MARGIN_S if edges else 0.0
    times, levels = [0], [rest_levels]
    for edge in edges:
        at_ns = round((edge.at_s - begin_s) * 1e6) * 1000
        if at_ns <= times[-1]:
            levels[-1] = edge.levels
        elif edge.levels != levels[-1]:
            times.append(at_ns)
            levels.append(edge.levels)
    return EdgeChunk(np.array(times, np.int64), np.array(levels, np.uint8))


def _with_kind(found: Inspection, whole: EdgeChunk) -> Inspection:
    """Return the findings with the kind from turns in both directions, which a duty-coded sensor needs."""
    both = inspect_edges(lambda: iter([whole]), 2, Told(one_channel=True))
    return replace(found, kind=both.kind) if both.kind.value == CODED else found


def _back_turns(guide: Guide) -> float | None:
    if guide.forward_s is None or guide.back_s is None:
        return None
    begin_s, end_s = guide.back_s
    back = sum(begin_s <= edge.at_s <= end_s for edge in guide.edges)
    forward = sum(guide.forward_s[0] <= edge.at_s <= guide.forward_s[1] for edge in guide.edges)
    return TURNS_FORWARD * back / max(forward, 1)


def _against(guide: Guide, back_turns: float | None) -> tuple[list[str], list[str]]:
    why: list[str] = []
    advice: list[str] = []
    if guide.losses:
        number = f"{guide.lost} steps" if guide.lost else "an unknown number of steps"
        why.append("edges were lost between board and computer")
        advice.append(
            f"{number} of the board did not arrive: close other programs, use another cable, and repeat"
        )
    if guide.forward_s is None and guide.edges:
        why.append("the turns forward were not done as instructed")
    elif guide.back_s is None and guide.edges:
        why.append("the turns back were not done")
    if back_turns is not None and abs(back_turns - TURNS_BACK) > TURNS_WITHIN:
        why.append("the turns forward and back contradict each other")
        advice.append(
            f"if {TURNS_FORWARD} turns were forward, then {back_turns:.1f} were back instead of "
            f"{TURNS_BACK}: repeat, and start and stop with the arm straight down"
        )
    return why, advice


def against_board(found: Inspection, settings: dict[str, int]) -> tuple[list[str], list[str]]:
    """Return differences between the board's settings and the crank, as phrases and as advice."""
    why: list[str] = []
    advice: list[str] = []
    if found.kind.sure and found.kind.value and settings.get("sensor_kind") != KINDS[found.kind.value]:
        why.append("the board is set to another kind of pedal sensor")
    if found.pulses.sure and found.pulses.value != settings.get("pulses_per_rev"):
        why.append("the board is set to another number of pulses")
        advice.append(
            f"the board is set to {settings.get('pulses_per_rev')} pulses a turn, the crank gives "
            f"{found.pulses.value}"
        )
    says = "A" if settings.get("lead") == A_LEADS else "B"
    if found.kind.value == "two channels" and found.lead.sure and found.lead.value != says:
        why.append("the board sees forward as backward")
        advice.append(
            f"the board is set to {says} leads, but {found.lead.value} leads when turning forward: the "
            f"wires of A and B are swapped, or the sensor is on the other side. Do only one of these: swap "
            f"the wires, or set the lead. If you do both, pedalling backward drives the motor"
        )
    return why, advice
