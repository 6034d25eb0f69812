"""The recommendation for one bicycle: all choices with reasons, measured before and after."""

from collections.abc import Callable
from dataclasses import dataclass

from firmware.settings import Settings
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.tuning import levers
from host_sim.tuning.drive import DriveBench, DriveChoice, DriveSettings, choose_drive, with_kept
from host_sim.tuning.identify import IdentifiedPlant, identify
from host_sim.tuning.loop_report import LoopReport, loop_report
from host_sim.tuning.measures import Measures, measure
from host_sim.tuning.release_rides import ReleaseRides
from host_sim.tuning.score import Priority
from host_sim.tuning.thresholds import EngageChoice, ReleaseChoice, choose_engage, choose_release
from host_sim.tuning.variant import with_settings

STAGES = 8
Done = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Tuned:
    """The results of tuning: `bike` as it is, `tuned` with `changes` of settings and `shares_percent`."""

    bike: Bike
    tuned: Bike
    priority: Priority
    changes: dict[str, int]
    shares_percent: list[float] | None
    plants: list[IdentifiedPlant]
    engage: EngageChoice
    release: ReleaseChoice
    drive: DriveChoice
    loop: LoopReport | None
    before: Measures
    after: Measures


def tune_bike(bike: Bike, priority: Priority, done: Done, seed: int = 1, keep: tuple[str, ...] = ()) -> Tuned:
    """Compute everything; `done(stage, STAGES)` reports progress. Settings in `keep` are not changed."""
    corrections = sensor_corrections(bike)
    base = with_settings(bike, corrections) if corrections else bike
    engage = choose_engage(base, priority, seed)
    done(1, STAGES)
    rides = ReleaseRides(base, seed)
    now = bike.firmware_settings
    engage_rpm = now.engage_rpm if "engage_rpm" in keep else engage.chosen.engage_rpm
    release = choose_release(base, engage_rpm, rides)
    done(2, STAGES)
    plants = identify(base, seed)
    done(3, STAGES)
    drive = with_kept(choose_drive(base, plants, priority, seed), base, plants, priority, seed, keep)
    done(4, STAGES)
    changes = {
        **corrections,
        "engage_edges": engage.chosen.engage_edges,
        "engage_rpm": engage_rpm,
        "release_rpm": release.chosen.release_rpm,
        "stop_pitch_percent": release.chosen.stop_pitch_percent,
        **drive.chosen.settings.changes(bike),
        **_levers(bike),
    }
    changes |= {name: getattr(now, name) for name in keep if name in changes}
    shares = [step.share_percent for step in levers.selector_shares(bike)] or None
    parts = (
        {} if shares is None else {"selector": bike.selector.model_copy(update={"shares_percent": shares})}
    )
    tuned = with_settings(bike, changes, parts)
    bench = DriveBench(bike, plants, priority, seed)
    now_sensitivity = bench.sensitivity(settings_now(bike).gains)
    before = measure(bike, rides, engage_rpm, now_sensitivity, priority, seed)
    done(5, STAGES)
    after = measure(tuned, rides, now.engage_rpm, drive.chosen.sensitivity, priority, seed)
    done(6, STAGES)
    loop = loop_report(base, plants, drive, after.drive, seed) if plants else None
    done(7, STAGES)
    return Tuned(bike, tuned, priority, changes, shares, plants, engage, release, drive, loop, before, after)


def settings_now(bike: Bike) -> DriveSettings:
    """Return the bicycle's present values of the settings that `drive` chooses."""
    now = bike.firmware_settings
    return DriveSettings(now.rise_mv_per_s, now.gain_uv_per_w, now.integral_ms)


def plain_settings(bike: Bike) -> Settings:
    """Return the settings that follow from the parts and the place, without the bike file's [settings]."""
    return settings_from(bike.model_copy(update={"settings": {}}), bike.place_profile)


def sensor_corrections(bike: Bike) -> dict[str, int]:
    """Return what in [settings] contradicts the description of the sensor; this prevents tuning."""
    plain, now = plain_settings(bike), bike.firmware_settings
    names = ("sensor_kind", "lead", "forward_duty_high", "pulses_per_rev", "edge_gap_permille")
    return {name: getattr(plain, name) for name in names if getattr(plain, name) != getattr(now, name)}


def _levers(bike: Bike) -> dict[str, int]:
    found = {"battery_foldback_mv": levers.battery_foldback_mv(bike)}
    if bike.throttle.fitted:
        rest_mv, full_mv = levers.throttle_ends_mv(bike)
        found |= {"throttle_rest_mv": rest_mv, "throttle_full_mv": full_mv}
    if bike.motor.has_temperature_sensor:
        found["heat_foldback_decicelsius"] = levers.heat_foldback_decicelsius(bike)
    if not bike.shunt.fitted:
        found["open_map_full_w"] = plain_settings(bike).open_map_full_w
    return found
