"""With any edges an inspection ends with findings in their ranges, never in a crash."""

import json
import warnings

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from host_sim.capture.advice import advice_of
from host_sim.capture.as_json import findings_json
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.edges import EdgeChunk
from host_sim.inspecting.crank import _support

# Gaps from a nanosecond to minutes, levels of two channels; sometimes a regular train with holes in it.
gaps_ns = st.one_of(
    st.integers(1, 1_000),
    st.integers(1_000, 3_000_000),
    st.integers(3_000_000, 400_000_000),
    st.integers(400_000_000, 100_000_000_000),
)
wild_edges = st.lists(st.tuples(gaps_ns, st.integers(0, 3)), max_size=150)


@st.composite
def trains(draw):
    """Draw edges of two channels that turn to and fro with repeating gaps."""
    pattern = draw(st.lists(st.integers(2_000_000, 200_000_000), min_size=1, max_size=12))
    order = [0, 1, 3, 2]
    place, edges = 0, []
    for steps in draw(st.lists(st.integers(-60, 60), min_size=1, max_size=6)):
        for step in range(abs(steps)):
            place += 1 if steps > 0 else -1
            edges.append((pattern[step % len(pattern)], order[place % 4]))
    return edges


def _chunks(edges):
    times, levels = [0], [0]
    for gap, level in edges:
        times.append(times[-1] + gap)
        levels.append(level)
    return [EdgeChunk(np.array(times, np.int64), np.array(levels, np.uint8))]


def _edges(levels, long_ns):
    """Return an edge to each level, 2 ms after the one before, or as long as `long_ns` says."""
    return [(long_ns.get(place, 2_000_000), int(level)) for place, level in enumerate(levels)]


@settings(max_examples=50)
# The crank stands on a magnet, once or now and then: no share of a pitch.
@example(edges=_edges("23102310231023", {7: 14_000_001}), in_file=1, turns=None)
@example(
    edges=_edges("13201320132013201320132013201", dict.fromkeys((5, 11, 17, 23), 14_000_037)),
    in_file=1,
    turns=None,
)
# A cubic through unequal transits may exceed all numbers.
@example(
    edges=_edges(
        "13201320132013201",
        {1: 2_475_481, 7: 2_475_481, 13: 2_475_481} | dict.fromkeys((4, 10, 16), 90_559_922),
    ),
    in_file=2,
    turns=None,
)
@example(
    edges=_edges(
        "13201320132013201",
        {1: 2_380_536, 7: 2_380_536, 13: 2_380_536} | dict.fromkeys((4, 10, 16), 33_142_903),
    ),
    in_file=2,
    turns=None,
)
@given(edges=wild_edges | trains(), in_file=st.integers(1, 2), turns=st.none() | st.integers(2, 50))
def test_any_edges_end_in_findings_and_not_in_a_crash(edges, in_file, turns):
    if in_file == 1:
        edges = [(gap, level & 1) for gap, level in edges]
    chunks = _chunks(edges)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        inspection = inspect_edges(lambda: iter(chunks), in_file, Told((0.0, 1.0), turns))
        support = _support(inspection, None)
        advice = advice_of(inspection, support)
    json.dumps(findings_json(inspection, advice), allow_nan=False)
    for finding in (inspection.kind, inspection.lead, inspection.pulses, inspection.phase_deg):
        assert 0.0 <= finding.confidence <= 1.0
    if inspection.pulses.value is not None:
        assert 4 <= inspection.pulses.value <= 64
    for duty in inspection.duty.values():
        assert duty.value is None or 0.0 <= duty.value <= 1.0
