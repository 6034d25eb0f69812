"""The same bicycle with other settings, checked like a bike file."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.errors import RequestError

NOTHING_FIXED: Mapping[str, int] = MappingProxyType({})


def with_settings(bike: Bike, changes: dict[str, int], parts: dict[str, Any] | None = None) -> Bike:
    """Return `bike` with `changes` in its [settings] and `parts` (whole sections) instead of its own.

    RequestError if the settings do not fit together or exceed the limits of the place.
    """
    changed = bike.model_copy(update={**(parts or {}), "settings": {**bike.settings, **changes}})
    try:
        settings = settings_from(changed, bike.place_profile)
    except ValueError as error:
        raise RequestError(f"{bike.name}: {error}") from None
    changed.complete(bike.name, bike.place_profile, settings)
    return changed
