"""Rides a bicycle in virtual time: world, simulated board, rides, faults, recordings, traces.

This folder connects the firmware and the plant. Physics without a controller is in `plant`, rules that rides
must keep are in `rules`, pictures are in `report`.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from host_sim.bench.ride import Bench as Bench


def __getattr__(name: str) -> Any:
    """Return `Bench`, imported when it is asked for: before that the compiled copy can go on the path."""
    if name == "Bench":
        from host_sim.bench.ride import Bench

        return Bench
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
