"""What the identified plant predicts is what the whole bench does."""

import numpy as np
import pytest

from firmware.settings import MOTOR_UNKNOWN
from host_sim.bikes.load import load_bike
from host_sim.tuning.drive_bench import DriveSettings
from host_sim.tuning.drive_rides import measure_drive
from host_sim.tuning.identify import identify_at
from host_sim.tuning.margins import loop_margins, worst_case
from host_sim.tuning.operating import OperatingPoint
from host_sim.tuning.predict import predict
from host_sim.tuning.rates import fall_for
from host_sim.tuning.surge import SurgeCheck, SurgePoint, SurgeScan, _point, check_surge
from host_sim.tuning.variant import with_settings

TANDEM_STEP = OperatingPoint(5.42, 1.0, 1.0)


@pytest.fixture(scope="module")
def tandem_plant():
    plant = identify_at(load_bike("tandem"), TANDEM_STEP)
    assert plant is not None
    return plant


def test_the_surge_limit_and_its_frequency_are_predicted(tandem_plant):
    # Margins are of the power loop alone; following the back-EMF of a known motor changes what the kick does.
    bike = with_settings(load_bike("tandem"), {"motor_kind": MOTOR_UNKNOWN})
    settings = DriveSettings(900, 800, 30)
    check = check_surge(bike, settings, worst_case([tandem_plant], settings.gains), [tandem_plant])
    for scan in (check.free, check.felt):
        assert scan.predicted is not None
        assert scan.simulated is not None
        assert scan.simulated.factor == pytest.approx(scan.predicted.factor, rel=0.2)
    assert check.free.simulated.frequency_hz == pytest.approx(check.free.predicted.frequency_hz, rel=0.2)
    # The margin is for the smallest swings; the fastest rates there are take a fifth to a third of it.
    assert 0.6 * check.margin < check.free.simulated.factor < 1.15 * check.margin
    assert "times this gain it surges at" in check.sentence(bike)
    assert "on a full battery" in check.sentence(bike)


def test_beyond_ten_times_nothing_is_ridden_and_nothing_is_said(tandem_plant):
    # "At 27.9 times this gain it surges" stood beside a margin of 46.5: neither is worth a word.
    bike, settings = load_bike("tandem"), DriveSettings(900, 20, 30)
    check = check_surge(bike, settings, worst_case([tandem_plant], settings.gains), [tandem_plant])
    assert check.margin > 20.0
    assert check.free.bench == check.felt.bench == check.felt.model == []
    assert "times this gain it surges" not in check.sentence(bike)
    assert "more than 10 times this gain away" in check.sentence(bike)


def scan(factor, swing_share, frequency_hz):
    return SurgeScan(900, 3600, [], [SurgePoint(factor, swing_share, frequency_hz)])


@pytest.mark.parametrize(
    ("factor", "words"),
    [(6.0, "At 6.0 times this gain it surges at 7.0 Hz"), (3.2, "sooner than by its gain margin of 6.3")],
)
def test_a_surge_limit_stands_beside_the_margin_that_it_uses_up(factor, words):
    check = SurgeCheck(TANDEM_STEP, 6.3, scan(factor, 0.1, 7.0), scan(factor, 0.1, 7.0))
    sentence = check.sentence(load_bike("tandem"))
    assert words in sentence
    assert "gain margin" in sentence


def test_power_that_drifts_does_not_surge():
    # "It surges at 0.0 Hz" was a drift of the power, such as a battery that sags.
    times_s = np.arange(400) * 0.005
    drifting_w = 250.0 + 20.0 * times_s
    surging_w = drifting_w + 10.0 * np.sin(2.0 * np.pi * 6.0 * times_s)
    assert _point(2.0, drifting_w) == SurgePoint(2.0, 0.0, 0.0)
    found = _point(2.0, surging_w)
    assert found.frequency_hz == pytest.approx(6.0, abs=0.1)
    assert found.swing_share == pytest.approx(20.0 / 270.0, rel=0.1)


@pytest.mark.parametrize(("rise", "gain", "integral"), [(460, 305, 23), (1200, 458, 29), (600, 59, 45)])
def test_the_step_and_the_slope_are_predicted(tandem_plant, rise, gain, integral):
    settings = DriveSettings(rise, gain, integral)
    bike = load_bike("tandem")
    predicted = predict(bike, tandem_plant, settings.gains, rise, fall_for(bike, rise))
    # The prediction covers the power loop only; on a known motor the firmware seeks and follows the back-EMF.
    alone = {**settings.changes(bike), "motor_kind": MOTOR_UNKNOWN}
    ridden = measure_drive(with_settings(bike, alone))
    assert predicted.reach_s == pytest.approx(ridden.reach_s, rel=0.1)
    assert predicted.overshoot_percent == pytest.approx(ridden.overshoot_percent, abs=2.0)
    assert predicted.disturbance_percent == pytest.approx(ridden.disturbance_percent, rel=0.2, abs=2.5)


def test_a_known_motor_reaches_the_power_sooner_than_the_loop_alone_is_predicted_to(tandem_plant):
    # The rise rate takes from the dead band to the back-EMF what the search takes at the much higher one.
    bike, settings = load_bike("tandem"), DriveSettings(460, 305, 23)
    predicted = predict(bike, tandem_plant, settings.gains, 460, fall_for(bike, 460))
    assert measure_drive(with_settings(bike, settings.changes(bike))).reach_s < predicted.reach_s / 2.0


def test_the_worst_case_is_the_least_of_every_margin_over_the_points():
    bike = load_bike("cargo_trike")
    gains = DriveSettings(600, 3000, 30).gains
    plants = [identify_at(bike, OperatingPoint(speed, 1.0, 1.0)) for speed in (3.0, 6.0)]
    worst = worst_case(plants, gains)
    each = [loop_margins(plant, gains) for plant in plants]
    assert worst.surge_point.speed_m_per_s == 6.0  # A volt moves more watts there.
    assert worst.margins.gain == min(one.gain for one in each) == each[1].gain
    assert worst.margins.sensitivity == max(one.sensitivity for one in each)
    assert worst.margins.delay_s == min(one.delay_s for one in each)


def test_twice_the_gain_is_half_the_gain_margin(tandem_plant):
    gains = DriveSettings(600, 300, 30).gains
    once, twice = loop_margins(tandem_plant, gains), loop_margins(tandem_plant, gains.scaled(2.0))
    assert once.gain / twice.gain == pytest.approx(2.0, rel=1e-3)
    assert once.surge_hz == pytest.approx(twice.surge_hz, rel=1e-3)
