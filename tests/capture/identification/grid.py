"""The grid: rings, legs, noise and faults drawn from it one by one, each by its number."""

from dataclasses import dataclass
from random import Random

from host_sim.bench.faults import FaultSpec
from tests.capture.identification.truth import Sensor, uneven_errors_deg

PULSES = (4, 5, 6, 8, 10, 12, 16, 20, 24, 32)
CADENCES_RPM = (15, 30, 60, 90, 120)
DUTIES_PERCENT = (20, 35, 50, 65, 80)
PHASES_DEG = (40, 65, 90, 115, 140)
NOISE_PER_S = (0, 0, 5, 20)
RIPPLES = (0.0, 0.05, 0.1, 0.2)
UNEVENNESS = (0.0, 0.01, 0.03, 0.06)  # Shares of a pitch, to either side.
SECONDS = 40.0
BACKWARD_S = 10.0
STRENGTHS = (0.4, 0.5, 0.6, 0.7)
KINDS = ("two channels",) * 12 + ("one channel",) * 5 + ("duty-coded",) * 3
FAULTS = ("none",) * 10 + ("missing",) * 3 + ("weak",) * 3 + ("dead",) * 2 + ("bounce",) * 2
TURNS_TOLD_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class Case:
    """One capture of the grid: the sensor, the fault by its name, and what its user gives.

    `turns_off` is None if no turns are given, else by how many the count is off.
    """

    number: int
    sensor: Sensor
    fault: str
    magnet: int
    unevenness: float
    turns_off: float | None


def case(number: int) -> Case:
    """Return case `number` of the grid, 0 or more; the same number is always the same case."""
    random = Random(number)
    kind = random.choice(KINDS)
    pulses = random.choice(PULSES)
    fault = random.choice(FAULTS)
    if fault == "dead" and kind != "two channels":
        fault = "none"
    unevenness = random.choice(UNEVENNESS)
    duties = [duty for duty in DUTIES_PERCENT if kind != "duty-coded" or duty != 50]
    noise_per_s = 0 if fault == "bounce" else random.choice(NOISE_PER_S)
    magnet = random.randint(1, pulses)
    faults = _faults(fault, magnet, random.choice(STRENGTHS))
    if noise_per_s:
        faults.append(FaultSpec("noise", per_s=noise_per_s))
    told = random.random() < TURNS_TOLD_SHARE
    backward = not told and random.random() < (0.6 if kind == "duty-coded" else 0.2)
    sensor = Sensor(
        kind=kind,
        pulses=pulses,
        a_leads=random.random() < 0.5,
        duty_percent=random.choice(duties),
        phase_deg=random.choice(PHASES_DEG),
        errors_deg=uneven_errors_deg(pulses, unevenness, number) if unevenness else (),
        rpm=random.choice(CADENCES_RPM),
        ripple=random.choice(RIPPLES),
        seconds=SECONDS,
        backward_s=BACKWARD_S if backward else 0.0,
        seed=number,
        faults=tuple(faults),
    )
    return Case(number, sensor, fault, magnet, unevenness, random.uniform(-0.08, 0.08) if told else None)


def _faults(fault: str, magnet: int, strength: float) -> list[FaultSpec]:
    if fault == "missing":
        return [FaultSpec("magnet missing", magnet=magnet)]
    if fault == "weak":
        return [FaultSpec("magnet weak", magnet=magnet, strength=strength)]
    if fault == "dead":
        return [FaultSpec("channel dead", channel="B")]
    return [FaultSpec("bounce")] if fault == "bounce" else []


def first_magnet(sensor: Sensor, missing: int) -> int:
    """Return the magnet of the bench (from 1) that rises first: the capture's magnet 1."""
    duty = sensor.duty_percent / 100.0
    starts: list[tuple[float, int]] = []
    for magnet in range(1, sensor.pulses + 1):
        if magnet == missing:
            continue
        error = sensor.errors_deg[magnet - 1] * sensor.pulses / 360.0 if sensor.errors_deg else 0.0
        width = duty
        for spec in sensor.faults:
            if spec.name == "magnet weak" and spec.magnet == magnet:
                width = duty * spec.strength
        start = magnet - 0.5 + error - 0.5 * width
        if sensor.kind == "duty-coded":
            start = magnet - 0.95 + error
        elif sensor.kind == "one channel" and not sensor.a_leads:
            start += sensor.phase_deg / 720.0
        else:
            start -= sensor.phase_deg / 720.0
        starts.append((start % sensor.pulses, magnet))
    return min(starts)[1]
