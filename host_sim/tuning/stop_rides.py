"""How far help continues after the legs stop at speed: measured on the bench, and as a formula."""

from dataclasses import dataclass

from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.bench.course import Course, course_from
from host_sim.bench.script import CourseScript
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.rules.fault_rides import CADENCE_RPM as FAULT_CADENCE_RPM
from host_sim.rules.fault_rides import columns_km_per_h
from host_sim.rules.riding import cutoff_km_per_h, on_roller
from host_sim.rules.stopping_probes import edge_gap_share
from host_sim.tuning.ride_start import rest_s
from host_sim.units import KM_PER_H_PER_M_PER_S

SPEED_SHARES = (0.4, 0.7, 0.97)  # Of the cut-off speed.
CADENCE_RPM = 60.0
PEDAL_S = 5.0
STOP_S = 3.0


@dataclass(frozen=True, slots=True)
class StopMeasures:
    """`distance_m` is the longest distance with help after the legs stopped, `run_on_s` the longest time."""

    distance_m: float
    run_on_s: float


def stop_course(bike: Bike) -> Course:
    """Return the ride: up to 60 rpm and a sudden stop at three speeds on a roller."""
    lines: Lines = [on_roller(5)]
    at_s = rest_s(bike) + 1.0
    for share in SPEED_SHARES:
        lines.append(
            {"at_s": at_s, "roller_km_per_h": share * cutoff_km_per_h(bike), "cadence_rpm": CADENCE_RPM}
        )
        lines.append({"at_s": at_s + PEDAL_S, "cadence_rpm": 0})
        at_s += PEDAL_S + STOP_S
    return course_from("stops", "Stops at three speeds", at_s, lines)


def measure_stops(bike: Bike, seed: int = 1) -> StopMeasures:
    """Ride it on the whole bench."""
    course = stop_course(bike)
    bench = bench_for(bike, seed)
    bench.ride(CourseScript(course), course.seconds)
    return StopMeasures(bench.meter.longest_cutoff_distance_m, bench.meter.longest_run_on_s)


def stop_gap_s(settings: Settings, speed_m_per_s: float, cadence_rpm: float) -> float:
    """Return the stop gap of firmware/decide/pedalling.py in s: the least of its three bounds."""
    by_release_s = 60.0 / (settings.pulses_per_rev * settings.release_rpm) * edge_gap_share(settings)
    by_pitch_s = 60.0 / (settings.pulses_per_rev * cadence_rpm) * settings.stop_pitch_percent / 100.0
    left_s = settings.cutoff_distance_mm / 1000.0 / speed_m_per_s - settings.motor_lag_ms / 1000.0
    return max(min(by_release_s, by_pitch_s, left_s - CONTROL_PERIOD_S), 0.0)


def way_with_help_m(settings: Settings, speed_m_per_s: float, cadence_rpm: float) -> float:
    """Return the distance from the last edge to the end of help in m, the fall of motor power included."""
    gap_s = stop_gap_s(settings, speed_m_per_s, cadence_rpm)
    return speed_m_per_s * (gap_s + CONTROL_PERIOD_S + settings.motor_lag_ms / 1000.0)


def way_with_wheel_lost_m(bike: Bike, stop_pitch_percent: int) -> float:
    """Return the distance with help in m after a stop when the wheel sensor has just failed.

    The cut-off distance can't be used then, since no speed is known: only the last measured pitch shows the
    stop. At cadence and highest speed of the fault matrix, as ridden there (one lag of the controller).
    """
    pitch_s = 60.0 / (bike.pedal_sensor.pulses_per_rev * FAULT_CADENCE_RPM)
    driving = [speed for speed in columns_km_per_h(bike) if speed < cutoff_km_per_h(bike)]
    speed_m_per_s = max(driving, default=cutoff_km_per_h(bike)) / KM_PER_H_PER_M_PER_S
    after_s = pitch_s * stop_pitch_percent / 100.0 + CONTROL_PERIOD_S + bike.motor_controller.lag_s
    return speed_m_per_s * after_s
