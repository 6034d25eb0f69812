"""The running measures of a sweep's ride, against the rules' own probes on the same ride, and by hand."""

import pytest

from host_sim.bench.assemble import bench_for
from host_sim.bench.ride_measures import NOT_SEEN, RideMeasures
from host_sim.bench.script import CourseScript
from host_sim.bikes.load import load_bike
from host_sim.rules.case import Case
from host_sim.rules.driving_probes import ContinuousPower, FirstHelpAngle, Settling, Surge, Tracking
from host_sim.rules.stopping import CutoffDistance
from host_sim.sweeping.metrics import COLUMNS, ride_metrics, standard_course
from tests.ride.riding import bike_with

STOP_S = 54.0


def probed(bike):
    """Ride the standard course up to its stop, and a second ride to its end, with the rules' probes."""
    course = standard_course(bike, 60.0)
    until_stop = Case(bike, course, 1)
    until_stop.course.seconds = STOP_S
    probes = [kind(until_stop) for kind in (Tracking, Settling, Surge, ContinuousPower, FirstHelpAngle)]
    bench = bench_for(bike, 1)
    for probe in probes:
        bench.watch(probe)
    bench.ride(CourseScript(course), STOP_S)
    whole = CutoffDistance(Case(bike, standard_course(bike, 60.0), 1))
    bench = bench_for(bike, 1)
    bench.watch(whole)
    bench.ride(CourseScript(standard_course(bike, 60.0)), 60.0)
    for probe in (*probes, whole):
        probe.end()
    return [probe.measured for probe in (*probes, whole)]


@pytest.mark.parametrize("name", ["cargo_trike", "tandem", "folding"])
def test_measures_are_those_of_the_rules_probes(name):
    bike = load_bike(name)
    metrics = ride_metrics(bike)
    overshoot, settling, surge, mean, first_help, cutoff = probed(bike)
    assert metrics["overshoot_percent"] == pytest.approx(overshoot, abs=1e-9)
    assert metrics["settling_s"] == pytest.approx(settling, abs=1e-9)
    assert metrics["surge_percent"] == pytest.approx(surge, abs=1e-9)
    assert metrics["first_help_deg"] == pytest.approx(first_help, abs=1e-9)
    assert metrics["cutoff_distance_m"] == pytest.approx(cutoff, abs=1e-9)
    # A mean by tenths of a second against one by periods.
    assert metrics["mean_power_w"] == pytest.approx(mean, rel=2e-3)


def test_every_column_is_there_and_a_margin_is_limit_less_measure():
    metrics = ride_metrics(load_bike("cargo_trike"))
    assert tuple(metrics) == COLUMNS
    assert metrics["margin_surge_percent"] == pytest.approx(15.0 - metrics["surge_percent"])
    assert metrics["margin_settling_s"] == pytest.approx(8.0 - metrics["settling_s"])
    # All of its levers have switches: 5 m by EN 15194 4.2.13.1 c, by the parallel text TBIS 15194:2019.
    assert metrics["margin_cutoff_distance_m"] == pytest.approx(5.0 - metrics["cutoff_distance_m"])


def test_a_rule_without_object_has_no_margin():
    metrics = ride_metrics(load_bike("folding"))
    assert metrics["margin_surge_percent"] is None
    # British Columbia: no help below 3 km/h, so from a standstill the angle says nothing.
    assert ride_metrics(load_bike("tandem"))["margin_first_help_deg"] is None


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
