"""Captures in which the ring or a wire changes, and which of the inspection's statements are wrong.

The grid of `grid.py` has sensors that stay as they are. Here a magnet falls off, comes back or weakens, a
second one is lost, a channel dies, or the wires change places, between 15 and 90 % of the capture.
"""

from dataclasses import dataclass
from random import Random

from host_sim.bench.faults import FaultSpec
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.findings import Inspection
from tests.capture.identification.grid import first_magnet
from tests.capture.identification.truth import Sensor, record, uneven_errors_deg

LOST, BACK, SECOND_LOST, WEAKENS, DIES, SWAPPED = (
    "a magnet is lost",
    "a magnet comes back",
    "a second magnet is lost",
    "a magnet weakens",
    "a channel dies",
    "wires change places",
)
OF_THE_RING = (LOST, BACK, SECOND_LOST, WEAKENS)
PULSES = (5, 6, 8, 10, 12, 16, 20, 24, 32)
CADENCES_RPM = (30.0, 45.0, 60.0, 80.0)


@dataclass(frozen=True, slots=True)
class ChangingCase:
    """One case: what happens to this sensor at `at_s`; `missing`, `weak`: magnets as captures number them."""

    number: int
    sensor: Sensor
    happens: str
    at_s: float
    missing: list[int]
    weak: list[int]


def changing_case(number: int) -> ChangingCase:
    """Return case `number`, 0 or more; the same number is always the same case."""
    random = Random(number)
    two = random.random() < 0.6
    happens = random.choice((*OF_THE_RING, DIES, SWAPPED) if two else OF_THE_RING)
    pulses, seconds = random.choice(PULSES), random.choice((40.0, 60.0))
    at_s = round(random.uniform(0.15, 0.9) * seconds, 2)
    magnet, unevenness = random.randint(1, pulses), random.choice((0.0, 0.03, 0.06))
    noise = (FaultSpec("noise", per_s=5.0),) if random.random() < 0.25 else ()
    before, after = _faults(happens, magnet, (magnet + 1) % pulses + 1, random.choice("AB"))
    sensor = Sensor(
        kind="two channels" if two else "one channel",
        pulses=pulses,
        errors_deg=uneven_errors_deg(pulses, unevenness, number) if unevenness else (),
        rpm=random.choice(CADENCES_RPM),
        ripple=random.choice((0.05, 0.15)),
        seconds=seconds,
        seed=number,
        faults=(*noise, *before),
        later=((at_s, (*noise, *after)),),
    )
    first = first_magnet(sensor, magnet if before else 0)
    gone = {spec.magnet for spec in (*before, *after) if spec.name == "magnet missing"}
    weak = {spec.magnet for spec in after if spec.name == "magnet weak"}
    missing, narrow = (sorted((one - first) % pulses + 1 for one in numbers) for numbers in (gone, weak))
    return ChangingCase(number, sensor, happens, at_s, missing, narrow)


def _faults(
    happens: str, magnet: int, other: int, channel: str
) -> tuple[tuple[FaultSpec, ...], tuple[FaultSpec, ...]]:
    """Return the faults before and after."""
    lost, second = FaultSpec("magnet missing", magnet=magnet), FaultSpec("magnet missing", magnet=other)
    return {
        LOST: ((), (lost,)),
        BACK: ((lost,), ()),
        SECOND_LOST: ((lost,), (lost, second)),
        WEAKENS: ((), (FaultSpec("magnet weak", magnet=magnet, strength=0.6),)),
        DIES: ((), (FaultSpec("channel dead", channel=channel),)),
        SWAPPED: ((), (FaultSpec("channels swapped"),)),
    }[happens]


def inspect_changing(case: ChangingCase) -> Inspection:
    """Record and inspect a case without hints."""
    return inspect_edges(record(case.sensor).source, 2 if case.sensor.kind == "two channels" else 1, Told())


def stated_wrong(case: ChangingCase, found: Inspection) -> list[str]:
    """Return the names of the findings that are stated but wrong."""
    wrong = []
    if found.kind.sure and found.kind.value != case.sensor.kind:
        wrong.append("kind")
    if found.pulses.sure and found.pulses.value != case.sensor.pulses:
        wrong.append("pulses per revolution")
    if found.missing.sure and found.missing.value != case.missing:
        wrong.append("missing magnets")
    if found.weak.sure and found.weak.value != case.weak:
        wrong.append("weak magnets")
    if found.lead.sure:
        wrong.append("lead")
    if bool(found.channels.dead) != (case.happens == DIES):
        wrong.append("dead channel")
    if found.changes and case.happens not in OF_THE_RING:
        wrong.append("change of the ring")
    return wrong


def change_noticed(case: ChangingCase, found: Inspection) -> bool:
    """Whether a change of the ring or of a channel is reported within three turns of its time."""
    room_s = 3.0 * 60.0 / case.sensor.rpm + 0.5
    times_s = [change.at_s for change in found.changes]
    if case.happens == DIES:
        times_s = [found.channels.dead_since_s]
    if case.happens == SWAPPED:
        times_s = found.turned_s
    return any(abs(time_s - case.at_s) <= room_s for time_s in times_s)
