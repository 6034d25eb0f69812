"""Settings that were changed hold from the next power-up on, and the old ones no more."""

import pytest

from firmware.controller import Controller
from firmware.records import Outputs
from firmware.settings import A_LEADS, B_LEADS, Settings
from host_sim.bench.course import Course, course_from
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case

PERIODS_PER_S = 200


def course() -> Course:
    """Pedal, lose the supply for half a second while the crank turns, rest, pedal again."""
    return course_from(
        "changed",
        "The supply is lost, and the settings are others when it comes back",
        32.0,
        [
            {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 14},
            {"at_s": 3, "cadence_rpm": 65},
            {"at_s": 11, "power_switch": False},
            {"at_s": 11.5, "power_switch": True},
            {"at_s": 16, "cadence_rpm": 0},
            {"at_s": 20, "cadence_rpm": 65},
        ],
    )


class Lives(StepWatch):
    """The commands of each life of the controller, and the settings that it had."""

    def __init__(self) -> None:
        self.commands_mv: list[list[int]] = []
        self.settings: list[Settings] = []

    def begin(self, world: World, controller: Controller) -> None:
        self.commands_mv.append([])
        self.settings.append(controller.settings)

    def look(self, outputs: Outputs) -> None:
        self.commands_mv[-1].append(outputs.command_mv)


def changed(bike: Bike, **values: int) -> Settings:
    return Settings({**bike.firmware_settings.as_dict(), **values})


def ridden(bike: Bike, after: Settings | None) -> Lives:
    lives = Lives()
    case = Case(bike, course(), seed=4, settings_after=after)
    bench = case.bench()
    bench.watch(lives)
    bench.ride(case.script(), case.course.seconds)
    assert bench.restarts == 1
    assert len(lives.commands_mv) == 2
    return lives


def rise_mv(commands_mv: list[int], start_mv: int) -> int:
    """Return the steepest rise within half a second, from the end of the dead band on."""
    above = [max(command_mv, start_mv) for command_mv in commands_mv]
    half_s = PERIODS_PER_S // 2
    return max(late - early for early, late in zip(above, above[half_s:], strict=False))


def test_without_a_change_the_old_settings_hold_on() -> None:
    bike = load_bike("cargo_trike")
    lives = ridden(bike, None)
    assert lives.settings == [bike.firmware_settings, bike.firmware_settings]
    assert max(lives.commands_mv[0]) > 1100
    assert max(lives.commands_mv[1]) > 1100


@pytest.mark.parametrize("rise_mv_per_s", [200, 1000])
def test_another_rise_rate_holds_after_the_brown_out_and_only_then(rise_mv_per_s: int) -> None:
    bike = load_bike("cargo_trike")
    lives = ridden(bike, changed(bike, rise_mv_per_s=rise_mv_per_s))
    # The first life rises by 600 mV/s, 300 mV in half a second; the second by half of its own rate.
    assert rise_mv(lives.commands_mv[0], start_mv=1100) in (300, 301)
    assert rise_mv(lives.commands_mv[1], start_mv=1100) in (rise_mv_per_s // 2, rise_mv_per_s // 2 + 1)


def test_nothing_drives_after_the_brown_out_until_the_crank_has_rested() -> None:
    bike = load_bike("cargo_trike")
    lives = ridden(bike, changed(bike, rise_mv_per_s=10_000))
    # Back at 11.5 s; the crank turns until 16 s and rests until 20 s.
    turning = lives.commands_mv[1][: int(4.5 * PERIODS_PER_S)]
    resting = lives.commands_mv[1][int(4.5 * PERIODS_PER_S) : int(8.4 * PERIODS_PER_S)]
    assert max(turning) == 0
    assert max(resting) == 0
    assert max(lives.commands_mv[1]) > 1100


def test_a_wrong_lead_set_between_two_rides_gives_no_help_any_more() -> None:
    bike = load_bike("cargo_trike")
    assert bike.firmware_settings.lead == A_LEADS
    lives = ridden(bike, changed(bike, lead=B_LEADS))
    assert max(lives.commands_mv[0]) > 1100
    assert max(lives.commands_mv[1]) == 0


def test_a_wrong_lead_put_right_between_two_rides_gives_help_again() -> None:
    bike = load_bike("cargo_trike")
    right = bike.firmware_settings
    bike.complete(bike.name, bike.place_profile, changed(bike, lead=B_LEADS))
    lives = ridden(bike, right)
    assert max(lives.commands_mv[0]) == 0
    assert max(lives.commands_mv[1]) > 1100


def test_a_lower_cut_off_set_between_two_rides_ends_help_at_the_same_speed() -> None:
    bike = load_bike("cargo_trike")
    # The roller gives 14 km/h: 3889 mm/s.
    lives = ridden(bike, changed(bike, taper_start_mm_per_s=3000, cutoff_speed_mm_per_s=3500))
    assert max(lives.commands_mv[0]) > 1100
    assert max(lives.commands_mv[1]) == 0
