"""What the picture of a ride shows in addition to the trace."""

from collections.abc import Sequence
from dataclasses import dataclass

from firmware.settings import Settings
from host_sim.bench.meter import RideEvent


@dataclass(frozen=True, slots=True)
class RideFacts:
    """Data of the picture in addition to the trace: names, settings, events, and one second of edges.

    `edges` are as recorded by EdgeWindow. `lowest_gear_m` is the development of the lowest gear; `worst` the
    moment in us at which a rule was broken worst, and the words for it: then the enlarged second is the one
    around it. `estimated` names what a recording did not hold.
    """

    bike: str
    ride: str
    seconds: float
    settings: Settings
    events: list[RideEvent]
    edges: list[tuple[int, int]]
    edges_before: int
    edges_centre_us: int | None
    lowest_gear_m: float | None = None
    worst: tuple[int, str] | None = None
    estimated: Sequence[str] = ()
