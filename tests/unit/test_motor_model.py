"""The motor model by hand: V = E + R I and P = (E + R I) I, for both kinds of motor controller.

The defaults: a dead band up to 1000 mV, full at 3600 mV; 5 V at 1 m/s, 250 mOhm, 25 A in the motor, 15 A
from the battery. The battery gives 36 V unless said.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import WHEEL_MAX_MM_PER_S, Wheel
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, MOTOR_UNKNOWN
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with
from host_sim.testing.legal_settings import RANGES

STEPS_TO_SETTLE = 80  # Of the two lags of four steps each, and of Newton's method.
SETTLED_BELOW_MV = 2  # The lags round down: they end 2 mV below the command.


class Modelled:
    """A model with the readings that it looks at."""

    def __init__(self, kind: int = MOTOR_TORQUE, **settings: int):
        self.model = MotorModel(settings_with(motor_kind=kind, **settings))
        self.wheel = Wheel(SmallInt(2_100), SmallInt(1))
        self.supply = Supply()
        self.see()

    def see(
        self, speed_mm_per_s: int = 0, late_mm_per_s: int = 0, battery_mv: int = 36_000, power_w: int = 0
    ):
        self.wheel.speed_mm_per_s = SmallInt(speed_mm_per_s)
        self.wheel.late_mm_per_s = SmallInt(late_mm_per_s)
        self.supply.battery_mv = SmallInt(battery_mv)
        self.supply.power_w = SmallInt(power_w)

    def step(self, command_mv: int, steps: int = 1) -> MotorModel:
        for _ in range(steps):
            self.model.step(SmallInt(command_mv), self.wheel, self.supply)
        return self.model

    def settle(self, above_dead_band_mv: int) -> MotorModel:
        """Hold a command until nothing changes any more; the command above the dead band is then as given."""
        start_mv = int(self.model._start_mv)
        return self.step(start_mv + above_dead_band_mv + SETTLED_BELOW_MV, STEPS_TO_SETTLE)


def test_at_first_the_motor_is_at_rest():
    model = Modelled().model
    assert (model._lagged, model._lagged_twice, model._plain_w, model.plain_emf_mv) == (0, 0, 0, 0)
    assert (model.back_emf_mv, model.lowest_emf_mv, model.highest_emf_mv) == (0, 0, 0)
    assert (model.battery_mv, model.motor_mv, model.current_ma, model.drop_mv) == (0, 0, 0, 0)
    assert (model.least_w, model.most_w, model.learned_permille) == (0, 0, 1_000)


# Torque kind: the command is a share of 25 A.


def test_half_of_the_command_is_half_of_the_current_limit_and_its_power_follows():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000)
    model = modelled.settle(1_300)
    # 1300 of 2600 mV of 25 A are 12.5 A. E = 10 V, R I = 3.125 V: 13.125 V * 12.5 A = 164.06 W.
    assert model.current_ma == 12_500
    assert model.back_emf_mv == 10_000
    assert (model.least_w, model.most_w) == (164, 164)
    assert not model.speed_kind


def test_a_speed_that_may_be_off_makes_a_range_of_back_emf_and_of_power():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000, late_mm_per_s=400)
    model = modelled.settle(1_300)
    assert (model.lowest_emf_mv, model.back_emf_mv, model.highest_emf_mv) == (8_000, 10_000, 12_000)
    # (8 + 3.125) V * 12.5 A = 139.06 W and (12 + 3.125) V * 12.5 A = 189.06 W.
    assert (model.least_w, model.most_w) == (139, 189)


def test_the_lowest_back_emf_is_never_negative():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=399, late_mm_per_s=400)
    assert modelled.step(0).lowest_emf_mv == 0
    modelled.see(speed_mm_per_s=401, late_mm_per_s=400)
    assert modelled.step(0).lowest_emf_mv == 5


@pytest.mark.parametrize(
    ("command_mv", "current_ma"),
    # 25 A * 1 mV / 2600 mV = 9.6 mA; nothing in the dead band, no more than the limit.
    [(0, 0), (1_002, 0), (1_003, 9), (3_601, 24_990), (3_602, 25_000), (3_603, 25_000), (5_000, 25_000)],
)
def test_the_current_runs_from_the_end_of_the_dead_band_to_the_limit(command_mv, current_ma):
    assert Modelled().step(command_mv, STEPS_TO_SETTLE).current_ma == current_ma


def test_what_the_battery_can_drive_against_the_back_emf_bounds_the_current():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=6_000)
    model = modelled.settle(2_600)
    # E = 30 V. At the least it is 37.5 V, more than the battery has: no power. At the most it counts as
    # 24 V, which leaves 12 V for 48 A: the limit of 25 A holds. (30 + 6.25) V * 25 A = 906.25 W.
    assert (model.least_w, model.most_w) == (0, 906)
    modelled.see(speed_mm_per_s=5_000)
    # E = 25 V; at the least 31.25 V: 4.75 V drive 19 A, and (25 + 4.75) V * 19 A = 565.25 W. The battery
    # limit of 15 A at 36 V is 540 W, and the least power is no more than that.
    assert modelled.settle(2_600).least_w == 540


def test_the_most_power_has_the_current_that_the_battery_drives_against_four_fifths():
    modelled = Modelled(motor_current_limit_ma=100_000)
    modelled.see(speed_mm_per_s=6_000)
    # E = 30 V; against 24 V of 36 V 12 V are left, 48 A: (30 + 12) V * 48 A = 2016 W.
    assert modelled.settle(2_600).most_w == 2_016


def test_nothing_is_driven_against_a_back_emf_beyond_the_battery():
    modelled = Modelled(motor_resistance_mohm=10)
    modelled.see(speed_mm_per_s=7_200)
    assert modelled.settle(2_600).least_w == 0  # A millivolt would drive 100 mA and 3 W.


def test_the_command_passes_two_lags_of_four_steps_each():
    modelled = Modelled()
    model = modelled.step(2_000)
    # A quarter of the way and a quarter of that: 2000 / 16 = 125 mV, deep in the dead band.
    assert (model._lagged, model._lagged_twice) == (2_000, 500)
    model = modelled.step(2_000)
    assert (model._lagged, model._lagged_twice) == (3_500, 1_250)
    modelled.step(2_000, STEPS_TO_SETTLE)
    assert (model._lagged >> 2, model._lagged_twice >> 2) == (1_999, 1_998)
    modelled.step(0, STEPS_TO_SETTLE)
    assert (model._lagged, model._lagged_twice) == (0, 0)


# Speed kind: the command is a share of the battery voltage.


def test_half_of_the_command_is_half_of_the_battery_voltage_and_the_power_tells_the_current():
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(speed_mm_per_s=3_000, power_w=216)
    model = modelled.settle(1_300)
    # E = 15 V. 18 V leave 3 V for 250 mOhm: 12 A. 18 V * 12 A = 216 W. A watt is 48 mA here.
    assert model.motor_mv == 18_000
    assert abs(model.current_ma - 12_000) <= 48
    assert abs(model.drop_mv - 3_000) <= 12
    assert model.back_emf_mv == 15_000
    assert model.speed_kind


def test_one_step_of_newtons_method_by_hand():
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(speed_mm_per_s=3_000, power_w=216)
    # From 0 A: 216 W / 15 V = 14.4 A. R I^2 = 51.84 W, counted as 51: 267 W / (15 + 7.2) V = 12.027 A.
    assert modelled.step(1_000).current_ma == 14_400
    assert modelled.step(1_000).current_ma == 12_027


@pytest.mark.parametrize(
    ("back_emf_mv", "current_ma", "power_w", "nearer_ma"),
    [
        # At 0 V and 5 ohm: from 20 A, 2000 W, half of them.
        (0, 20_000, 0, 10_000),
        # 10 kW are the most: of 60 V 166.67 A.
        (60_000, 0, 10_000, 166_666),
        (60_000, 0, 10_001, 166_666),
        # 1 W of 10 mV is 100 A; less than 10 mV counts as as much.
        (10, 0, 1, 100_000),
        (9, 0, 1, 100_000),
        (20, 0, 1, 50_000),
    ],
)
def test_newtons_method_at_its_ends(back_emf_mv, current_ma, power_w, nearer_ma):
    model = Modelled(MOTOR_SPEED, motor_resistance_mohm=5_000, motor_current_limit_ma=200_000).model
    model.back_emf_mv = SmallInt(back_emf_mv)
    assert model._nearer_ma(SmallInt(current_ma), SmallInt(power_w)) == nearer_ma


def test_a_motor_at_rest_that_draws_power_has_a_current_by_its_resistance_alone():
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(power_w=100)
    # 100 W in 250 mOhm: 20 A, from the limit of 25 A down.
    assert modelled.step(1_000).current_ma == 25_000
    assert abs(modelled.step(1_000, STEPS_TO_SETTLE).current_ma - 20_000) <= 100


def test_a_narrow_range_of_the_command_gives_the_battery_voltage_and_no_more():
    modelled = Modelled(MOTOR_SPEED, command_start_mv=1_000, command_max_mv=1_009)
    assert modelled.settle(9).motor_mv == 36_000


# From voltages to commands.


@pytest.mark.parametrize(
    ("voltage_mv", "command_mv"),
    # 15 V of 36 V of 2600 mV are 1083.3 mV.
    [(0, 1_000), (15_000, 2_083), (35_990, 3_599), (36_000, 3_600), (36_001, 3_600), (130_000, 3_600)],
)
def test_a_voltage_at_the_motor_takes_its_share_of_the_command(voltage_mv, command_mv):
    assert Modelled(MOTOR_SPEED).step(0).command_for(SmallInt(voltage_mv)) == command_mv


def test_without_a_battery_voltage_there_is_no_command_for_any():
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(battery_mv=9)
    assert modelled.step(0).command_for(SmallInt(15_000)) == 1_000
    modelled.see(battery_mv=10)
    assert modelled.step(0).command_for(SmallInt(15_000)) == 3_600


@pytest.mark.parametrize(
    ("voltage_mv", "change_uv"),
    # 1 V of 36 V of 2600 mV is 72.222 mV; rounded down also below 0.
    [(0, 0), (1_000, 72_222), (-1_000, -72_223), (125_000, 5_000_000), (-125_000, -5_000_000)],
)
def test_a_change_of_voltage_is_a_change_of_the_command(voltage_mv, change_uv):
    assert Modelled(MOTOR_SPEED).step(0).command_change_uv(SmallInt(voltage_mv)) == change_uv


def test_a_change_without_a_battery_voltage_is_as_of_one_volt():
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(battery_mv=0)
    assert modelled.step(0).command_change_uv(SmallInt(1)) == 2_600
    assert modelled.model.command_change_uv(SmallInt(100_000)) == 5_000_000


def test_the_command_of_the_back_emf_is_what_was_followed_less_the_drop():
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(speed_mm_per_s=3_000, power_w=216)
    model = modelled.settle(1_300)
    # 216 W of 36 V are 6 A from the battery, and at half of the voltage 12 A in the motor: 3 V of 36 V of
    # 2600 mV are 216 mV. The power stage has followed to 2301 mV. (15 V are 2083 mV.)
    assert model.found_emf_mv(SmallInt(6_000)) == 2_085
    assert model.found_emf_mv(SmallInt(0)) == 2_301
    assert model.found_emf_mv(SmallInt(100_000)) == 1_000  # Never in the dead band.


def test_a_motor_voltage_below_one_volt_counts_as_one():
    modelled = Modelled(MOTOR_SPEED)
    model = modelled.step(1_100, STEPS_TO_SETTLE)
    # 98 of 2600 mV of 36 V: 1.356 V. 250 mV of 1 A are 250 * 2600 / 1356 = 479 mV: below the dead band's end.
    assert model.motor_mv == 1_356
    assert model.found_emf_mv(SmallInt(1_000)) == 1_000
    model = modelled.step(1_030, STEPS_TO_SETTLE)
    assert model.motor_mv < 1_000
    # 2.5 mV of 10 mA, rounded down to 2: 2 * 2600 / 1000 = 5 mV.
    assert model.found_emf_mv(SmallInt(10)) == model.found_emf_mv(SmallInt(0)) - 5


@pytest.mark.parametrize(("motor_mv", "found_mv"), [(999, 1_651), (1_000, 1_651), (1_001, 1_652)])
def test_one_volt_at_the_motor_is_the_least_that_divides(motor_mv, found_mv):
    model = Modelled(MOTOR_SPEED).settle(1_300)
    model.motor_mv = SmallInt(motor_mv)
    # 1 A in 250 mOhm are 250 mV: 250 * 2600 / 1000 = 650 mV below 2301 mV.
    assert model.found_emf_mv(SmallInt(1_000)) == found_mv


# The ceiling.


def test_the_first_ceiling_comes_from_above():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000)
    model = modelled.step(0)
    # 250 W and a tenth are 275 W. From 25 A: R I^2 = 156.25 W, counted as 156;
    # 431 W / (10 + 12.5) V = 19.155 A; * 2600 mV / 25 A = 1992 mV.
    assert model.ceiling_mv(SmallInt(250)) == 2_992


@pytest.mark.parametrize(
    ("allowed_w", "command_mv"),
    # (sqrt(E^2 + 4 R P) - E) / 2 R with E = 10 V: 275 W 18.730 A, 220 W 15.778 A, 21 W 2.000 A,
    # 231 W 16.385 A, 1650 W 63.69 A, more than the limit. Times 104 mV / A.
    [(250, 2_948), (200, 2_641), (1, 1_208), (210, 2_704), (1_500, 3_600)],
)
def test_the_ceiling_draws_a_tenth_more_than_allowed_or_20_w(allowed_w, command_mv):
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000)
    model = modelled.step(0)
    for _ in range(20):
        model.ceiling_mv(SmallInt(allowed_w))
    # Tenths of volts and amperes and whole watts: within half a watt of 17 V, 30 mA, 3 mV; of 10 V, 100 mA.
    assert abs(model.ceiling_mv(SmallInt(allowed_w)) - command_mv) <= 10


def test_the_ceiling_of_the_highest_power_to_the_millivolt():
    model = Modelled().step(0)
    model.back_emf_mv = SmallInt(100_000)
    # 1650 W and, of 25 A, 156 W: 1806 W / (100 + 12.5) V = 16.053 A; * 2600 mV / 25 A = 1669 mV.
    assert model.ceiling_mv(SmallInt(1_500)) == 2_669


def test_the_ceiling_takes_up_what_was_learned_but_only_downward():
    def ceiling_mv(learned_permille: int) -> int:
        modelled = Modelled()
        modelled.see(speed_mm_per_s=2_000)
        modelled.model.learned_permille = SmallInt(learned_permille)
        model = modelled.step(0)
        for _ in range(20):
            model.ceiling_mv(SmallInt(250))
        return model.ceiling_mv(SmallInt(250))

    # 275 W / 1.25 = 220 W: 15.778 A, 2641 mV. A motor that seems to draw less gets no more.
    assert abs(ceiling_mv(1_250) - 2_641) <= 5
    assert abs(ceiling_mv(1_000) - 2_948) <= 5
    assert ceiling_mv(750) == ceiling_mv(999) == ceiling_mv(1_000)
    assert ceiling_mv(1_250) < ceiling_mv(1_010) < ceiling_mv(1_000)


@pytest.mark.parametrize(
    "settings",
    [
        {"kind": MOTOR_SPEED},
        {"kind": MOTOR_UNKNOWN},
        {"kind": MOTOR_TORQUE, "shunt_fitted": 0},
    ],
)
def test_no_other_motor_has_a_ceiling(settings):
    modelled = Modelled(**settings)
    modelled.see(speed_mm_per_s=2_000)
    assert modelled.step(2_000).ceiling_mv(SmallInt(1)) == 3_600


# Learning.


@pytest.mark.parametrize(
    ("power_w", "learned_permille"),
    # Of 164 W: 205 W are 1250, 206 W are 1256; 123 W are 750, 122 W are 743. What is off by more than a
    # quarter teaches nothing.
    [(164, 1_000), (180, 1_097), (205, 1_250), (206, 1_000), (123, 750), (122, 1_000)],
)
def test_on_the_torque_kind_the_factor_learns_the_power_within_a_quarter(power_w, learned_permille):
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000)
    model = modelled.settle(1_300)
    for _ in range(6_000):
        model.learn(SmallInt(power_w))
    assert model.learned_permille == learned_permille
    # Both ends of the power move with it, and the back-EMF does not.
    modelled.step(2_302)
    assert (model.least_w, model.most_w) == (164 * learned_permille // 1_000,) * 2
    assert (model.plain_emf_mv, model.back_emf_mv) == (10_000, 10_000)


def test_learning_goes_a_512th_of_the_way_in_a_step():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000)
    model = modelled.settle(1_300)
    for _ in range(512):
        model.learn(SmallInt(180))
    # 97 permille to go, 63 % of them in 512 steps.
    assert 1_058 <= model.learned_permille <= 1_063


def test_the_factor_stays_within_a_quarter_of_one():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=2_000)
    model = modelled.settle(1_300)
    for power_w in (200, 240, 300, 360):
        for _ in range(6_000):
            model.learn(SmallInt(power_w))
    assert model.learned_permille == 1_250
    for power_w in (170, 130, 110, 92):
        for _ in range(6_000):
            model.learn(SmallInt(power_w))
    assert model.learned_permille == 750


def test_on_the_speed_kind_the_factor_learns_the_back_emf():
    modelled = Modelled(MOTOR_SPEED)
    # The true back-EMF is 16.5 V instead of 15 V. 18 V leave 1.5 V: 6 A, 108 W.
    modelled.see(speed_mm_per_s=3_000, power_w=108)
    model = modelled.settle(1_300)
    for _ in range(6_000):
        modelled.step(2_302)
        model.learn(SmallInt(108))
    assert abs(model.learned_permille - 1_100) <= 3
    assert model.plain_emf_mv == 15_000
    assert abs(model.back_emf_mv - 16_500) <= 45


def test_on_the_speed_kind_the_factor_is_the_quotient_to_the_permille():
    model = Modelled(MOTOR_SPEED).model
    model.motor_mv, model.drop_mv, model.plain_emf_mv = SmallInt(18_000), SmallInt(1_500), SmallInt(15_000)
    for _ in range(6_000):
        model.learn(SmallInt(108))
    assert model.learned_permille == 1_100


@pytest.mark.parametrize("kind", [MOTOR_TORQUE, MOTOR_SPEED])
def test_the_least_that_divides_is_one(kind):
    model = Modelled(kind).model
    model.motor_mv = model.plain_emf_mv = model._plain_w = SmallInt(1)
    model._learned, model.learned_permille = SmallInt(1_250 * 512), SmallInt(1_250)
    model.learn(SmallInt(1))
    assert model._learned == 1_250 * 512 + 1_000 - 1_250


def test_without_any_back_emf_or_power_nothing_is_learned():
    for kind in (MOTOR_TORQUE, MOTOR_SPEED):
        modelled = Modelled(kind)
        model = modelled.step(2_302, STEPS_TO_SETTLE)
        modelled.see(battery_mv=0)
        model = modelled.step(0, STEPS_TO_SETTLE)
        model.learn(SmallInt(500))
        assert model.learned_permille == 1_000


# Limits.


@pytest.mark.parametrize(
    ("current_ma", "power_w", "limited"),
    # Four fifths of 25 A are 20 A; of 15 A at 36 V, 540 W, they are 432 W.
    [(19_999, 431, False), (20_000, 0, True), (19_999, 432, True), (0, 0, False), (25_000, 540, True)],
)
def test_near_a_current_limit_the_motor_controller_may_hold_back(current_ma, power_w, limited):
    model = Modelled(MOTOR_SPEED).step(0)
    model.current_ma = SmallInt(current_ma)
    assert model.limited(SmallInt(power_w)) is limited


# 5 m/s are 25 V, a quarter more 31.25 V: of 36 V that leaves 4.75 V, which drive 19 A through 250 mOhm.
@pytest.mark.parametrize(("current_ma", "limited"), [(18_999, False), (19_000, False), (19_001, True)])
def test_near_the_battery_voltage_the_power_may_be_held_back_on_the_torque_kind(current_ma, limited):
    modelled = Modelled()
    modelled.see(speed_mm_per_s=5_000)
    model = modelled.step(0)
    model.current_ma = SmallInt(current_ma)
    assert model.limited(SmallInt(0)) is limited
    modelled = Modelled(MOTOR_SPEED)
    modelled.see(speed_mm_per_s=5_000)
    model = modelled.step(0)
    model.current_ma = SmallInt(current_ma)
    assert not model.limited(SmallInt(0))


def test_above_the_battery_voltage_any_current_is_more_than_is_left():
    modelled = Modelled()
    modelled.see(speed_mm_per_s=8_000)
    model = modelled.step(0)
    model.current_ma = SmallInt(1)
    assert model.limited(SmallInt(0))


@pytest.mark.parametrize("settings", [{"kind": MOTOR_UNKNOWN}, {"kind": MOTOR_SPEED, "shunt_fitted": 0}])
def test_of_a_motor_that_is_not_known_nothing_is_said(settings):
    modelled = Modelled(**settings)
    modelled.see(speed_mm_per_s=3_000, power_w=200)
    model = modelled.step(3_000, 20)
    assert not model.known
    assert (model.back_emf_mv, model.current_ma, model.motor_mv, model.least_w, model.most_w) == (0,) * 5


MODEL_SETTINGS = (
    "back_emf_mv_per_m_per_s",
    "motor_resistance_mohm",
    "motor_current_limit_ma",
    "battery_current_limit_ma",
    "command_start_mv",
    "command_max_mv",
)


def _ends(lowest: int, highest: int) -> st.SearchStrategy[int]:
    return st.sampled_from([lowest, highest]) | st.integers(lowest, highest)


@given(
    kind=st.sampled_from([MOTOR_TORQUE, MOTOR_SPEED]),
    settings=st.fixed_dictionaries({name: _ends(*RANGES[name]) for name in MODEL_SETTINGS}),
    readings=st.lists(
        st.tuples(
            _ends(0, 5_000),
            _ends(0, WHEEL_MAX_MM_PER_S),
            _ends(0, 4_898),
            _ends(0, 100_000),
            _ends(0, 10_000),
        ),
        min_size=1,
        max_size=12,
    ),
    asked=st.tuples(_ends(1, 1_500), _ends(0, 131_000), _ends(-125_000, 125_000), _ends(0, 100_000)),
)
def test_whatever_the_settings_and_readings_every_product_is_a_small_integer(kind, settings, readings, asked):
    if settings["command_start_mv"] >= settings["command_max_mv"]:
        return
    modelled = Modelled(kind, **settings)
    model = modelled.model
    allowed_w, voltage_mv, change_mv, current_ma = map(SmallInt, asked)
    for command_mv, speed_mm_per_s, late_mm_per_s, battery_mv, power_w in readings:
        modelled.see(speed_mm_per_s, late_mm_per_s, battery_mv, power_w)
        modelled.step(command_mv)
        model.learn(SmallInt(power_w))
        model.limited(SmallInt(power_w))
        assert 750 <= model.learned_permille <= 1_250
        assert 0 <= model.lowest_emf_mv <= model.back_emf_mv <= model.highest_emf_mv <= 100_000
        assert 0 <= model.current_ma <= settings["motor_current_limit_ma"]
        assert 0 <= model.least_w <= 125_000
        start_mv, max_mv = settings["command_start_mv"], settings["command_max_mv"]
        assert start_mv <= model.ceiling_mv(allowed_w) <= max_mv
        assert start_mv <= model.command_for(voltage_mv) <= max_mv
        assert -5_000_000 <= model.command_change_uv(change_mv) <= 5_000_000
        if kind == MOTOR_SPEED:
            assert start_mv <= model.found_emf_mv(current_ma) <= max(5_000, start_mv)
