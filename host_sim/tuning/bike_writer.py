"""Writes a bike file with new settings; comments, order and everything else stay as they were."""

from pathlib import Path

import tomlkit
from tomlkit.items import Table

from host_sim.bikes.load import BIKES, load_bike
from host_sim.errors import RequestError
from host_sim.outputs import Delivery
from host_sim.textfile import TOML_BYTES_MAX, find_file, read_text, spoken
from host_sim.tuning.recommend import Tuned


def file_of(bike_given: str) -> Path:
    """Return the bike file that a user's argument names; RequestError if there is none."""
    return find_file(bike_given, BIKES, (".toml",), "bike")


def written_text(source: str, tuned: Tuned) -> str:
    """Return `source`, the text of the bike file, with the recommended values in it.

    Settings go to [settings], made if there is none, each new or changed one with a comment that says where
    it comes from; shares go to [selector]. A value that doesn't change is left as it is.
    """
    document = tomlkit.parse(source)
    if "settings" not in document:
        document.add("settings", tomlkit.table())
    settings = document["settings"]
    now = tuned.bike.firmware_settings
    for name, value in tuned.changes.items():
        if getattr(now, name) == value or not isinstance(settings, Table):
            continue
        settings[name] = value
        settings[name].comment(f"treadle tune, {tuned.priority.name}")
    if tuned.shares_percent is not None and tuned.shares_percent != tuned.bike.selector.shares_percent:
        selector = document["selector"]
        if isinstance(selector, Table):
            # Whole percents without a decimal point, as people write them.
            selector["shares_percent"] = [round(share) for share in tuned.shares_percent]
    return tomlkit.dumps(document)


def write_bike(bike_given: str, tuned: Tuned, target: Path, force: bool) -> None:
    """Write the bike file whole or not at all, once more read as any other bike file is."""
    text = written_text(read_text(file_of(bike_given), TOML_BYTES_MAX), tuned)
    with Delivery(target.parent, (target.name,), force) as delivery:
        place = delivery.place(target.name)
        place.write_text(text, encoding="utf-8")
        if load_bike(place).firmware_settings.as_dict() != tuned.tuned.firmware_settings.as_dict():
            raise RequestError(f"{spoken(target)}: the settings would not be read back as they were tuned")
        delivery.deliver()
