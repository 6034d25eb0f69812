"""Cases by number: each has a ring, legs, a fault, and the truth about them."""

from dataclasses import dataclass, field, replace
from random import Random

from tests.capture.halls.legs import Legs
from tests.capture.halls.ring import Magnets
from tests.capture.halls.wires import Capture

CLASSES = (
    "healthy, two channels",
    "healthy, one channel",
    "one channel lacks a magnet",
    "a magnet weak on one channel",
    "a magnet missing",
    "a magnet weak",
    "overlap too brief",
    "overlap brief, still enough",
    "one channel, one strong leg",
    "a wire dead from the start",
    "rocked and reversed",
    "four magnets, swinging legs",
    "no overlap, with stops",
    "bounce and noise",
    "bounce",
    "noise",
    "a magnet lost on the way",
)
PULSES = (6, 8, 10, 12, 16, 20, 24, 32)
RPM = (35.0, 50.0, 65.0, 80.0)
NOT_FIT = {
    "one channel lacks a magnet",
    "a magnet weak on one channel",
    "a magnet missing",
    "a magnet weak",
    "overlap too brief",
    "a wire dead from the start",
    "no overlap, with stops",
    "bounce and noise",
    "bounce",
    "a magnet lost on the way",
}


@dataclass(frozen=True, slots=True)
class Case:
    """One capture with its truth: the class, and the magnet (0: none) and channel that have the fault."""

    number: int
    name: str
    capture: Capture
    magnet: int = 0
    channel: int = 0
    lead: str = "A"
    weak_strength: float = field(default=1.0)


def case(number: int) -> Case:
    """Return case `number`, always the same one; the classes alternate."""
    random = Random(f"case {number}")
    name = CLASSES[number % len(CLASSES)]
    count = random.choice(PULSES)
    magnet, channel = random.randint(1, count), random.randint(0, 1)
    ring = Magnets(
        count,
        duty=random.uniform(0.4, 0.6),
        phase=random.uniform(70.0, 110.0) / 360.0,
        places=_places(count, random.choice((0.005, 0.02, 0.04)), random),
    )
    legs = Legs(
        (("turn", random.uniform(25.0, 45.0), random.choice(RPM)),),
        swing=random.choice((0.0, 0.08, 0.16, 0.22)),
        lame=random.choice((0.0, 0.0, 0.05, 0.1)),
    )
    capture = Capture(ring, legs, seed=number, b_leads=random.random() < 0.5)
    capture = replace(capture, clock_ns=random.choice((100, 1000, 10_000)))
    made = Case(number, name, capture, magnet, channel, "B" if capture.b_leads else "A")
    return _spoiled(made, random)


def _places(count: int, uneven: float, random: Random) -> tuple[float, ...]:
    return tuple(random.uniform(-uneven, uneven) for _ in range(count))


def _spoiled(made: Case, random: Random) -> Case:
    """Return the case with the fault of its class."""
    name, ring, legs, magnet = made.name, made.capture.ring, made.capture.legs, made.magnet
    one = {magnet: random.uniform(0.0, 0.36)}
    less = {magnet: random.uniform(0.5, 0.62)}
    none: dict[int, float] = {}
    capture = made.capture
    if name == "healthy, one channel":
        capture = replace(capture, channels=1, b_leads=False)
    elif name == "one channel lacks a magnet":
        capture = replace(
            capture, ring=replace(ring, strengths=(one, none) if made.channel == 0 else (none, one))
        )
    elif name == "a magnet weak on one channel":
        capture = replace(
            capture, ring=replace(ring, strengths=(less, none) if made.channel == 0 else (none, less))
        )
    elif name == "a magnet missing":
        channels = random.choice((1, 2, 2))
        capture = replace(
            capture, ring=replace(ring, strengths=({magnet: 0.0}, {magnet: 0.0})), channels=channels
        )
        capture = replace(capture, b_leads=capture.b_leads and channels == 2)
    elif name == "a magnet weak":
        capture = replace(capture, ring=replace(ring, strengths=(less, less)))
    elif name == "overlap too brief":
        share = random.uniform(0.003, 0.02)
        duty = random.uniform(0.14, 0.2)
        capture = replace(
            capture,
            ring=replace(ring, duty=duty, phase=duty - share, places=_places(ring.count, 0.005, random)),
        )
    elif name == "overlap brief, still enough":
        share = random.uniform(0.045, 0.08)
        duty = random.uniform(0.2, 0.3)
        capture = replace(
            capture,
            ring=replace(ring, duty=duty, phase=duty - share, places=_places(ring.count, 0.005, random)),
        )
    elif name == "one channel, one strong leg":
        strong = replace(legs, lame=random.uniform(0.2, 0.35), swing=random.choice((0.0, 0.1)))
        capture = replace(capture, channels=1, b_leads=False, legs=strong)
    elif name == "a wire dead from the start":
        capture = replace(capture, dead=(made.channel,))
    elif name == "rocked and reversed":
        capture = replace(capture, legs=replace(legs, plan=_to_and_fro(random)))
    elif name == "four magnets, swinging legs":
        four = replace(ring, count=4, places=_places(4, 0.04, random))
        capture = replace(capture, ring=four, legs=replace(legs, swing=0.28))
        return replace(made, capture=capture, magnet=0)
    elif name == "no overlap, with stops":
        duty = random.uniform(0.15, 0.2)
        strengths = ({magnet: 0.0}, {magnet: 0.0})
        stops = (
            ("turn", 10.0, 60.0),
            ("stand", 2.0),
            ("turn", 9.0, 50.0),
            ("stand", 3.0),
            ("turn", 10.0, 60.0),
        )
        capture = replace(
            capture,
            ring=replace(ring, duty=duty, phase=0.25, strengths=strengths),
            legs=replace(legs, plan=stops),
        )
    elif name in ("bounce and noise", "bounce", "noise"):
        capture = replace(capture, bounce="bounce" in name, noise_per_s=4.0 if "noise" in name else 0.0)
    elif name == "a magnet lost on the way":
        seconds = float(str(legs.plan[0][1]))
        gone = replace(ring, strengths=({magnet: 0.0}, {magnet: 0.0}))
        capture = replace(capture, later=(seconds * random.uniform(0.3, 0.75), gone))
    return replace(made, capture=capture)


def _to_and_fro(random: Random) -> tuple[tuple[object, ...], ...]:
    plan: list[tuple[object, ...]] = [("turn", random.uniform(9.0, 12.0), random.choice(RPM))]
    for _ in range(random.randint(2, 4)):
        plan.append(("stand", random.uniform(0.8, 2.0)))
        plan.append(("rock", random.uniform(1.0, 4.0), random.uniform(3.0, 40.0)))
        if random.random() < 0.6:
            plan.append(("turn", random.uniform(2.0, 5.0), -random.uniform(25.0, 50.0)))
        plan.append(("turn", random.uniform(5.0, 10.0), random.choice(RPM)))
    return tuple(plan)
