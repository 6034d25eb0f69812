"""Builds the bundle of a board: main.py, firmware, adapter, settings, limits of the place, manifest.

The same request always gives the same bytes.
"""

import binascii
from dataclasses import dataclass
from typing import Any

from firmware.link.place import PLACE_FILE, PLACE_HEADING
from firmware.link.store import SLOT_NAMES, Storage, encode, with_check_sum
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import limits_of
from host_sim.boardlink.forms import files_in
from host_sim.boardlink.image import filesystem_image
from host_sim.boardlink.manifest import MANIFEST, manifest_bytes, manifest_of
from host_sim.boardlink.targets import Target
from host_sim.boardlink.uf2 import uf2

FIRST_SEQUENCE = 1
SETTINGS_SLOT = SLOT_NAMES[0]


class CheckSums(Storage):
    """What the content of a slot needs from a storage."""

    def crc32(self, content: bytes) -> int:
        """Return the CRC-32 of IEEE 802.3."""
        return binascii.crc32(content)


@dataclass(frozen=True, slots=True)
class Bundle:
    """`files` has all files for the board by name, manifest included; `manifest` is its content."""

    target: Target
    files: dict[str, bytes]
    manifest: dict[str, Any]

    @property
    def size_bytes(self) -> int:
        """The total size of the files."""
        return sum(len(content) for content in self.files.values())

    def uf2_image(self) -> bytes | None:
        """Return the file with the file system for the board's boot loader; None if it has none."""
        layout = self.target.layout
        if layout is None:
            return None
        return uf2(filesystem_image(self.files, layout), layout.address, layout.uf2_family)

    @property
    def uf2_name(self) -> str:
        """The name of that file."""
        return f"treadle_{self.target.name}.uf2"


def bundle_for(target: Target, bike: Bike, form: str, rules: dict[str, Any] | None = None) -> Bundle:
    """Return the bundle of a board with the settings of a bike; RequestError if the form can't be made.

    `rules` is what was verified before, for the manifest; None if nothing was.
    """
    files = files_in(target, form)
    files[SETTINGS_SLOT] = settings_file(bike)
    files[PLACE_FILE] = place_file(bike)
    manifest = manifest_of(target, bike, files, form, rules)
    files[MANIFEST] = manifest_bytes(manifest)
    return Bundle(target, dict(sorted(files.items())), manifest)


def settings_file(bike: Bike) -> bytes:
    """Return the first slot of settings that a board gets, as the file is copied."""
    return encode(bike.firmware_settings, FIRST_SEQUENCE, CheckSums())


def place_file(bike: Bike) -> bytes:
    """Return the limits of the bike's place, which the board enforces for its settings."""
    lines = [PLACE_HEADING, bike.place_profile.title]
    for name, (lowest, highest, _) in limits_of(bike, bike.place_profile).items():
        lines.append(f"{name} {lowest} {highest}")
    # The console uses ASCII.
    return with_check_sum(("\n".join(lines) + "\n").encode("ascii", "replace"), CheckSums())
