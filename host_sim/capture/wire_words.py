"""Advice about wires and the recording: dead or connected channels, bounces, noise, counts that differ."""

from host_sim.capture.findings import Channels, Inspection

EDGES_FORGIVEN_PER_S = 10.0  # The board tolerates one rejected edge every 100 ms; more cause a fault.
NOISE_TOLD_PER_S = 0.2


def wire_words(channels: Channels, noisy: bool, changes: tuple[int, int]) -> list[str]:
    """Return what to do about wires; `changes`: how often A and B changed."""
    if channels.live == 0 and noisy:
        return ["only pulses too short for a magnet: check plug, supply, pull-up and the channel's name"]
    if channels.live == 0 and any(changes):
        counted = " and ".join(
            f"{name} {count} {'time' if count == 1 else 'times'}"
            for name, count in zip("AB", changes, strict=True)
        )
        return [f"too few changes ({counted}): turn the crank for some turns and record again"]
    if channels.same_signal:
        return [
            "A and B change together: look for a bridge between the two wires, or one wire on both inputs"
        ]
    if channels.dead:
        level = "high" if channels.dead_level else "low"
        name = channels.dead
        look = "check plug, supply and pull-up, then turn the crank and watch the level"
        alone = " (for a sensor with one channel, name only the other channel in --channels)"
        if channels.dead_until_s > 0.0:
            return [
                f"channel {name} stays {level} from {channels.dead_since_s:.2f} to "
                f"{channels.dead_until_s:.2f} s while the other one changes: look for a loose plug or a "
                f"broken wire, and record again"
            ]
        if channels.dead_since_s > 0.0:
            return [f"channel {name} stays {level} from {channels.dead_since_s:.2f} s on: {look}"]
        if channels.number.value == 2 or channels.live == 0:
            return [f"channel {name} never changes, it stays {level}: {look}{alone if channels.live else ''}"]
        return [f"channel {name} never changes, it stays {level}, as expected for a sensor with one channel"]
    if channels.live == 0:
        return ["no channel changes: turn the crank while recording; if it was turned, check plug and supply"]
    return []


def noise_words(inspection: Inspection) -> list[str]:
    """Return what to do about noise, and whether the counts are reliable."""
    said: list[str] = []
    if inspection.bounces:
        said.append(
            "edges bounce: Hall switches don't, so look for a reed contact or a loose plug, and put a "
            "Schmitt trigger or an RC filter of 1 ms in the wire"
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
            f"the crank was rocked or turned back {inspection.reversals} times; the board's count and the "
            f"second count agree, so the sensor is not at fault"
        )
    elif inspection.reversals > inspection.reversals_seen + 2 and inspection.decodable.value is not False:
        said.append(
            f"the board would see the crank turn back {inspection.reversals} times, of which "
            f"{inspection.reversals_seen} last for some pitches: fix noise and magnets first"
        )
    if not inspection.agree:
        other = inspection.table.net if inspection.table is not None else 0
        said.append(
            f"the board's decoder counts {inspection.board.net} edges forward, the second count {other}: "
            f"don't rely on this capture, record it again"
        )
    return said
