"""The search for rise rate and gains, on scores that are written down instead of ridden."""

from math import log

import pytest

from host_sim.bikes.load import load_bike
from host_sim.tuning import drive
from host_sim.tuning.drive import choose_drive
from host_sim.tuning.drive_bench import DriveBench, DrivePoint, DriveSettings
from host_sim.tuning.drive_rides import DriveMeasures
from host_sim.tuning.identify import ProcessModel
from host_sim.tuning.rates import comfort_rise
from host_sim.tuning.score import PRIORITIES

NOTHING = DriveMeasures(*[0.0] * 8)
MODEL = ProcessModel(2000.0, 0.03, 0.0085, False)


def away(settings: DriveSettings, rise: float, gain: float, integral_ms: float) -> float:
    """Return how far settings are from these, 1 for a factor of e in one of them."""
    now = (settings.rise_mv_per_s / rise, settings.gain_uv_per_w / gain, settings.integral_ms / integral_ms)
    return sum(log(one) ** 2 for one in now) ** 0.5


@pytest.fixture
def chosen_with(monkeypatch):
    """Return a function that chooses with a given score, and the number of settings that were ridden."""

    def choose(score, bike=None) -> tuple[DrivePoint, int]:
        def ride(self, settings):
            return self._found.setdefault(settings, DrivePoint(settings, NOTHING, 1.0, score(settings)))

        monkeypatch.setattr(DriveBench, "ride", ride)
        monkeypatch.setattr(drive, "loop_model", lambda plants: MODEL)
        found = choose_drive(bike or load_bike("tandem"), [], PRIORITIES["quick"])
        return found.chosen, len(found.tried)

    return choose


def test_of_two_valleys_the_deeper_one_is_found_on_either_side(chosen_with):
    comfort = comfort_rise(load_bike("tandem"), 2.0)
    slow, quick = (0.7 * comfort, 900.0, 30.0), (6.0 * comfort, 110.0, 22.0)
    for deeper, other in ((slow, quick), (quick, slow)):
        chosen, _ = chosen_with(
            lambda settings, deeper=deeper, other=other: min(
                3.0 + away(settings, *deeper), 4.0 + away(settings, *other)
            )
        )
        assert chosen.score < 3.4, deeper


def test_the_second_look_around_costs_no_more_than_half_of_the_rides(chosen_with):
    comfort = comfort_rise(load_bike("tandem"), 2.0)
    _, ridden = chosen_with(lambda settings: 3.0 + away(settings, comfort, 500.0, 30.0))
    assert ridden <= 120


@pytest.mark.parametrize(("saved", "kept"), [(0.05, True), (0.09, True), (0.12, False), (0.5, False)])
def test_gains_stay_unless_others_save_a_tenth(chosen_with, saved, kept):
    now = load_bike("tandem").firmware_settings
    as_now = (now.gain_uv_per_w, now.integral_ms)

    def score(settings: DriveSettings) -> float:
        gains = (settings.gain_uv_per_w, settings.integral_ms)
        rise = 0.5 * abs(log(settings.rise_mv_per_s / 400.0))
        return 4.0 + rise if gains != as_now else 4.0 * (1.0 + saved) + rise

    chosen, _ = chosen_with(score)
    assert ((chosen.settings.gain_uv_per_w, chosen.settings.integral_ms) == as_now) == kept


def test_a_rise_rate_that_is_as_good_stays_with_gains_that_change(chosen_with):
    now = load_bike("tandem").firmware_settings
    chosen, _ = chosen_with(
        lambda settings: 2.0 + (settings.gain_uv_per_w > 200) + 0.01 * (settings.rise_mv_per_s != 800)
    )
    assert chosen.settings.rise_mv_per_s == now.rise_mv_per_s
    assert chosen.settings.gain_uv_per_w < 200
