"""Chooses the one or two channels of a capture: those that the user named, or the only ones it has."""

from host_sim.errors import RequestError
from host_sim.textfile import spoken

LISTED_MOST = 12


def named_channels(channels: tuple[str, ...] | None) -> None:
    """Raise RequestError unless there are one or two different names, or None."""
    if channels is None:
        return
    if not 1 <= len(channels) <= 2 or len(set(channels)) != len(channels) or not all(channels):
        given = ",".join(channels)
        raise RequestError(f"--channels is '{given}', allowed is one or two different names, A first")


def choose(
    names: list[str], channels: tuple[str, ...] | None, file: str, label: str = "channels"
) -> list[int]:
    """Return the places in `names` of the chosen channels, A first; RequestError lists what is allowed.

    `channels` None: all of `names`, which must be one or two. Letters may be capital or small if only one
    name fits.
    """
    if channels is None:
        if not 1 <= len(names) <= 2:
            raise RequestError(
                f"{file}: it has {len(names)} {label}, allowed is --channels with {among(names)}"
            )
        return list(range(len(names)))
    return [_place(names, channel, file, label) for channel in channels]


def among(names: list[str]) -> str:
    """Return "one or two of …" for a sentence; a long list is shortened."""
    listed = ", ".join(spoken(name) for name in names[:LISTED_MOST])
    more = " …" if len(names) > LISTED_MOST else ""
    return f"one or two of {listed or 'another file'}{more}"


def _place(names: list[str], channel: str, file: str, label: str) -> int:
    exact = [place for place, name in enumerate(names) if name == channel]
    alike = [place for place, name in enumerate(names) if name.casefold() == channel.casefold()]
    for places in (exact, alike):
        if len(places) == 1:
            return places[0]
    count = "none" if not alike else "more than one"
    raise RequestError(f"{file}: {count} of its {label} is called '{channel}', allowed is {among(names)}")
