"""What the findings mean for the hands: one sentence each, the most urgent first."""

from math import ceil

from host_sim.capture.findings import SURE, Inspection
from host_sim.capture.magnet_words import change_words, lacking_words, magnet_words
from host_sim.capture.order_words import order_words, overlap_words
from host_sim.capture.pulses import turns_needed
from host_sim.capture.stopping import Support
from host_sim.capture.wire_words import noise_words, wire_words

NARROW_CADENCE = 1.3


def advice_of(inspection: Inspection, support: Support | None, any_cadence: bool = True) -> list[str]:
    """Return what to do, in sentences; none where everything is as it should be.

    `any_cadence`: whether slow and quick legs were asked for.
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
        if inspection.turns_asked:
            needed = max(turns_needed(float(seen or 16)), ceil(inspection.turns_asked) + 1)
            said.append(
                f"{inspection.turns_asked:g} turns leave more than one number of pulses open{probably}: "
                f"count {needed} turns"
            )
        else:
            needed = turns_needed(float(seen or 16))
            said.append(
                f"magnets too even, or turns too few, to tell the pulses of a turn{probably}: turn "
                f"the crank exactly {needed} times from a mark to the same mark while recording, and say "
                f"--turns {needed}"
            )
    if (
        inspection.kind.value == "two channels"
        and not inspection.lead.sure
        and not inspection.channels.dead
        and not inspection.channels.same_signal
    ):
        probably = f" (probably {inspection.lead.value})" if inspection.lead.value else ""
        said.append(
            f"which channel leads can't be told from edges alone{probably}: say which seconds are forward "
            "pedalling, for example --forward 2:8"
        )
    if (
        inspection.kind.value == "one channel"
        and inspection.kind.confidence < SURE
        and not inspection.channels.dead
    ):
        said.append("it may be duty-coded: record again and pedal backward for two turns in between")
    if inspection.kind.value == "one channel":
        said.append("one channel can't tell forward from backward: pedalling backward and rocking will drive")
    return said


def _range(inspection: Inspection, support: Support | None, any_cadence: bool) -> list[str]:
    said: list[str] = []
    cadence = inspection.cadence
    if any_cadence and cadence is not None and cadence.most < NARROW_CADENCE * cadence.least:
        said.append(
            f"only {cadence.least:.0f} to {cadence.most:.0f} rpm were covered: record slow and quick legs too"
        )
    if support is not None and support.release_rpm == 0:
        said.append("the gaps between edges are too long to keep help on at any cadence: mend the ring first")
    return said
