"""Seeking the back-EMF and following it, by hand: what is aimed at, what ends the search, what moves on.

The defaults: a dead band up to 1000 mV, full at 3600 mV, 5 V at 1 m/s, 250 mOhm, 0.8 A turning freely, a
search at 9 V/s. The battery gives 36 V: 1 V is 72.22 mV of command. At 4 m/s the back-EMF is 20 V, a command
of 2444 mV.
"""

import pytest

from firmware.drive.feed_forward import FeedForward
from firmware.records import Inputs
from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import ShuntWatch
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, MOTOR_UNKNOWN
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


class Led:
    """A feed-forward on a bicycle that rolls at 4 m/s and draws nothing."""

    def __init__(self, kind: int = MOTOR_SPEED, **settings: int):
        made = settings_with(motor_kind=kind, **settings)
        self.supply = Supply()
        self.supply.battery_mv = SmallInt(36_000)
        self.inputs = Inputs()
        self.inputs.battery_mv = SmallInt(36_000)
        self.wheel = Wheel(SmallInt(2_100), SmallInt(1))
        self.wheel.speed_mm_per_s = SmallInt(4_000)
        self.wheel.late_mm_per_s = SmallInt(0)
        self.wheel.steady = True
        self.model = MotorModel(made)
        self.shunt = ShuntWatch(made, self.supply)
        self.shunt.rest_mv = SmallInt(36_000)
        self.led = FeedForward(made, self.model, self.wheel, self.shunt)

    def step(self, command_mv: int, current_ma: int = 0, battery_mv: int = 36_000) -> FeedForward:
        self.inputs.current_ma = SmallInt(current_ma)
        self.inputs.battery_mv = SmallInt(battery_mv)
        self.led._flows = current_ma > 0  # A current is read for the second time.
        self.model.step(SmallInt(command_mv), self.wheel, self.supply)
        self.led.step(self.inputs, SmallInt(command_mv))
        return self.led

    def roll(self, speed_mm_per_s: int) -> int:
        """Let the speed change and return the change of the command."""
        self.wheel.speed_mm_per_s = SmallInt(speed_mm_per_s)
        return self.step(2_444).change_uv

    def following(self) -> "Led":
        """End the search: the command is at the back-EMF and current flows."""
        self.step(2_444, 5_000)
        assert self.led.seek_mv == 0
        return self


# Seeking.


@pytest.mark.parametrize(
    ("command_mv", "seek_mv", "rise_mv_per_s"),
    # Quickly to 8.6 V, 1621 mV; slower to 20 V * 1.3 + 2 V = 28 V, 3022 mV, at 19 % of the rate.
    [
        (0, 1_621, 9_000),
        (1_000, 1_621, 9_000),
        (1_620, 1_621, 9_000),
        (1_621, 3_022, 1_710),
        (3_021, 3_022, 1_710),
        (3_022, 0, 0),
    ],
)
def test_the_command_seeks_quickly_and_then_slowly_and_then_no_further(command_mv, seek_mv, rise_mv_per_s):
    led = Led().step(command_mv)
    assert (led.seek_mv, led.rise_mv_per_s) == (seek_mv, rise_mv_per_s)
    assert (led.found_mv, led.change_uv) == (0, 0)


def test_beyond_the_furthest_command_the_search_is_over_until_the_next_rest():
    bench = Led()
    bench.step(3_022)
    assert bench.step(1_000).seek_mv == 0
    bench.led.rest()
    assert bench.step(0).seek_mv == 1_621


@pytest.mark.parametrize(
    ("current_ma", "found"),
    # Turning freely at 18 V of 36 V takes half of 0.8 A; a quarter more and 150 mA are 650 mA, on top of the
    # highest that was read at rest.
    [(719, False), (720, True), (721, True)],
)
def test_the_first_current_ends_the_search(current_ma, found):
    bench = Led()
    bench.shunt.rest_peak_ma = SmallInt(70)
    for _ in range(80):
        bench.step(2_302)
    assert bench.model.motor_mv == 18_000
    led = bench.step(2_302, current_ma)
    assert (led.found_mv > 0) is found
    assert (led.seek_mv > 0) is not found


def test_a_single_reading_may_be_noise_and_ends_no_search():
    bench = Led()
    for current_ma in (5_000, 0, 5_000):
        bench.inputs.current_ma = SmallInt(current_ma)
        bench.model.step(SmallInt(2_302), bench.wheel, bench.supply)
        bench.led.step(bench.inputs, SmallInt(2_302))
        assert (bench.led.found_mv, bench.led.seek_mv > 0) == (0, True)
    bench.led.step(bench.inputs, SmallInt(2_302))
    assert bench.led.found_mv > 0
    bench.led.rest()
    bench.led.step(bench.inputs, SmallInt(2_302))
    assert bench.led.found_mv == 0


def test_what_is_found_is_where_the_motor_draws_nothing_and_is_told_once():
    bench = Led()
    for _ in range(80):
        bench.step(2_302)
    # 1 A of the battery is 2 A in the motor at 18 V of 36 V: 0.5 V, 36 mV. The power stage is at 2301 mV.
    assert bench.step(2_302, 1_000).found_mv == 2_265
    assert bench.step(2_302, 1_000).found_mv == 0


def test_a_current_before_there_is_a_command_finds_nothing():
    led = Led().step(0, 5_000)
    assert (led.found_mv, led.seek_mv) == (0, 0)
    assert Led().step(1, 5_000).found_mv == 1_000


@pytest.mark.parametrize(("battery_mv", "seeks"), [(35_700, True), (35_699, False), (36_500, True)])
def test_a_battery_that_sags_without_a_current_ends_the_search(battery_mv, seeks):
    led = Led().step(1_500, 0, battery_mv)
    assert (led.seek_mv > 0) is seeks
    assert led.found_mv == 0


def test_a_wheel_that_has_just_slowed_down_is_sought_all_the_same():
    bench = Led()
    bench.wheel.steady = False
    led = bench.step(0)
    assert (led.seek_mv, led.rise_mv_per_s) == (1_621, 9_000)


def test_a_rate_of_zero_seeks_nothing_and_follows_all_the_same():
    bench = Led(seek_mv_per_s=0)
    assert bench.step(0).seek_mv == 0
    assert bench.roll(4_200) == 72_222
    bench.led.rest()
    assert bench.step(0).seek_mv == 0


def test_the_least_rate_seeks():
    led = Led(seek_mv_per_s=1).step(0)
    assert (led.seek_mv, led.rise_mv_per_s) == (1_621, 1)


@pytest.mark.parametrize(
    "settings", [{"kind": MOTOR_TORQUE}, {"kind": MOTOR_UNKNOWN}, {"kind": MOTOR_SPEED, "shunt_fitted": 0}]
)
def test_no_other_motor_is_sought_or_followed(settings):
    bench = Led(**settings)
    led = bench.step(0)
    assert (led.seek_mv, led.rise_mv_per_s, led.found_mv, led.change_uv) == (0, 0, 0, 0)
    bench.roll(4_000)
    assert bench.roll(5_000) == 0
    assert bench.roll(3_000) == 0


def test_without_a_battery_voltage_nothing_is_divided_by_zero():
    bench = Led()
    bench.supply.battery_mv = SmallInt(0)
    assert bench.step(0).seek_mv == 1_000  # As far as the dead band goes.
    assert bench.step(1_000).seek_mv == 0
    bench.led.rest()
    assert bench.step(1_000, 5_000).found_mv == 1_000


@pytest.mark.parametrize(("current_ma", "found"), [(1_149, False), (1_150, True)])
def test_the_least_battery_voltage_divides_as_it_is(current_ma, found):
    bench = Led()
    bench.model.motor_mv = bench.model.battery_mv = SmallInt(10)
    bench.inputs.current_ma = SmallInt(current_ma)
    bench.led._flows = True
    bench.led.step(bench.inputs, SmallInt(1_000))
    # The whole voltage of 10 mV at the motor: all of the 0.8 A, a quarter more, and 150 mA.
    assert (bench.led.found_mv > 0) is found


# Following.


def test_the_first_speed_after_the_search_moves_nothing():
    bench = Led().following()
    assert bench.roll(4_000) == 0
    bench = Led().following()
    assert bench.roll(1_000) == 0


def test_a_wheel_that_gets_faster_takes_the_command_along():
    bench = Led().following()
    bench.roll(4_000)
    # 0.2 m/s are 1 V, 72.222 mV.
    assert bench.roll(4_200) == 72_222
    assert bench.roll(4_200) == 0
    assert bench.roll(4_400) == 72_222


def test_a_wheel_that_gets_slower_takes_it_a_quarter_further():
    bench = Led().following()
    bench.roll(4_000)
    # 1.25 V are 90.278 mV, rounded away from 0.
    assert bench.roll(3_800) == -90_278


def test_a_rise_that_two_periods_do_not_agree_on_moves_nothing_and_a_fall_does():
    bench = Led().following()
    bench.roll(4_000)
    bench.wheel.steady = False
    assert bench.roll(8_000) == 0
    assert bench.roll(7_800) == -90_278
    # What was passed over is not made up for.
    bench.wheel.steady = True
    assert bench.roll(7_800) == 0


def test_standing_is_a_speed_that_is_followed_too():
    bench = Led().following()
    assert bench.roll(0) == 0
    assert bench.roll(200) == 72_222


def test_a_learned_factor_that_moves_the_model_does_not_move_the_command():
    bench = Led().following()
    bench.roll(4_000)
    bench.model.learned_permille = SmallInt(1_200)
    assert bench.roll(4_000) == 0


def test_a_rest_forgets_the_speed_and_seeks_again():
    bench = Led().following()
    bench.roll(4_000)
    bench.roll(4_200)
    bench.led.rest()
    led = bench.led
    assert (led.seek_mv, led.rise_mv_per_s, led.found_mv, led.change_uv) == (0, 0, 0, 0)
    assert bench.step(0).seek_mv > 0
    bench.following()
    assert bench.roll(5_000) == 0


def test_a_learned_factor_moves_what_is_sought():
    bench = Led()
    bench.model.learned_permille = SmallInt(1_200)
    # 20 V * 1.2 * 0.43 = 10.32 V: 745.3 mV above the dead band.
    assert bench.step(0).seek_mv == 1_745


def test_every_product_is_a_small_integer_at_the_ends():
    bench = Led(
        back_emf_mv_per_m_per_s=30_000,
        no_load_current_ma=5_000,
        command_start_mv=0,
        command_max_mv=5_000,
        seek_mv_per_s=10_000,
    )
    bench.supply.battery_mv = SmallInt(100_000)
    bench.wheel.speed_mm_per_s = SmallInt(27_778)
    assert bench.step(5_000, 0, 100_000).seek_mv == 0
    assert bench.roll(27_778) == 0
    assert bench.roll(0) == -5_000_000
    assert bench.roll(27_778) == 5_000_000
