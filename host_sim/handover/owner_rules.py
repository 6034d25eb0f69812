"""The rules of `treadle verify` in plain words for the owner: what should happen, and the worst ride.

`asks` and `found` are format strings that may contain `{limit}` and `{measured}`, or `{limit_v}` and
`{measured_v}`, the same divided by 1000. Every rule has a pair; a test compares the two lists.
"""

import re
from collections.abc import Sequence

from host_sim.handover.reports import RuleHeld

# What a rider must know first; other rules follow in the order of the report.
MOST_URGENT = (
    "forward pedalling only", "cut-off distance", "brake cut", "nothing from a standing crank",
    "noise never engages", "rocking never engages", "a fault stays", "stop time", "throttle release",
    "cut-off speed", "no drive over speed", "start-up speed", "continuous power", "rocking ends help",
    "nudge run-on", "backward edges",
)  # fmt: skip
_BEFORE_A_UNIT = re.compile(r"(?<=\}) (?=(?:s|m|ms|W|J|V|V/s|km/h|rpm)\b|%)")
_NOTHING = "the motor was still asked to push"

OWNER_WORDS: dict[str, tuple[str, str]] = {
    "forward pedalling only": (
        "The motor helps only while you pedal forward.",
        "it pushed for {measured} s without forward pedalling, allowed is {limit} s"),
    "cut-off distance": (
        "When you stop pedalling, help ends within {limit} m.", "it went on for {measured} m"),
    "stop time": (
        "When you stop pedalling, help ends within the set time.", "it ended {measured} ms late"),
    "brake cut": (
        "A brake lever with a switch ends help at once.", "it took {measured} ms, allowed is {limit} ms"),
    "nudge run-on": (
        "A short push of the pedal gives no lasting help.",
        "it went on for {measured} s, allowed is {limit} s"),
    "rocking never engages": (
        "Rocking the pedals never starts the motor.", "it started {measured} times"),
    "rocking ends help": (
        "Rocking the pedals ends help like a stop.", "it went on for {measured} s, allowed is {limit} s"),
    "backward edges": (
        "Pedalling backward ends help at once.",
        "it took {measured} sensor steps backward, allowed are {limit}"),
    "steady help": (
        "Help stays while you pedal steadily.", "it dropped out {measured} times in one ride"),
    "no hunting at the thresholds": (
        "Slow pedalling does not switch help on and off.", "it switched on {measured} times"),
    "cut-off speed": (
        "Help ends at {limit} km/h or below.", "it went on up to {measured} km/h"),
    "no drive over speed": (
        "Well above the top speed the motor does not drive.", _NOTHING),
    "taper falls": (
        "Near the top speed, help never grows with speed.", "it rose by {measured} W"),
    "no hunting in the taper": (
        "Near the top speed help is steady.", "it swung by {measured} % of full help"),
    "start-up speed": (
        "The throttle alone stays below {limit} km/h.", "it reached {measured} km/h"),
    "throttle release": (
        "When the throttle closes, help ends within {limit} s.", "it took {measured} s"),
    "least speed to engage": (
        "Pedalling gives no help below the speed that the place asks for.",
        "it helped {measured} km/h below that"),
    "output range": (
        "The motor controller gets only voltages that it is made for.",
        "it got {measured_v} V, allowed are {limit_v} V"),
    "rise rate": (
        "Help grows gently.", "its signal grew by {measured_v} V/s, allowed are {limit_v} V/s"),
    "two actions to start": (
        "If you switch on with pedals turning or throttle open, there is no help.", _NOTHING),
    "first help": (
        "Help begins within {limit}° of crank rotation.", "it took {measured}°"),
    "engage edges": (
        "Help waits until the crank has turned by the set angle.", "it came {measured} sensor steps early"),
    "engage cadence": (
        "Help waits for the set pedalling speed.", "it came {measured} rpm early"),
    "selector shares": (
        "Each position of the switch gives its share of help.", "one was {measured} W off"),
    "power overshoot": (
        "The first push does not overshoot.", "it overshot by {measured} %, allowed are {limit} %"),
    "power settling": (
        "The power is steady after {limit} s.", "it took {measured} s"),
    "help resumed at speed": (
        "While rolling, help comes back within {limit} s.", "it took {measured} s"),
    "power when a slope begins": (
        "The start of a hill brings no burst of power.", "it brought {measured} J, allowed are {limit} J"),
    "surge": (
        "The power does not come and go.", "it swung by {measured} %, allowed are {limit} %"),
    "continuous power": (
        "Power stays within {limit} W.", "it reached {measured} W"),
    "battery fold-back": (
        "With a low battery, help gets weaker.", "it gave {measured} W too much"),
    "heat fold-back": (
        "With a hot motor, help gets weaker.", "it gave {measured} W too much"),
    "a fault stays": (
        "After a fault the motor stays off.", _NOTHING),
    "nothing from a standing crank": (
        "Whatever fails, there is no help while the pedals rest.", _NOTHING),
    "noise never engages": (
        "Electrical noise never starts the motor.", "it started {measured} times"),
    "lever wires": (
        "A broken throttle or switch wire ends help.", "it took {measured} ms, allowed are {limit} ms"),
    "wheel sensor lost": (
        "Without its wheel sensor the motor stops.", "it drove for {measured} s, allowed are {limit} s"),
    "shunt dead": (
        "A dead current sensor ends help.", "it took {measured} s, allowed is {limit} s"),
    "shunt stuck": (
        "A stuck current sensor does not keep the motor running.",
        "it ran for {measured} s, allowed is {limit} s"),
    "stalled loop": (
        "If the control board hangs, help ends.", "it took {measured} ms, allowed are {limit} ms"),
    "no jump after a stall": (
        "After the control board hung, help starts again from zero.", "it jumped by {measured_v} V"),
    "clock wrap": (
        "Help stays the same over hours of use.", "it changed by {measured_v} V"),
    "lost edges": (
        "If the control board misses pedal signals, help ends.", _NOTHING),
}  # fmt: skip


def said(row: RuleHeld) -> tuple[str, str]:
    """Return what should happen, and what the worst simulated ride did ("" where there was none)."""
    asks, found = OWNER_WORDS[row.rule]
    numbers = {"measured": plain(row.measured), "limit": plain(row.limit)}
    for name, value in (("measured_v", row.measured), ("limit_v", row.limit)):
        numbers[name] = plain(None if value is None else value / 1000.0)
    asks, found = (_BEFORE_A_UNIT.sub("\u00a0", text) for text in (asks, found))
    return asks.format(**numbers), "" if row.measured is None else found.format(**numbers)


def by_urgency(rows: Sequence[RuleHeld]) -> list[RuleHeld]:
    """Return the rules, those that a rider must know first in front."""
    urgent = {name: at for at, name in enumerate(MOST_URGENT)}
    return sorted(rows, key=lambda row: urgent.get(row.rule, len(urgent)))


def plain(value: float | None) -> str:
    """Return a number for people to read, never with an exponent."""
    if value is None:
        return "none"
    if abs(value) >= 100.0:
        return f"{value:.0f}"
    digits = 1 if abs(value) >= 10.0 else 2
    return f"{value:.{digits}f}".rstrip("0").rstrip(".")
