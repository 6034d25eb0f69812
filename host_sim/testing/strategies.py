"""Hypothesis strategies: settings, bikes, rides, edge streams and faults. All drawn values are legal.

Draw settings for `rig_for` and bikes for `bench_for`. Everything shrinks towards the defaults, the first
example bike, a short ride and no fault. A failing test prints the calls that make its bike and its ride
again.
"""

from typing import Any

from hypothesis import strategies as st

from firmware.settings import Settings
from host_sim.bench.course import Course, course_from
from host_sim.bench.faults import FAULTS
from host_sim.bikes.load import example_names
from host_sim.bikes.model import Bike
from host_sim.rig.ring import Ring
from host_sim.testing.benches import example_bike
from host_sim.testing.legal_settings import legal_settings, legal_values

__all__ = ["bikes", "edge_streams", "fault", "faults", "legal_settings", "legal_values", "rides"]

# Values for the keys that a fault needs; the magnets of the smallest ring are 1 to 4.
_KEYS: dict[str, st.SearchStrategy[Any]] = {
    "channel": st.sampled_from(["A", "B"]),
    "magnet": st.integers(1, 4),
    "strength": st.floats(0.1, 0.9),
    "per_s": st.floats(1.0, 200.0),
    "pulse_ms": st.floats(0.2, 5.0),
    "percent": st.floats(1.0, 150.0),
    "km_per_h": st.floats(1.0, 20.0),
    "cut_ms": st.integers(20, 500),
    "amps": st.floats(0.0, 20.0),
    "seconds": st.floats(-2.0, 2.0),
    "stall_ms": st.integers(20, 500),
}
STANDING_S = 3.0  # Of a ride's start: a controller may ask for rest before anything else.


def bikes(*names: str) -> st.SearchStrategy[Bike]:
    """Draw one of the example bikes (`names`, or all) with the scatter of real parts, load and charge."""
    return st.builds(example_bike, st.sampled_from(names or tuple(example_names())), st.integers(0, 10_000))


@st.composite
def fault(draw: st.DrawFn, /, *names: str) -> dict[str, Any]:
    """Draw one fault (of `names`, or any), as a table of a course file."""
    name = draw(st.sampled_from(names or tuple(FAULTS)))
    return {"name": name, **{key: draw(_KEYS[key]) for key in FAULTS[name][0]}}


def faults(*names: str, at_most: int = 2) -> st.SearchStrategy[list[dict[str, Any]]]:
    """Draw up to `at_most` different simultaneous faults."""
    return st.lists(fault(*names), max_size=at_most, unique_by=lambda one: str(one["name"]))


def rides(
    seconds: float = 20.0, faulty: bool = False, names: tuple[str, ...] = ()
) -> st.SearchStrategy[Course]:
    """Draw a ride for a bench: 3 s at standstill, then one to six stretches.

    With `faulty`, a stretch may have faults (of `names`, or any). Play it with `CourseScript(ride)`.
    """
    stretches = _stretches(seconds, faulty, names)
    return st.builds(course_from, st.just("drawn"), st.just("A random ride"), st.just(seconds), stretches)


@st.composite
def _stretches(
    draw: st.DrawFn, /, seconds: float, faulty: bool, names: tuple[str, ...]
) -> list[dict[str, Any]]:
    count = draw(st.integers(1, 6))
    length_s = (seconds - STANDING_S) / count
    stretches: list[dict[str, Any]] = [{"at_s": 0, "cadence_rpm": 0, "effort_w": 0}]
    for number in range(count):
        stretches.append({"at_s": STANDING_S + number * length_s, **draw(_STRETCHES)})
        if faulty:
            stretches[-1]["fault"] = draw(faults(*names))
    return stretches


_STRETCHES = st.fixed_dictionaries(
    {
        "cadence_rpm": st.sampled_from([60, 0, 20, 90]) | st.integers(-60, 120),
        "effort_w": st.sampled_from([100, 0, 250]) | st.integers(0, 400),
    },
    optional={
        "grade_percent": st.integers(-6, 10),
        "throttle_percent": st.sampled_from([0, 50, 100]),
        "selector_percent": st.sampled_from([100, 50, 0]),
        "brake": st.booleans(),
    },
)


@st.composite
def edge_streams(
    draw: st.DrawFn, /, settings: Settings, noise: bool = False, at_most: int = 6
) -> list[tuple[int, int]]:
    """Draw the edges of the pedal sensor in `settings`: (time in us from 0, levels), in order of time.

    The crank turns at up to `at_most` cadences one after the other, also backward. With `noise` some edges
    are not from the ring.
    """
    ring = Ring(settings)
    stream: list[tuple[int, int]] = []
    start_us = 0
    turns = st.tuples(st.integers(-120, 200), st.integers(50_000, 1_000_000))
    for rpm, span_us in draw(st.lists(turns, min_size=1, max_size=at_most)):
        stream += [(start_us + after_us, levels) for after_us, levels in ring.edges(rpm, span_us)]
        start_us += span_us
    if noise:
        glitches = st.tuples(st.integers(0, start_us), st.integers(0, 3))
        stream = sorted(stream + draw(st.lists(glitches, max_size=20)), key=lambda edge: edge[0])
    return stream
