"""What the findings mean for the hands: one sentence each, the most urgent first."""

from math import ceil

from host_sim.capture.findings import ODD_EDGES_A_TURN, SURE, Channels, Inspection
from host_sim.capture.order import QUICK_LEGS_RPM
from host_sim.capture.pulses import turns_needed
from host_sim.capture.stopping import Support

EDGES_FORGIVEN_PER_S = 10.0  # The board forgives one rejected edge every 100 ms; more of them make a fault.
TIMES_SAID = 3
NOISE_TOLD_PER_S = 0.2
OUT_OF_PLACE = 0.12  # Of a pitch.
PHASE_GOOD_DEG = (60.0, 120.0)
BEST_PHASE_DEG = 90.0
DUTY_GOOD = (0.35, 0.65)
NARROW_CADENCE = 1.3
# A mismatch of duty between A and B shifts an edge by this much phase: a percent of 360°.
PHASE_PER_DUTY_PERCENT_DEG = 3.6
DUTY_MISMATCH_PERCENT = 5.0


def advice_of(inspection: Inspection, support: Support | None) -> list[str]:
    """Return what to do, in sentences; none where everything is as it should be."""
    return [
        *_wires(inspection.channels, inspection.noise_per_s > 0.0, inspection.gathered.changes),
        *_changes(inspection),
        *_lacking(inspection),
        *_magnets(inspection),
        *_overlap(inspection),
        *_order(inspection),
        *_noise(inspection),
        *_open_questions(inspection),
        *_range(inspection, support),
    ]


def _wires(channels: Channels, noisy: bool, changes: tuple[int, int]) -> list[str]:
    if channels.live == 0 and noisy:
        return [
            "nothing but pulses too short for a magnet: check plug, supply, pull-up and the channel's name"
        ]
    if channels.live == 0 and any(changes):
        counted = " and ".join(
            f"{name} {count} {'time' if count == 1 else 'times'}"
            for name, count in zip("AB", changes, strict=True)
        )
        return [
            f"too few changes to tell anything ({counted}): turn the crank for some turns and record again"
        ]
    if channels.same_signal:
        return [
            "A and B change together: look for a bridge between the two wires, or one wire on both inputs"
        ]
    if channels.dead:
        level = "high" if channels.dead_level else "low"
        name = channels.dead
        look = "check plug, supply and pull-up, then turn the crank and watch the level"
        alone = " (a sensor with one channel: give --channels only the other one)"
        if channels.dead_until_s > 0.0:
            return [
                f"channel {name} stays {level} from {channels.dead_since_s:.2f} to "
                f"{channels.dead_until_s:.2f} s while the other one goes on: "
                "look for a loose plug or a broken wire, and record again"
            ]
        if channels.dead_since_s > 0.0:
            return [f"channel {name} stays {level} from {channels.dead_since_s:.2f} s on: {look}"]
        if channels.number.value == 2 or channels.live == 0:
            return [f"channel {name} never changes, it stays {level}: {look}{alone if channels.live else ''}"]
        return [
            f"channel {name} never changes, it stays {level}, which is right for a sensor with one channel"
        ]
    if channels.live == 0:
        return ["no channel changes: turn the crank while recording; if it was turned, check plug and supply"]
    return []


def _changes(inspection: Inspection) -> list[str]:
    """Return what changed during the capture, with the time."""
    said = []
    if inspection.kind.value == "two channels" and inspection.turned_s:
        when = " and ".join(f"{time_s:.1f} s" for time_s in inspection.turned_s[:TIMES_SAID])
        said.append(
            f"from {when} on the crank turns the other way for long: if nobody pedalled backward then, A and "
            "B changed places in the plug; what is said about the lead holds for the seconds told only"
        )
    for change in inspection.changes:
        if change.lost:
            what = (
                f"{_magnet_names(change.lost)} missing: look for it on the floor, and check how all are held"
            )
        elif change.back:
            what = f"{_magnet_names(change.back)} there again: a magnet or a plug sits loose"
        elif change.weak:
            what = f"{_magnet_names(change.weak)} weak: a magnet or the pickup has moved"
        elif change.more_gaps > 0:
            what = "more pitches are doubled than before: a magnet fell off or the pickup moved"
        elif change.more_gaps < 0:
            what = "fewer pitches are doubled than before: a magnet or a plug sits loose"
        else:
            what = "other magnets are weak than before: a magnet or the pickup has moved"
        said.append(f"the ring changes during the capture, at {change.at_s:.1f} s: from then on {what}")
    return said


def _magnets(inspection: Inspection) -> list[str]:
    said: list[str] = []
    ring = inspection.ring
    counted = "counted in the direction of travel from the first that switches in the capture"
    if inspection.missing.value and inspection.missing.sure:
        said.append(
            f"{_magnet_names(inspection.missing.value)} missing or far too weak ({counted}): put it back, or "
            "change the ring; until then help stops at the gap when legs are slow"
        )
    if inspection.weak.value and inspection.weak.sure and ring is not None:
        for magnet in ring.magnets:
            if magnet.number in inspection.weak.value:
                said.append(
                    f"magnet {magnet.number} is weak or out of line, its pulse is {magnet.strength:.0%} of "
                    f"the usual one ({counted}): stop the crank over it, bring the pickup nearer or the "
                    "magnet back into line until the pulse is as long as the others'"
                )
    if ring is not None and inspection.pulses.sure and inspection.phase_deg.value is not None:
        for magnet in ring.magnets:
            if abs(magnet.error_deg) * ring.pulses / 360.0 > OUT_OF_PLACE and magnet.number not in ring.weak:
                where = "ahead of" if magnet.error_deg > 0 else "behind"
                said.append(
                    f"magnet {magnet.number} sits {abs(magnet.error_deg):.1f}° {where} its place "
                    f"({counted}): move it, or live with an uneven cadence reading"
                )
    return said


def _lacking(inspection: Inspection) -> list[str]:
    """Return what to do about magnets that only one channel shows."""
    said = []
    for one in inspection.lacking:
        other = "B" if one.channel == "A" else "A"
        which = f"magnet {one.magnet}" if one.magnet else "a magnet in every turn"
        said.append(
            f"channel {one.channel} does not show {which}, channel {other} does: the board counts backward "
            f"or refuses edges there. Bring the pickup of {one.channel} nearer to the ring, or change the "
            "magnet, and record again; don't ride with it"
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


def _overlap(inspection: Inspection) -> list[str]:
    """Return what to do where two edges follow each other too closely for the board."""
    overlap = inspection.overlap
    if overlap is None or not inspection.overlap_too_brief or inspection.lacking:
        return []
    where = f" at magnet {overlap.magnet}" if overlap.magnet else ""
    if overlap.share <= 0.0:
        return [f"A and B don't overlap{where}: edges come out of order there, so the board counts wrong"]
    return [
        f"A and B overlap too briefly{where} ({overlap.share:.1%} of a pitch): above "
        f"{overlap.highest_rpm:.0f} rpm the board refuses edges there, and it should follow up to "
        f"{QUICK_LEGS_RPM:.0f} rpm. Bring the "
        "pickups nearer to the ring for longer pulses" + _phase_remedy(inspection.phase_deg.value)
    ]


def _phase_remedy(phase_deg: float | None) -> str:
    """Return what moves the phase towards 90°; moving both pickups along the ring together does not."""
    if phase_deg is None or PHASE_GOOD_DEG[0] <= phase_deg <= PHASE_GOOD_DEG[1]:
        return ""
    if phase_deg < BEST_PHASE_DEG:
        return (
            ", and raise the phase: move the two pickups farther apart, or hold them straight along the ring "
            "if they are tilted, or use a smaller radius of the ring"
        )
    return (
        ", and lower the phase: move the two pickups closer together, or tilt the pair out of the ring's "
        "line, or use a larger radius of the ring"
    )


def _magnet_names(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"magnet {numbers[0]} is"
    return f"magnets {', '.join(str(number) for number in numbers[:-1])} and {numbers[-1]} are"


def _order(inspection: Inspection) -> list[str]:
    said: list[str] = []
    phase_deg = inspection.phase_deg.value
    shares = [finding.value for finding in inspection.duty.values() if finding.value is not None]
    if inspection.decodable.value is False:
        duty = f"duty {min(shares):.0%}, " if shares else ""
        said.append(
            f"the pulses of A and B do not overlap as they should ({duty}phase {phase_deg:.0f}°), "
            "so the board can't tell direction: bring both pickups nearer for longer pulses"
            + _phase_remedy(phase_deg)
        )
    elif phase_deg is not None and _phase_remedy(phase_deg) and not inspection.overlap_too_brief:
        remedy = _phase_remedy(phase_deg).removeprefix(", and ")
        said.append(f"the phase is {phase_deg:.0f}°, 90° would be best: {remedy}")
    if inspection.kind.value != "duty-coded" and shares and inspection.decodable.value is not False:
        if not DUTY_GOOD[0] <= min(shares) <= max(shares) <= DUTY_GOOD[1]:
            worst = max(shares, key=lambda share: abs(share - 0.5))
            said.append(f"the duty is {worst:.0%}, 50 % would be best: change the distance of the pickup")
    if len(shares) == 2 and abs(shares[0] - shares[1]) * 100.0 > DUTY_MISMATCH_PERCENT:
        percent = abs(shares[0] - shares[1]) * 100.0
        said.append(
            f"the duty of A and B differs by {percent:.0f} %, which shifts an edge by "
            f"{percent * PHASE_PER_DUTY_PERCENT_DEG:.0f}° of phase: set the pickup square to the ring"
        )
    return said


def _noise(inspection: Inspection) -> list[str]:
    said: list[str] = []
    if inspection.bounces:
        said.append(
            "edges bounce: Hall switches do not, so look for a reed contact or a loose plug, and put a "
            "Schmitt trigger or 1 ms of RC in the wire"
        )
    if inspection.noise_per_s >= NOISE_TOLD_PER_S:
        faults = inspection.invalid_per_s > EDGES_FORGIVEN_PER_S
        said.append(
            f"{inspection.noise_per_s:.1f} noise pulses a second"
            + (", enough for the board to report a noise fault" if faults else "")
            + ": lay the sensor wire away from the motor's phase wires, check ground and pull-up"
        )
    if inspection.rocked:
        said.append(
            f"the crank was rocked or turned back {inspection.reversals} times; the board and the count "
            "beside it agree, so this is no fault of the sensor"
        )
    elif inspection.reversals > inspection.reversals_seen + 2 and inspection.decodable.value is not False:
        said.append(
            f"the board would take the crank to turn back {inspection.reversals} times, of which "
            f"{inspection.reversals_seen} last for some pitches: mend noise and magnets first"
        )
    if not inspection.agree:
        other = inspection.table.net if inspection.table is not None else 0
        said.append(
            f"the board's decoder counts {inspection.board.net} edges forward, the count beside it {other}: "
            "do not rely on this capture, record it again"
        )
    return said


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


def _range(inspection: Inspection, support: Support | None) -> list[str]:
    said: list[str] = []
    cadence = inspection.cadence
    if cadence is not None and cadence.most < NARROW_CADENCE * cadence.least:
        said.append(
            f"only {cadence.least:.0f} to {cadence.most:.0f} rpm were covered: record slow and quick legs too"
        )
    if support is not None and support.release_rpm == 0:
        said.append("the gaps between edges are too long to keep help on at any cadence: mend the ring first")
    return said
