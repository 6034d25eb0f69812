"""The advice that follows from the findings: one sentence each, the most urgent first."""

from math import ceil

from host_sim.capture.findings import SURE, Inspection
from host_sim.capture.magnet_words import change_words, lacking_words, magnet_words
from host_sim.capture.order_words import order_words, overlap_words
from host_sim.capture.pulses import turns_needed
from host_sim.capture.stopping import Support
from host_sim.capture.wire_words import noise_words, wire_words

NARROW_CADENCE = 1.3  # Ratio of the highest to the lowest cadence.
PULSES_SUPPOSED = 16  # For the number of turns to count, while the pulses are unknown.


def advice_of(inspection: Inspection, support: Support | None, any_cadence: bool = True) -> list[str]:
    """Return what to do, in sentences; none if everything is all right.

    `any_cadence`: whether slow and fast pedalling must be recorded.
    """
    return [
        *wire_words(inspection.channels, inspection.noise_per_s > 0.0, inspection.gathered.changes),
        *change_words(inspection),
        *lacking_words(inspection),
        *magnet_words(inspection),
        *overlap_words(inspection),
        *order_words(inspection),
        *noise_words(inspection),
        *_open_questions(inspection),
        *_range(inspection, support, any_cadence),
    ]


def _open_questions(inspection: Inspection) -> list[str]:
    said: list[str] = []
    if inspection.channels.live and not inspection.pulses.sure:
        seen = inspection.pulses.value
        probably = f", probably {seen}" if seen else ""
        needed = turns_needed(float(seen or PULSES_SUPPOSED))
        if inspection.turns_asked:
            needed = max(needed, ceil(inspection.turns_asked) + 1)
            said.append(
                f"{inspection.turns_asked:g} turns are too few for a certain number of pulses{probably}: "
                f"count {needed} turns"
            )
        else:
            said.append(
                f"the magnets are too evenly spaced, or the turns too few, to find the number of pulses per "
                f"turn{probably}: turn the crank exactly {needed} times from a mark back to it while "
                f"recording, and give --turns {needed}"
            )
    if (
        inspection.kind.value == "two channels"
        and not inspection.lead.sure
        and not inspection.channels.dead
        and not inspection.channels.same_signal
    ):
        probably = f" (probably {inspection.lead.value})" if inspection.lead.value else ""
        said.append(
            f"edges alone don't show which channel leads{probably}: give the seconds of forward pedalling, "
            f"for example --forward 2:8"
        )
    if (
        inspection.kind.value == "one channel"
        and inspection.kind.confidence < SURE
        and not inspection.channels.dead
    ):
        said.append("it may be duty-coded: record again, with two turns backward in between")
    if inspection.kind.value == "one channel":
        said.append(
            "one channel can't distinguish forward from backward: the motor will drive when you "
            "pedal backward or rock the pedals"
        )
    return said


def _range(inspection: Inspection, support: Support | None, any_cadence: bool) -> list[str]:
    said: list[str] = []
    cadence = inspection.cadence
    if any_cadence and cadence is not None and cadence.most < NARROW_CADENCE * cadence.least:
        said.append(
            f"only {cadence.least:.0f} to {cadence.most:.0f} rpm were recorded: record slow and fast "
            f"pedalling too"
        )
    if support is not None and support.release_rpm == 0:
        said.append(
            "the gaps between edges are too long to keep help on at any cadence: repair the ring first"
        )
    return said
