"""The running measures of a sweep's ride, against the rules' own probes on the same ride, and by hand."""

from math import pi

import pytest

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import Course
from host_sim.bench.ride_measures import NOT_SEEN, RideMeasures
from host_sim.bikes.load import load_bike
from host_sim.rules.case import Case
from host_sim.rules.driving_probes import ContinuousPower, FirstHelpAngle, Settling, Surge, Tracking
from host_sim.rules.stopping import CutoffDistance
from host_sim.sweeping.metrics import MEASURES, ride_metrics
from host_sim.sweeping.ride_script import STOPS, SweepScript, first_stop_s
from tests.quick_first import quick_first
from tests.ride.riding import bike_with


def probed(bike):
    """Ride the sweep's course up to its first stop, and a second time to its end, with the rules' probes."""
    stop_s = first_stop_s(bike, 60.0)
    until_stop = Case(bike, Course("sweep", "", stop_s, []), 1)
    kinds = (Tracking, Settling, Surge, ContinuousPower, FirstHelpAngle)
    probes = ridden(bike, [kind(until_stop) for kind in kinds], stop_s)
    whole = ridden(bike, [CutoffDistance(Case(bike, Course("sweep", "", 60.0, []), 1))], 60.0)
    return [probe.measured for probe in (*probes, *whole)]


def ridden(bike, probes, seconds):
    bench = bench_for(bike, 1)
    for probe in probes:
        bench.watch(probe)
    bench.ride(SweepScript(bike, 60.0), seconds)
    for probe in probes:
        probe.end()
    return probes


@pytest.mark.parametrize("name", quick_first(2, ["cargo_trike", "folding", "tandem"]))
def test_measures_are_those_of_the_rules_probes(name):
    bike = load_bike(name)
    metrics = ride_metrics(bike)
    overshoot, settling, surge, mean, first_help, cutoff = probed(bike)
    if bike.shunt.fitted:
        assert metrics["overshoot_percent"] == pytest.approx(overshoot, abs=1e-9)
        assert metrics["settling_s"] == pytest.approx(settling, abs=1e-9)
    assert metrics["surge_percent"] == pytest.approx(surge, abs=1e-9)
    assert metrics["first_help_deg"] == pytest.approx(first_help, abs=1e-9)
    assert metrics["cutoff_distance_m"] == pytest.approx(cutoff, abs=1e-9)
    # A mean by tenths of a second against one by periods.
    assert metrics["mean_power_w"] == pytest.approx(mean, rel=2e-3)


def test_every_measure_is_there():
    assert tuple(ride_metrics(load_bike("cargo_trike"))) == tuple(MEASURES)


def test_without_a_shunt_the_power_neither_overshoots_nor_settles():
    metrics = ride_metrics(load_bike("folding"))
    assert metrics["overshoot_percent"] is None
    assert metrics["settling_s"] is None


@pytest.mark.parametrize("seconds", quick_first(1, [30.0, 60.0]))
@pytest.mark.parametrize("name", ["cargo_trike", "folding"])
def test_stop_time_is_the_mean_over_places_of_the_crank(name, seconds):
    # With a single stop it went from 0.080 to 0.150 s on the trike, by the place of the crank alone.
    times_s = []
    for rise_mv_per_s in (450, 900, 1700, 2600, 3500):
        bike = bike_with(name, settings={"rise_mv_per_s": rise_mv_per_s})
        times_s.append(ride_metrics(bike, seconds)["stop_time_s"])
    assert max(times_s) - min(times_s) < 0.015


@pytest.mark.long
def test_what_is_chance_moves_the_stop_time_less_than_one_stop_does():
    class Stops(CutoffDistance):
        """Where the crank is when a stop begins, in pitches of the ring."""

        def begin(self, world, controller):
            super().begin(world, controller)
            self.places = []
            self.turning = False

        def look(self, outputs):
            turning = self.world.rider.target_rad_per_s > 0.0
            if self.turning and not turning:
                self.places.append(self.world.rider.crank_rad / (2.0 * pi) * 10 % 1.0)
            self.turning = turning

    bike = load_bike("cargo_trike")
    assert bike.firmware_settings.pulses_per_rev == 10
    [stops] = ridden(bike, [Stops(Case(bike, Course("sweep", "", 60.0, []), 1))], 60.0)
    assert len(stops.places) == STOPS
    # Evenly spread over a pitch: every fifth has one.
    assert sorted(round(place * STOPS) % STOPS for place in stops.places) == [0, 1, 2, 3, 4]
    # Magnets are uneven, so it matters a little which one passed last: one stop moves by 0.07 s.
    shifted_s = [ride_metrics(bike, shift=shift / 4)["stop_time_s"] for shift in range(4)]
    # Five places of ten uneven pitches leave a third of that.
    assert max(shifted_s) - min(shifted_s) == pytest.approx(0.026, abs=0.001)


def test_a_quicker_rise_engages_sooner_and_jerks_more():
    slow = ride_metrics(bike_with(settings={"rise_mv_per_s": 200}))
    quick = ride_metrics(bike_with(settings={"rise_mv_per_s": 5000}))
    assert quick["engage_s"] < slow["engage_s"]
    assert quick["jerk_m_per_s3"] > 5.0 * slow["jerk_m_per_s3"]


def test_the_jerk_is_the_rise_of_the_push_over_a_tenth_of_a_second_by_the_mass():
    measures = RideMeasures(mass_kg=100.0, stop_us=0)
    for force_n in [0.0] * 20 + [5.0 * step for step in range(30)]:
        measures._push(force_n)
    # 5 N every 5 ms is 100 N in 0.1 s: 1000 N/s, by 100 kg.
    assert measures.jerk_m_per_s3 == pytest.approx(10.0)


def test_a_ride_without_help_has_no_measure_of_help():
    metrics = ride_metrics(bike_with(settings={"assist_power_w": 0}))
    assert metrics["engage_s"] is None
    assert metrics["jerk_m_per_s3"] is None
    assert metrics["cutoff_distance_m"] is None
    assert metrics["assist_wh"] == 0.0
    assert RideMeasures(100.0, 0).surge_share == NOT_SEEN


def test_a_later_stop_of_help_shows_in_the_stop_time():
    # One channel of six magnets: the stop gap is all that tells.
    early = ride_metrics(bike_with("folding", settings={"stop_pitch_percent": 110}))
    late = ride_metrics(bike_with("folding", settings={"stop_pitch_percent": 400}))
    assert late["stop_time_s"] > early["stop_time_s"] + 0.05
    assert late["run_on_s"] > early["run_on_s"] + 0.05
