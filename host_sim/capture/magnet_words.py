"""Advice about magnets that are missing, weak, out of place, or seen by one channel only."""

from host_sim.capture.findings import ODD_EDGES_A_TURN, Inspection

TIMES_SAID = 3
OUT_OF_PLACE = 0.12  # Of a pitch.


def change_words(inspection: Inspection) -> list[str]:
    """Return sentences about changes during the capture, with their times."""
    said = []
    if inspection.kind.value == "two channels" and inspection.turned_s:
        when = " and ".join(f"{time_s:.1f} s" for time_s in inspection.turned_s[:TIMES_SAID])
        said.append(
            f"from {when} on the crank turns the other way for a long time: if nobody pedalled backward, A "
            f"and B were swapped in the plug; the lead is right only for the seconds given as forward"
        )
    for change in inspection.changes:
        if change.lost:
            what = (
                f"{_magnet_names(change.lost)} missing: look for it on the floor, and check how the others "
                f"are held"
            )
        elif change.back:
            what = f"{_magnet_names(change.back)} back again: a magnet or a plug is loose"
        elif change.weak:
            what = f"{_magnet_names(change.weak)} weak: a magnet or the pickup has moved"
        elif change.more_gaps > 0:
            what = "more pitches are doubled than before: a magnet fell off or the pickup moved"
        elif change.more_gaps < 0:
            what = "fewer pitches are doubled than before: a magnet or a plug is loose"
        else:
            what = "different magnets are weak than before: a magnet or the pickup has moved"
        said.append(f"the ring changes during the capture at {change.at_s:.1f} s: from then on {what}")
    return said


def magnet_words(inspection: Inspection) -> list[str]:
    """Return what to do about magnets that are missing, weak or out of place."""
    said: list[str] = []
    ring = inspection.ring
    counted = "counted in the direction of travel from the first that switches in the capture"
    if inspection.missing.value and inspection.missing.sure:
        said.append(
            f"{_magnet_names(inspection.missing.value)} missing or far too weak ({counted}): put it back, "
            f"or replace the ring; until then help stops at the gap when you pedal slowly"
        )
    on_one = {one.magnet for one in inspection.unequal if one.sure}
    said += _weak_on_one(inspection, counted)
    if inspection.weak.value and inspection.weak.sure and ring is not None:
        for magnet in ring.magnets:
            if magnet.number in inspection.weak.value and magnet.number not in on_one:
                said.append(
                    f"magnet {magnet.number} is weak or out of line, its pulse is {magnet.strength:.0%} of "
                    f"the usual one ({counted}): stop the crank at it, and move the pickup closer or the "
                    f"magnet back into line until its pulse is as long as the others'"
                )
    if ring is not None and inspection.pulses.sure and inspection.phase_deg.value is not None:
        for magnet in ring.magnets:
            if abs(magnet.error_deg) * ring.pulses / 360.0 > OUT_OF_PLACE and magnet.number not in ring.weak:
                where = "ahead of" if magnet.error_deg > 0 else "behind"
                said.append(
                    f"magnet {magnet.number} is {abs(magnet.error_deg):.1f}° {where} its place "
                    f"({counted}): move it, or accept an uneven cadence reading"
                )
    return said


def _weak_on_one(inspection: Inspection, counted: str) -> list[str]:
    """Return what to do about magnets that are, or may be, weak on one channel only."""
    said = []
    for one in inspection.unequal:
        other = "B" if one.channel == "A" else "A"
        which = f"magnet {one.magnet}" if one.magnet else "a magnet in every turn"
        pulse = f"its pulse is {one.share:.0%} of that on {other}"
        if one.sure:
            said.append(
                f"{which} is weak on {one.channel} only, {pulse} ({counted}): it is out of line with that "
                f"pickup. Move it sideways towards pickup {one.channel}, or make the gap there smaller, "
                f"until both pulses are equal"
            )
        else:
            said.append(
                f"{which} may be weak on {one.channel}, {pulse}: edges can't distinguish it from fast "
                f"pedalling. Record the volts of both outputs with an oscilloscope, and inspect those"
            )
    return said


def lacking_words(inspection: Inspection) -> list[str]:
    """Return what to do about magnets that only one channel sees."""
    said = []
    for one in inspection.lacking:
        other = "B" if one.channel == "A" else "A"
        which = f"magnet {one.magnet}" if one.magnet else "a magnet in every turn"
        said.append(
            f"channel {one.channel} does not see {which}, but channel {other} does: the board counts "
            f"backward or refuses edges there. Move the pickup of {one.channel} closer to the ring, or "
            f"replace the magnet, and record again; don't ride with it"
        )
    if (
        not said
        and inspection.decodable.value is not False
        and inspection.odd_edges_a_turn >= ODD_EDGES_A_TURN
    ):
        said.append(
            f"about {inspection.odd_edges_a_turn:.1f} edges a turn are out of order while the crank turns "
            "evenly: look for a magnet that one of the two pickups misses"
        )
    return said


def _magnet_names(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"magnet {numbers[0]} is"
    return f"magnets {', '.join(str(number) for number in numbers[:-1])} and {numbers[-1]} are"
