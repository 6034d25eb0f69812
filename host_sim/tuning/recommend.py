"""The recommendation for one bicycle: all choices with reasons, measured before and after."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firmware.settings import Settings
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.rules.judge import Done
from host_sim.tuning import levers
from host_sim.tuning.drive import choose_drive
from host_sim.tuning.drive_bench import DriveBench, DriveChoice, settings_now
from host_sim.tuning.engage_thresholds import EngageChoice, choose_engage
from host_sim.tuning.identify import IdentifiedPlant, identify
from host_sim.tuning.loop_report import LoopReport, loop_report
from host_sim.tuning.measures import Measures, measure
from host_sim.tuning.release_rides import ReleaseRides
from host_sim.tuning.release_thresholds import ReleaseChoice, choose_release
from host_sim.tuning.road_rides import RoadChoice, choose_assist
from host_sim.tuning.score import Priority
from host_sim.tuning.variant import NOTHING_FIXED, with_settings

STAGES = 8


@dataclass(frozen=True, slots=True)
class Tuned:
    """The result of tuning: `bike` as it is, `tuned` with `changes` of settings and `shares_percent`.

    `keep` names the settings that the user keeps; those in `held` have the value there because a rule refuses
    the best one.
    """

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
    road: RoadChoice | None = None
    keep: tuple[str, ...] = ()
    held: dict[str, int] = field(default_factory=dict)


def tune_bike(
    bike: Bike,
    priority: Priority,
    done: Done,
    seed: int = 1,
    keep: tuple[str, ...] = (),
    held: Mapping[str, int] = NOTHING_FIXED,
    earlier: Tuned | None = None,
) -> Tuned:
    """Choose all settings and measure them; `done(stage, STAGES)` is called after each stage.

    Settings in `keep` stay as they are, those in `held` have the value there; the rest is chosen for them.
    `earlier` is the result for the same bike, priority, seed and `keep` with nothing held: what does not
    depend on the held values is taken from it.
    """
    corrections = sensor_corrections(bike)
    base = with_settings(bike, corrections) if corrections else bike
    now = bike.firmware_settings
    kept = {name: getattr(now, name) for name in keep}
    fixed = {**held, **kept}
    road = None
    if priority.thrift:
        road = choose_assist(base, plain_settings(bike).assist_power_w, fixed.get("assist_power_w"), seed)
        corrections = {**corrections, "assist_power_w": road.chosen.assist_power_w}
        base = with_settings(bike, corrections)
        if earlier is not None and earlier.changes["assist_power_w"] != road.chosen.assist_power_w:
            earlier = None
    engage = choose_engage(base, priority, seed, kept) if earlier is None else earlier.engage
    done(1, STAGES)
    rides = ReleaseRides(base, seed)
    engage_rpm = fixed.get("engage_rpm", engage.chosen.engage_rpm)
    same_engage = earlier is not None and earlier.changes["engage_rpm"] == engage_rpm
    release = earlier.release if earlier and same_engage else choose_release(base, engage_rpm, rides, kept)
    done(2, STAGES)
    plants = identify(base, seed) if earlier is None else earlier.plants
    done(3, STAGES)
    drive = _drive(base, plants, priority, seed, fixed, earlier)
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
    changes |= {name: value for name, value in fixed.items() if name in changes}
    shares = levers.selector_shares(base) or None
    parts = (
        {} if shares is None else {"selector": bike.selector.model_copy(update={"shares_percent": shares})}
    )
    tuned = with_settings(bike, changes, parts)
    full = None if road is None else road.full.measures
    if earlier and same_engage:
        before = earlier.before
    else:
        sensitivity = DriveBench(bike, plants, priority, seed).sensitivity(settings_now(bike).gains)
        before = measure(bike, rides, engage_rpm, sensitivity, priority, seed, full)
    done(5, STAGES)
    after = measure(tuned, rides, now.engage_rpm, drive.chosen.sensitivity, priority, seed, full)
    done(6, STAGES)
    loop = loop_report(base, plants, drive, after.drive, seed) if plants else None
    done(7, STAGES)
    found = (plants, engage, release, drive, loop, before, after)
    return Tuned(bike, tuned, priority, changes, shares, *found, road, keep, dict(held))


def _drive(
    bike: Bike,
    plants: list[IdentifiedPlant],
    priority: Priority,
    seed: int,
    fixed: Mapping[str, int],
    earlier: Tuned | None,
) -> DriveChoice:
    """Choose the drive, and again for the fixed settings if the first choice does not have them."""
    free = choose_drive(bike, plants, priority, seed) if earlier is None else earlier.drive
    if free.chosen.fits(fixed):
        return free
    choice = choose_drive(bike, plants, priority, seed, fixed)
    return replace(choice, tried=[*free.tried, *choice.tried], before_keeping=free.recommended)


def plain_settings(bike: Bike) -> Settings:
    """Return the settings that follow from the parts and the place, without the bike file's [settings]."""
    return settings_from(bike.model_copy(update={"settings": {}}), bike.place_profile)


def sensor_corrections(bike: Bike) -> dict[str, int]:
    """Return the right values of settings that contradict the sensor's description, which prevents tuning."""
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
