"""Rows that `treadle inspect` prints for more than one kind of capture, and the end of its output."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.cli.printing import files_row, print_rows

if TYPE_CHECKING:
    from host_sim.capture.findings import Inspection
    from host_sim.capture.stopping import Support

Rows = list[tuple[str, str]]


def kind_rows(found: "Inspection") -> Rows:
    """Return the kind of the sensor, its pulses, and which channel leads."""
    rows = [
        ("pedal sensor", found.kind.said(str(found.kind.value))),
        ("pulses per revolution", found.pulses.said(str(found.pulses.value))),
    ]
    if found.kind.value == "two channels":
        rows.append(("lead", found.lead.said(f"{found.lead.value} leads")))
    return rows


def magnet_rows(found: "Inspection") -> Rows:
    """Return the numbers of the missing and the weak magnets."""
    return [
        (name, numbers.said(", ".join(map(str, numbers.value or [])) or "none"))
        for name, numbers in (("missing magnets", found.missing), ("weak magnets", found.weak))
    ]


def smallest_row(support: "Support") -> tuple[str, str]:
    """Return the smallest engage and release cadence; "none" if the ring supports no cadence."""
    told = f"{support.engage_rpm}, {support.release_rpm} rpm" if support.release_rpm else "none"
    return "smallest engage, release", told


def changed_row(changed: dict[str, object]) -> tuple[str, str]:
    """Return what was written to the bike file; a value of None was removed."""
    told = [f"{key} = {'removed' if value is None else value}" for key, value in changed.items()]
    return "changed in the bike file", "\n".join(told) or "nothing"


def print_findings(
    rows: Rows, files: Sequence[Path], advice: Sequence[str], why: Sequence[str], fit: str = ""
) -> None:
    """Print the rows of an inspection, its files, what to do, and why the sensor is not shown to be fit.

    `fit` is the last line if it is.
    """
    print_rows([*rows, files_row(files)])
    for sentence in advice:
        print(f"* {sentence}")
    last = f"not shown to be fit: {'; '.join(why)}" if why else fit
    if last:
        print(last)
