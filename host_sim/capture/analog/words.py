"""What to do about findings from the volts, and why a sensor is not called fit."""

from typing import Any

from host_sim.capture.analog.magnets import WEAK_SHARE, ChannelVolts, VoltsFound
from host_sim.capture.analog.volts_capture import LEVELS_V
from host_sim.capture.findings import WEAK_OPEN

UNEQUAL_SHARE = 0.75
NOISE_SHARE = 0.15
LOW_RUNS = 0.02
WOBBLE_TOLD = 0.1


def why_of(volts: VoltsFound) -> list[str]:
    """Return the faults that the volts show, as short phrases."""
    phrases = []
    if volts.weak:
        phrases.append("a magnet is weak according to its volts")
    elif any(_some_are_low(one) for one in volts.channels):
        phrases.append("some pulses are low according to their volts")
    if any(_levels_wrong(one) for one in volts.channels):
        phrases.append("the levels in volts are not those of a 3.3 V input")
    return phrases


def settled(why: list[str], volts: VoltsFound | None) -> list[str]:
    """Return the faults that the edges show, without those that the volts rule out."""
    judged = volts is not None and volts.judged
    return [phrase for phrase in why if not (judged and phrase == WEAK_OPEN)]


def volts_advice(volts: VoltsFound) -> list[str]:
    """Return one sentence for each action, with instructions."""
    said = _below_zero(volts)
    for one in volts.channels:
        if not one.dead:
            said += _recording(one)
    said += _magnets(volts) + _channels(volts)
    if not volts.unit_known:
        said.append("the file has no unit for its numbers: volts are assumed")
    return said


def _below_zero(volts: VoltsFound) -> list[str]:
    """Return what to do about volts below 0, which a Hall output never has."""
    said = []
    coupled = [one.name for one in volts.channels if one.without_constant_part]
    if coupled:
        said.append(
            f"the voltage of {' and '.join(coupled)} swings around 0 V, as behind a capacitor: set the input "
            "of the oscilloscope to DC and record again; a standing crank is not shown correctly"
        )
    wrong = [one for one in volts.channels if one.reversed]
    if wrong:
        least_v = min(one.swing.least_v for one in wrong)
        said.append(
            f"the voltage of {' and '.join(one.name for one in wrong)} goes down to {least_v:.2f} V, but a "
            "Hall output does not go below 0: check for a reversed probe or an inverted channel"
        )
    return said


def _recording(one: ChannelVolts) -> list[str]:
    """Return what to change at the oscilloscope."""
    said = []
    if one.clipped:
        said.append(
            f"the peaks of channel {one.name} are cut off at {one.swing.most_v:.2f} V: choose a larger "
            f"range of the oscilloscope; if the sensor itself is saturated, use a larger gap"
        )
    if one.drifts and not one.without_constant_part:
        said.append(
            f"the floor of channel {one.name} moves by {one.drift_v:.2f} V: check supply and ground; a "
            f"switch with fixed thresholds would lose pulses"
        )
    if one.swing.noise_v > NOISE_SHARE * one.swing.usual_v:
        said.append(
            f"channel {one.name} has {one.swing.noise_v:.2f} V of noise or hum on a swing of "
            f"{one.swing.usual_v:.2f} V: connect the grounds close to the sensor, and keep mains leads away"
        )
    return said


def _magnets(volts: VoltsFound) -> list[str]:
    """Return what to do about tilted pickups, a wobbling ring, and single magnets."""
    said = []
    wobbling = [one for one in volts.channels if one.wobble > WOBBLE_TOLD]
    if wobbling:
        one = wobbling[0]
        far = min(one.magnets, key=lambda magnet: magnet.share)
        near = max(one.magnets, key=lambda magnet: magnet.share)
        return [
            f"the height changes once a turn, least at magnet {far.number} ({far.share:.0%} of the usual) "
            f"and most at magnet {near.number} ({near.share:.0%}): the ring is off centre or bent. Move it "
            f"towards the pickup at magnet {far.number} and away from it at magnet {near.number}"
        ]
    for number in volts.weak:
        channels = [one for one in volts.channels if any(magnet.number == number for magnet in one.weak)]
        names = " and ".join(one.name for one in channels)
        parts = "; ".join(_margin_words(one, number) for one in channels)
        alone = len(channels) < sum(not one.dead for one in volts.channels)
        other = next((one.name for one in volts.channels if one.name not in names), "")
        remedy = (
            f"it is normal on {other}, so it is out of line or the pickups are tilted: move the magnet "
            f"sideways towards the path of pickup {names}"
            if alone
            else "make the gap at this magnet smaller, or replace the magnet"
        )
        said.append(f"magnet {number} is weak on {names} ({parts}): {remedy}")
    for one in volts.channels:
        if not one.weak and _some_are_low(one):
            said.append(
                f"{one.low_runs:.0%} of the pulses of channel {one.name} reach less than {WEAK_SHARE:.0%} of "
                "the usual height, but which magnets they belong to is unknown: see the sentence about the "
                "pulses per turn"
            )
    return said


def _channels(volts: VoltsFound) -> list[str]:
    said = []
    alive = [one for one in volts.channels if not one.dead]
    if volts.linear and len(alive) == 2:
        small, large = sorted(alive, key=lambda one: one.swing.usual_v)
        if small.swing.usual_v < UNEQUAL_SHARE * large.swing.usual_v:
            said.append(
                f"channel {small.name} swings {small.swing.usual_v:.2f} V and {large.name} "
                f"{large.swing.usual_v:.2f} V: make the gap of pickup {small.name} smaller, or that of "
                f"{large.name} larger, until both are equal"
            )
    if alive and not volts.linear:
        said.append(
            "the volts have only two levels, as from a Hall switch: they don't show a weak magnet until its "
            "pulse is lost. To see it earlier, record a Hall element whose voltage follows the field"
        )
    for one in alive:
        if _levels_wrong(one):
            low_v, high_v = one.swing.floor_v.max(), one.swing.top_v.min()
            said.append(
                f"channel {one.name} is {low_v:.2f} V when low and {high_v:.2f} V when high; the "
                f"levels of a 3.3 V input are {LEVELS_V[0]} and {LEVELS_V[1]} V: check ground and pull-up"
            )
    return said


def _levels_wrong(one: ChannelVolts) -> bool:
    """Whether the two levels of a switch, measured at the pin, are outside the levels of an input."""
    swing = one.swing
    if one.dead or swing.linear or swing.least_v < -0.5:
        return False
    return float(swing.floor_v.max()) > LEVELS_V[0] or float(swing.top_v.min()) < LEVELS_V[1]


def _some_are_low(one: ChannelVolts) -> bool:
    return one.swing.linear and not one.dead and not one.magnets and one.low_runs > LOW_RUNS


def _margin_words(one: ChannelVolts, number: int) -> str:
    magnet = next(magnet for magnet in one.magnets if magnet.number == number)
    usual = sorted(other.margin_v for other in one.magnets)[len(one.magnets) // 2]
    return (
        f"{magnet.share:.0%} of the usual height, {magnet.margin_v:.2f} V of margin instead of {usual:.2f} V"
    )


def volts_json(volts: VoltsFound | None) -> dict[str, Any] | None:
    """Return the findings as data for JSON."""
    if volts is None:
        return None
    return {
        "linear": volts.linear,
        "thresholds_told": volts.told,
        "weak": volts.weak if volts.judged else None,
        "channels": {one.name: _channel_json(one) for one in volts.channels},
    }


def _channel_json(one: ChannelVolts) -> dict[str, Any]:
    return {
        "dead": one.dead,
        "swing_v": round(one.swing.usual_v, 4),
        "least_v": round(one.swing.least_v, 4),
        "most_v": round(one.swing.most_v, 4),
        "noise_v": round(one.swing.noise_v, 4),
        "drift_v": round(one.drift_v, 4),
        "thresholds_v": [round(value, 4) for value in one.thresholds_v],
        "clipped": one.clipped,
        "without_constant_part": one.without_constant_part,
        "reversed": one.reversed,
        "wobble": round(one.wobble, 4),
        "magnets": [
            {
                "number": magnet.number,
                "peak_v": round(magnet.peak_v, 4),
                "trough_v": round(magnet.trough_v, 4),
                "margin_v": round(magnet.margin_v, 4),
                "share": round(magnet.share, 4),
            }
            for magnet in one.magnets
        ],
    }
