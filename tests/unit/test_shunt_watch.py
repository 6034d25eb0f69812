"""The current reading and the battery voltage together: sag, standstill and fall, at their limits.

The defaults: a dead band up to 1000 mV, 5 V at 1 m/s, 250 mOhm, 0.8 A turning freely.
"""

import pytest

from firmware.records import Inputs
from firmware.sense.shunt_watch import ShuntWatch
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, MOTOR_UNKNOWN
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

REST_MV = 36_000


class Watched:
    """A watch at rest, with given smoothed readings."""

    def __init__(self, rest_ma: int = 0, kind: int = MOTOR_SPEED, **settings: int):
        self.supply = Supply()
        self.inputs = Inputs()
        self.watch = ShuntWatch(settings_with(motor_kind=kind, **settings), self.supply)
        self.step(0, rest_ma)

    def step(
        self,
        command_mv: int,
        current_ma: int,
        battery_mv: int = REST_MV,
        smoothed_ma: int | None = None,
        steps: int = 1,
    ) -> ShuntWatch:
        self.inputs.current_ma = SmallInt(current_ma)
        self.inputs.battery_mv = SmallInt(battery_mv)
        self.supply.current_ma = SmallInt(current_ma if smoothed_ma is None else smoothed_ma)
        self.supply.battery_mv = SmallInt(battery_mv)
        for _ in range(steps):
            self.watch.step(self.inputs, SmallInt(command_mv))
        return self.watch


def signs(watch: ShuntWatch) -> tuple[bool, bool, bool, bool]:
    return watch.sags, watch.stuck, watch.fallen, watch.drawn


def test_at_first_there_is_no_sign_of_anything():
    watch = ShuntWatch(settings_with(motor_kind=MOTOR_SPEED), Supply())
    assert signs(watch) == (False, False, False, False)
    assert (watch.rest_ma, watch.rest_mv) == (0, 0)


def test_the_readings_at_rest_are_kept_while_the_command_is_above_the_dead_band():
    watched = Watched()
    watch = watched.step(1_000, 70, 35_500)
    assert (watch.rest_ma, watch.rest_mv) == (70, 35_500)
    watch = watched.step(1_001, 5_000, 34_000)
    assert (watch.rest_ma, watch.rest_mv) == (70, 35_500)
    watch = watched.step(0, 90, 35_800)
    assert (watch.rest_ma, watch.rest_mv) == (90, 35_800)


# Sag.


def test_a_sag_without_a_current_takes_twelve_steps():
    watched = Watched()
    assert not watched.step(2_000, 0, 35_700, steps=11).sags
    assert watched.step(2_000, 0, 35_700).sags
    assert watched.step(2_000, 0, 35_700, steps=100).sags
    assert not watched.watch.drawn
    assert not watched.step(2_000, 0, 35_701).sags


@pytest.mark.parametrize(
    ("battery_mv", "sags"), [(35_701, False), (35_700, True), (35_699, True), (40_000, False)]
)
def test_300_mv_below_the_voltage_at_rest_are_a_sag(battery_mv, sags):
    assert Watched().step(2_000, 0, battery_mv, steps=12).sags is sags


@pytest.mark.parametrize(("raw_mv", "rest_mv"), [(33_000, 33_000), (36_000, 36_000), (39_000, 36_000)])
def test_the_voltage_at_rest_is_the_lower_one_of_what_is_read_and_its_mean(raw_mv, rest_mv):
    # A battery that has just given way has sagged before the motor drew anything.
    watched = Watched()
    watched.supply.battery_mv = SmallInt(36_000)
    watched.inputs.battery_mv = SmallInt(raw_mv)
    watched.watch.step(watched.inputs, SmallInt(1_000))
    assert watched.watch.rest_mv == rest_mv


def test_a_current_that_lapses_is_told_while_none_is_read():
    watched = Watched()
    assert not watched.step(2_000, 0).lapsed
    assert not watched.step(2_000, 5_000, steps=20).lapsed
    assert watched.step(2_000, 0, steps=30).lapsed
    assert not watched.step(2_000, 5_000, steps=30).lapsed
    watched.step(2_000, 0, steps=30)
    assert not watched.step(1_000, 0).lapsed


def test_the_peak_at_rest_follows_up_at_once_and_down_slowly():
    watched = Watched()
    assert watched.step(1_000, 256).rest_peak_ma == 256
    assert watched.step(1_000, 0).rest_peak_ma == 254
    assert watched.step(1_000, 255).rest_peak_ma == 255
    # While the motor is driven it stays.
    assert watched.step(2_000, 9_000, steps=5).rest_peak_ma == 255


def test_a_moment_without_a_sag_starts_the_twelve_steps_afresh():
    watched = Watched()
    watched.step(2_000, 0, 35_700, steps=11)
    watched.step(2_000, 0, 35_701)
    assert not watched.step(2_000, 0, 35_700, steps=11).sags
    assert watched.step(2_000, 0, 35_700).sags


@pytest.mark.parametrize(
    ("current_ma", "drawn"),
    # 150 mA on either side of 200 mA at rest are no current.
    [(49, True), (50, False), (200, False), (350, False), (351, True)],
)
def test_a_current_explains_the_sag(current_ma, drawn):
    watch = Watched(rest_ma=200).step(2_000, current_ma, 35_000, steps=12)
    assert watch.drawn is drawn
    assert watch.sags is not drawn


def test_a_current_that_was_read_and_has_gone_is_remembered_until_the_command_is_back_at_rest():
    watched = Watched()
    watched.step(2_000, 5_000, 35_000)
    assert watched.watch.drawn
    assert not watched.step(2_000, 0, 35_000, steps=11).sags
    watch = watched.step(2_000, 0, 35_000)
    assert (watch.sags, watch.drawn) == (True, True)
    watch = watched.step(1_000, 0, 35_000)
    assert (watch.sags, watch.drawn) == (False, False)


# Standstill: 20 steps at one reading while the battery moves by 300 mV. From 2 * 0.8 + 1 = 2.6 A on.


def test_a_reading_that_stands_still_for_20_steps_while_the_battery_moves_is_stuck():
    watched = Watched()
    watched.step(2_000, 3_000, 35_000)
    assert not watched.step(2_000, 3_000, 34_700, steps=19).stuck
    assert watched.step(2_000, 3_000, 34_700).stuck
    assert not watched.step(2_000, 3_000, 34_701).stuck
    assert not watched.step(2_000, 3_000, 35_299).stuck
    assert watched.step(2_000, 3_000, 35_300).stuck
    assert not watched.step(2_000, 3_001, 34_000).stuck
    # The battery voltage at which it began to stand still counts.
    assert not watched.step(2_000, 3_001, 33_701, steps=40).stuck
    assert watched.step(2_000, 3_001, 33_700).stuck


@pytest.mark.parametrize(("current_ma", "stuck"), [(2_599, False), (2_600, True)])
def test_a_motor_that_turns_freely_may_read_the_same_for_long(current_ma, stuck):
    watched = Watched()
    watched.step(2_000, current_ma, 35_000)
    assert watched.step(2_000, current_ma, 34_000, steps=30).stuck is stuck


def test_a_rest_starts_the_20_steps_afresh():
    watched = Watched()
    watched.step(2_000, 3_000, 35_000, steps=15)
    watched.step(0, 3_000, 35_000)
    assert not watched.step(2_000, 3_000, 34_000, steps=19).stuck
    assert watched.step(2_000, 3_000, 34_000).stuck


# Fall: 0.2 m/s are 1 V of back-EMF, 4 A in 250 mOhm. Of a mean of 10 A that is also two fifths.


@pytest.mark.parametrize(
    ("mean_ma", "smoothed_ma", "fallen"),
    [
        (10_000, 6_001, False),
        (10_000, 6_000, False),
        (10_000, 5_999, True),
        (20_000, 12_000, False),
        (20_000, 11_999, True),
        (5_000, 1_000, False),
        (5_000, 999, True),
        (3_999, 0, False),
    ],
)
def test_a_fall_is_more_than_two_fifths_and_more_than_the_road_makes(mean_ma, smoothed_ma, fallen):
    watched = Watched()
    watched.step(2_000, mean_ma, steps=400)
    assert not watched.watch.fallen
    assert watched.step(2_000, smoothed_ma).fallen is fallen


@pytest.mark.parametrize(
    ("command_mv", "fallen"), [(1_979, False), (1_980, False), (1_981, True), (2_100, True)]
)
def test_a_command_that_has_fallen_explains_the_fall(command_mv, fallen):
    watched = Watched()
    watched.step(2_000, 10_000, steps=400)
    assert watched.step(command_mv, 0).fallen is fallen


def test_a_slow_fall_is_none_and_a_fallen_reading_is_the_new_mean_in_the_end():
    watched = Watched()
    watched.step(2_000, 10_000, steps=400)
    for hundredths in range(100):
        # 0.5 A in a step; the mean of 16 steps lags behind by 15 steps, but for the first of them 1.6 A.
        watched.step(2_000, 10_000 - 20 * hundredths)
        assert not watched.watch.fallen
    watched.step(2_000, 8_000, steps=100)
    assert watched.step(2_000, 0).fallen
    # The mean falls by a sixteenth of the rest: below 4 A after 11 steps, 8 A * (15/16)^11 = 3.93 A.
    assert watched.step(2_000, 0, steps=10).fallen
    assert not watched.step(2_000, 0, steps=2).fallen


def test_the_mean_begins_with_the_current_at_rest_and_the_command_of_the_dead_band():
    watched = Watched(rest_ma=10_000)
    # The command rises, so whatever is gone has fallen.
    assert watched.step(1_100, 5_999).fallen
    watched.step(1_000, 0)
    assert not watched.watch.fallen
    assert not watched.step(1_100, 0).fallen


@pytest.mark.parametrize(("command_mv", "fallen"), [(1_105, False), (1_106, True)])
def test_the_mean_of_the_command_begins_where_it_rested(command_mv, fallen):
    watched = Watched(rest_ma=10_000)
    watched.step(1_000, 10_000)
    watched.step(3_000, 10_000)
    # A sixteenth of the way from 1000 to 3000 mV is 1125 mV; 20 mV below it the command has not fallen.
    assert watched.step(command_mv, 0).fallen is fallen


@pytest.mark.parametrize(("resistance_mohm", "fallen"), [(250, True), (249, False)])
def test_less_resistance_lets_the_road_take_more_current(resistance_mohm, fallen):
    # 1 V in 250 mOhm are 4 A, in 249 mOhm 4.016 A.
    watched = Watched(motor_resistance_mohm=resistance_mohm)
    watched.step(2_000, 5_000, steps=400)
    assert watched.step(2_000, 990).fallen is fallen


@pytest.mark.parametrize("settings", [{"kind": MOTOR_UNKNOWN}, {"kind": MOTOR_TORQUE, "shunt_fitted": 0}])
def test_without_a_shunt_or_a_known_motor_nothing_is_looked_at(settings):
    watched = Watched(**settings)
    watched.step(2_000, 10_000, steps=400)
    watch = watched.step(2_000, 0, 30_000, steps=30)
    assert signs(watch) == (False, False, False, False)
    assert (watch.rest_ma, watch.rest_mv) == (0, 0)


@pytest.mark.parametrize("emf_mv_per_m_per_s", [100, 30_000])
@pytest.mark.parametrize("resistance_mohm", [10, 5_000])
def test_every_product_is_a_small_integer(emf_mv_per_m_per_s, resistance_mohm):
    watched = Watched(
        back_emf_mv_per_m_per_s=emf_mv_per_m_per_s,
        motor_resistance_mohm=resistance_mohm,
        no_load_current_ma=5_000,
        command_start_mv=0,
    )
    for current_ma in (100_000, 0, 100_000):
        watched.step(5_000, current_ma, 100_000, steps=200)
        assert watched.watch.drawn
