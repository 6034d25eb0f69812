"""Logs of random bicycles, made by `roads`, and what is measured from them."""

from host_sim.measuring.coast_down import CoastFit, fit_coast_downs
from host_sim.measuring.coast_runs import coast_runs
from host_sim.measuring.elevation import RideFit, fit_rides
from host_sim.measuring.log import Log
from host_sim.measuring.road_law import Masses
from tests.measuring import roads
from tests.measuring.roads import Truth

__all__ = ["Truth", "coasted", "masses", "measured", "measured_on_a_ride"]


def masses(truth):
    return Masses(truth.mass_kg, roads.WHEELS_KG, roads.AIR_KG_PER_M3)


def coasted(truth, random, runs=6):
    """Return one log per run, alternately there and back."""
    logs = []
    for place in range(runs):
        time_s, speed = roads.coasted(truth, random, 1 if place % 2 == 0 else -1)
        logs.append(Log(f"run{place}.csv", {"time_s": time_s, "speed_m_per_s": speed}))
    return logs


def measured(truth, random) -> CoastFit:
    logs = coasted(truth, random)
    return fit_coast_downs([run for log in logs for run in coast_runs(log)], masses(truth))


def measured_on_a_ride(truth, random) -> RideFit:
    return fit_rides([Log("ride.csv", roads.ridden(truth, random))], masses(truth), roads.CHAIN)
