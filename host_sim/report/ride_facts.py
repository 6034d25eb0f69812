"""What the picture of a ride shows in addition to the trace."""

from collections.abc import Sequence

from firmware.settings import Settings
from host_sim.bench.meter import RideEvent


class RideFacts:
    """Data of the picture in addition to the trace: names, settings, events, and one second of edges."""

    def __init__(
        self,
        bike: str,
        ride: str,
        seconds: float,
        settings: Settings,
        events: list[RideEvent],
        edges: list[tuple[int, int]],
        edges_before: int,
        edges_centre_us: int | None,
        lowest_gear_m: float | None = None,
        worst: tuple[int, str] | None = None,
        estimated: Sequence[str] = (),
    ) -> None:
        """Store what the bench measured; `edges` as recorded by EdgeWindow.

        `lowest_gear_m` is the development of the lowest gear; `worst` the moment in us at which a rule was
        broken worst, and the words for it: then the enlarged second is the one around it. `estimated` names
        what a recording did not hold.
        """
        self.bike = bike
        self.ride = ride
        self.seconds = seconds
        self.settings = settings
        self.events = events
        self.edges = edges
        self.edges_before = edges_before
        self.edges_centre_us = edges_centre_us
        self.lowest_gear_m = lowest_gear_m
        self.worst = worst
        self.estimated = estimated
