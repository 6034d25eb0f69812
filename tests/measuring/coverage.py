"""How often the intervals of each measurement contain the truth of random bicycles."""

import numpy as np

from host_sim.measuring.estimate import NotEnoughError
from host_sim.measuring.load_steps import fit_load_steps
from host_sim.measuring.log import Log
from host_sim.measuring.stand_run import fit_stand_run
from host_sim.measuring.stand_search import Guess
from host_sim.measuring.workshop import circumference, straight_line
from host_sim.plant.battery import Battery
from tests.measuring.coasting import Truth, measured, measured_on_a_ride
from tests.measuring.spinning import Logger, Spin, logged


def coast_down(random):
    """Return pairs of estimate and truth by name, as all functions below do."""
    return _road(measured, random)


def ride(random):
    return _road(measured_on_a_ride, random)


def _road(measure, random):
    truth = Truth(random)
    fit = measure(truth, random)
    return {"crr": (fit.crr, truth.crr), "cda_m2": (fit.cda_m2, truth.cda_m2)}


def load_steps(random):
    ohm, full_v, empty_v, capacity_ah = (
        random.uniform(0.05, 0.25),
        random.uniform(40.0, 56.0),
        random.uniform(30.0, 38.0),
        random.uniform(8.0, 20.0),
    )
    battery = Battery(full_v, empty_v, capacity_ah, ohm, random.uniform(0.5, 1.0))
    first_v = battery.open_circuit_v()
    current_a = np.where(np.arange(1200) // 100 % 2 == 1, random.uniform(5.0, 14.0), random.uniform(0.0, 0.5))
    volts = []
    for value in current_a:
        battery.step(float(value), 0.1)
        volts.append(battery.voltage_v + random.normal() * 0.03)
    read_a = np.asarray(current_a + random.normal(size=1200) * 0.06, dtype=np.float64)
    log = Log("steps", {"time_s": np.arange(1200.0) * 0.1, "battery_v": np.array(volts), "current_a": read_a})
    fit = fit_load_steps(log)
    return {"pack_resistance_ohm": (fit.resistance_ohm, ohm), "no_load_v": (fit.no_load_v, first_v)}


def pushed(random):
    around_m = random.uniform(1.5, 2.3)
    pushes = [(10.0 * around_m + random.normal() * 0.02, 10.0) for _ in range(3)]
    return {"wheel_circumference_m": (circumference(pushes).slope, around_m)}


def known(random):
    scale, offset = random.uniform(0.9, 1.1), random.uniform(-0.5, 0.5)
    readings = (10.0, 20.0, 30.0, 40.0)
    points = [(reading, scale * reading + offset + random.normal() * 0.02) for reading in readings]
    found = straight_line(points, "V")
    return {"scale": (found.slope, scale), "offset": (found.at_zero, offset)}


def stand(random):
    """Return each number of a random motor under its kind; the bike file is wrong by up to a third."""
    spin = Spin.random(random)
    guess = Guess(
        spin.full_v * random.uniform(0.85, 1.15),
        spin.motor_limit_a * random.uniform(0.7, 1.3),
        spin.ohm * random.uniform(0.8, 1.2),
        spin.no_load_a * random.uniform(0.8, 1.2),
    )
    half_sample_s = 0.5 * Logger().step_s
    log = logged(spin, random, Logger(skewed_s=random.uniform(-half_sample_s, half_sample_s)))
    fit = fit_stand_run(log, guess)
    assert fit.kind == spin.kind
    return {f"{fit.kind} {name}": (one, spin.truth[name]) for name, one in fit.numbers.items()}


KINDS = {
    "coast-down": coast_down,
    "ride": ride,
    "stand": stand,
    "load-steps": load_steps,
    "pushed": pushed,
    "known": known,
}


def table(kind, count, seed):
    """Return by name: how many, the share of intervals with the truth, and the median relative error."""
    random = np.random.default_rng(seed)
    held: dict[str, list[bool]] = {}
    errors: dict[str, list[float]] = {}
    for _ in range(count):
        try:
            pairs = KINDS[kind](random)
        except NotEnoughError:
            continue
        for name, (estimate, truth) in pairs.items():
            held.setdefault(name, []).append(estimate.low <= truth <= estimate.high)
            errors.setdefault(name, []).append(abs(estimate.value / truth - 1.0))
    return {name: (len(held[name]), np.mean(held[name]), np.median(errors[name])) for name in sorted(held)}
