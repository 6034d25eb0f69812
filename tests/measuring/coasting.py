"""Random bicycles that coast there and back, as the plant rolls them: gusty wind, grade, noise."""

from math import exp, pi, sqrt

import numpy as np

from host_sim.measuring.coast_down import CoastFit, fit_coast_downs
from host_sim.measuring.coast_runs import coast_runs
from host_sim.measuring.log import Log
from host_sim.measuring.road_law import Masses
from host_sim.plant.bicycle import Bicycle

STEP_S = 0.1
GUST_S = 3.0
AROUND_M = 2.1
INERTIA_KG_M2 = 0.2
SPEED_NOISE_M_PER_S = 0.03


class Truth:
    """What a bicycle is, and the road and wind of its afternoon."""

    def __init__(self, random):
        self.mass_kg = random.uniform(85.0, 220.0)
        self.crr = random.uniform(0.004, 0.011)
        self.cda_m2 = random.uniform(0.35, 0.8)
        self.wind_m_per_s = random.uniform(-1.5, 1.5)
        self.gust_m_per_s = random.uniform(0.0, 0.5)
        self.grade = random.uniform(-0.002, 0.002)

    @property
    def masses(self):
        return Masses(self.mass_kg, INERTIA_KG_M2 * (2.0 * pi / AROUND_M) ** 2, 1.2)


def coasted(truth, random, runs=6):
    """Return one log a run, there and back in turn."""
    return [_run(truth, random, 1 if place % 2 == 0 else -1, place) for place in range(runs)]


def _run(truth, random, sign, place):
    bicycle = Bicycle(truth.mass_kg, truth.cda_m2, truth.crr, AROUND_M, INERTIA_KG_M2, 4.0)
    bicycle.speed_m_per_s = random.uniform(7.5, 9.5)
    gust_m_per_s = random.normal() * truth.gust_m_per_s
    kept = exp(-STEP_S / GUST_S)
    speeds: list[float] = []
    while bicycle.speed_m_per_s > 1.0 and len(speeds) < 2500:
        speeds.append(bicycle.speed_m_per_s + random.normal() * SPEED_NOISE_M_PER_S)
        bicycle.step(0.0, 0.0, sign * truth.grade, sign * truth.wind_m_per_s + gust_m_per_s, STEP_S)
        gust_m_per_s *= kept
        gust_m_per_s += truth.gust_m_per_s * sqrt(1.0 - kept * kept) * random.normal()
    times = np.arange(len(speeds), dtype=np.float64) * STEP_S
    return Log(f"run{place}.csv", {"time_s": times, "speed_m_per_s": np.array(speeds)})


def measured(truth, random) -> CoastFit:
    logs = coasted(truth, random)
    return fit_coast_downs([run for log in logs for run in coast_runs(log)], truth.masses)
