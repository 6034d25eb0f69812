"""Contradictions between readings: each at its limit, how long it must last, and what comes of it.

The defaults: a dead band up to 1000 mV, 5 V at 1 m/s, 25 A in the motor, 15 A from the battery. A quarter of
the cut-off speed, 1736 mm/s, is 8.68 V. A step is 5 ms.
"""

import pytest

from firmware.guard.plausibility import Plausibility
from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import ShuntWatch
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, MOTOR_UNKNOWN
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

DRIVING_MV = 2_000


class Judged:
    """The judge with what it compares, set by hand: a healthy bicycle that drives with 5 A, 180 W."""

    def __init__(self, kind: int, **settings: int):
        made = settings_with(motor_kind=kind, **settings)
        self.supply = Supply()
        self.wheel = Wheel(SmallInt(2_100), SmallInt(1))
        self.model = MotorModel(made)
        self.shunt = ShuntWatch(made, self.supply)
        self.judge = Plausibility(made, self.model, self.shunt, self.wheel, self.supply)
        self.wheel.speed_mm_per_s = SmallInt(3_000)
        self.read(5_000, 180)
        self.model.battery_mv = SmallInt(36_000)
        self.model.back_emf_mv = self.model.highest_emf_mv = SmallInt(15_000)
        self.model.least_w, self.model.most_w = SmallInt(170), SmallInt(190)
        self.model.motor_mv, self.model.drop_mv = SmallInt(17_500), SmallInt(2_500)

    def read(self, current_ma: int, power_w: int) -> None:
        self.supply.current_ma = SmallInt(current_ma)
        self.supply.power_w = SmallInt(power_w)

    def step(self, steps: int = 1, command_mv: int = DRIVING_MV) -> Plausibility:
        for _ in range(steps):
            self.judge.step(SmallInt(command_mv))
        return self.judge


def speed_kind(**settings: int) -> Judged:
    return Judged(MOTOR_SPEED, **settings)


def torque_kind(**settings: int) -> Judged:
    return Judged(MOTOR_TORQUE, **settings)


def faults(judge: Plausibility) -> list[str]:
    names = ("motor_silent", "power_low", "wheel_slow", "shunt_dead", "shunt_stuck")
    return [name for name in names if getattr(judge, name)]


def suspicion_after(judged: Judged, at_most: int = 400) -> int | None:
    """Return after how many steps help is withheld, or None."""
    for steps in range(1, at_most + 1):
        if judged.step().withheld:
            return steps
    return None


@pytest.mark.parametrize("kind", [speed_kind, torque_kind])
def test_a_healthy_bicycle_is_under_no_suspicion(kind):
    judged = kind()
    assert suspicion_after(judged, 5_000) is None
    assert faults(judged.judge) == []


# What contradicts what, on the torque kind.


@pytest.mark.parametrize(
    ("power_w", "steps"),
    # At the most 190 W: a quarter more and 40 W are 277 W. At the least 170 W: three quarters of them, 127 W,
    # less 40 W are 87 W.
    [(278, 60), (277, None), (87, None), (86, 60)],
)
def test_on_the_torque_kind_the_power_must_lie_between_its_bounds(power_w, steps):
    judged = torque_kind()
    judged.read(3_000, power_w)
    assert suspicion_after(judged) == steps


@pytest.mark.parametrize(
    ("current_ma", "least_w", "steps"),
    [(150, 30, 40), (151, 30, None), (150, 29, None), (0, 500, 40), (-150, 30, 40), (-151, 30, None)],
)
def test_on_the_torque_kind_no_current_contradicts_30_w(current_ma, least_w, steps):
    judged = torque_kind()
    judged.read(current_ma, 30)
    judged.model.least_w = SmallInt(least_w)
    assert suspicion_after(judged) == steps


def test_no_current_is_one_that_is_read_at_rest_as_well():
    judged = torque_kind()
    judged.shunt.rest_ma = SmallInt(5_000)
    assert suspicion_after(judged) == 40
    assert judged.step(40).motor_silent


@pytest.mark.parametrize(
    ("highest_emf_mv", "speed_mm_per_s", "steps"), [(8_679, 1, None), (8_680, 1, 60), (0, 0, 60)]
)
def test_too_much_power_tells_of_the_wheel_from_a_quarter_of_the_cut_off_speed_or_where_it_stands(
    highest_emf_mv, speed_mm_per_s, steps
):
    judged = torque_kind()
    judged.read(20_000, 700)
    judged.model.highest_emf_mv = SmallInt(highest_emf_mv)
    judged.wheel.speed_mm_per_s = SmallInt(speed_mm_per_s)
    assert suspicion_after(judged) == steps


# On the speed kind: the motor's voltage less the drop against the highest back-EMF.


@pytest.mark.parametrize(
    ("motor_mv", "steps"),
    # 15 V and a quarter are 18.75 V, a third of the drop of 2.5 V is 0.833 V, and 1.5 V: 21.083 V. With the
    # drop itself 23.583 V.
    [(23_583, None), (23_584, 60)],
)
def test_on_the_speed_kind_a_voltage_that_no_back_emf_explains_tells_of_the_wheel(motor_mv, steps):
    judged = speed_kind()
    judged.model.motor_mv = SmallInt(motor_mv)
    assert suspicion_after(judged) == steps


@pytest.mark.parametrize(("current_ma", "steps"), [(0, 40), (150, 40), (151, 60)])
def test_on_the_speed_kind_the_same_without_a_current_tells_of_the_motor(current_ma, steps):
    judged = speed_kind()
    judged.model.motor_mv = SmallInt(30_000)
    judged.read(current_ma, 0)
    assert suspicion_after(judged) == steps
    judged.step(steps)
    assert faults(judged.judge) == (["motor_silent"] if steps == 40 else [])


@pytest.mark.parametrize(
    ("highest_emf_mv", "speed_mm_per_s", "steps"), [(8_679, 1, None), (8_680, 1, 60), (0, 0, 60)]
)
def test_a_slow_wheel_is_not_judged(highest_emf_mv, speed_mm_per_s, steps):
    judged = speed_kind()
    judged.model.motor_mv = SmallInt(30_000)
    judged.model.highest_emf_mv = SmallInt(highest_emf_mv)
    judged.wheel.speed_mm_per_s = SmallInt(speed_mm_per_s)
    assert suspicion_after(judged) == steps


@pytest.mark.parametrize(
    ("current_ma", "power_w", "steps"),
    # Four fifths of 25 A and of 540 W.
    [(19_999, 431, 60), (20_000, 431, None), (19_999, 432, None)],
)
def test_where_a_limit_may_hold_the_voltage_back_it_tells_nothing(current_ma, power_w, steps):
    judged = speed_kind()
    judged.model.motor_mv = SmallInt(30_000)
    judged.model.current_ma = SmallInt(current_ma)
    judged.read(12_000, power_w)
    assert suspicion_after(judged) == steps


# How long, how often.


def silent() -> Judged:
    judged = torque_kind()
    judged.read(0, 0)
    return judged


def low() -> Judged:
    judged = torque_kind()
    judged.read(2_000, 60)
    return judged


def slow() -> Judged:
    judged = torque_kind()
    judged.read(20_000, 700)
    return judged


@pytest.mark.parametrize(
    ("contradiction", "steps", "times", "fault"),
    [(silent, 40, 2, "motor_silent"), (low, 60, 2, "power_low"), (slow, 60, 3, "wheel_slow")],
)
def test_a_contradiction_withholds_help_and_coming_back_is_a_fault(contradiction, steps, times, fault):
    judged = contradiction()
    for _ in range(times - 1):
        judged.step(steps)
        assert judged.judge.withheld
        assert faults(judged.judge) == []
    judged.step(steps - 1)
    assert faults(judged.judge) == []
    judged.step()
    assert faults(judged.judge) == [fault]
    # Until the command is back in the dead band.
    assert faults(judged.step(1, command_mv=1_001)) == [fault]
    assert faults(judged.step(1, command_mv=1_000)) == []


def test_help_is_withheld_for_180_steps():
    judged = silent()
    assert judged.step(40).withheld
    assert judged.step(179, command_mv=0).withheld
    assert not judged.step(1, command_mv=0).withheld


def test_a_contradiction_that_ends_a_step_too_soon_was_none():
    judged = silent()
    judged.step(39)
    judged.read(5_000, 180)
    judged.step()
    judged.read(0, 0)
    assert not judged.step(39).withheld
    assert judged.step().withheld


def test_another_contradiction_starts_its_own_time():
    judged = low()
    judged.step(59)
    judged.read(20_000, 700)
    assert suspicion_after(judged) == 60


def test_the_command_at_rest_ends_a_contradiction():
    judged = silent()
    judged.step(39)
    judged.step(1, command_mv=1_000)
    assert not judged.step(39).withheld
    assert judged.step().withheld


@pytest.mark.parametrize(("between", "fault"), [(959, ["motor_silent"]), (960, [])])
def test_five_seconds_without_a_suspicion_forgive_the_first(between, fault):
    judged = silent()
    judged.step(40)
    judged.step(between, command_mv=0)
    # The suspicion came in step 0; with the 40 steps that it takes the second comes in step 999 or 1000.
    judged.step(40)
    assert faults(judged.judge) == fault
    assert judged.judge.withheld


def test_a_cleared_fault_leaves_no_suspicion_behind():
    judged = silent()
    judged.step(80)
    assert judged.judge.motor_silent
    judged.judge.forget()
    assert not judged.judge.withheld
    judged.step(1, command_mv=0)
    assert not judged.judge.withheld
    judged.step(40)
    assert faults(judged.judge) == []
    assert judged.judge.withheld


def test_forgetting_starts_the_five_seconds_afresh():
    judged = silent()
    judged.step(990, command_mv=0)
    judged.judge.forget()
    judged.step(40)
    judged.step(950, command_mv=0)
    assert faults(judged.step(40)) == ["motor_silent"]


def test_a_suspicion_of_another_kind_begins_anew():
    judged = slow()
    judged.step(60)
    judged.read(2_000, 60)
    assert faults(judged.step(60)) == []
    assert faults(judged.step(60)) == ["power_low"]


# The shunt.


def test_a_fall_withholds_help_and_is_no_suspicion():
    judged = torque_kind()
    for _ in range(10):
        judged.shunt.fallen = True
        assert judged.step().withheld
        judged.shunt.fallen = False
        assert judged.step(179).withheld
        assert not judged.step().withheld
    assert faults(judged.judge) == []


def test_a_sag_without_a_current_is_a_dead_shunt_at_once_and_after_one_it_is_withheld():
    judged = speed_kind()
    judged.shunt.sags = True
    assert faults(judged.step()) == ["shunt_dead"]
    assert not judged.judge.withheld
    judged = speed_kind()
    judged.shunt.sags = judged.shunt.drawn = True
    assert faults(judged.step()) == []
    assert judged.judge.withheld


def test_a_current_that_was_drawn_is_nothing_by_itself():
    judged = speed_kind()
    judged.shunt.drawn = True
    assert not judged.step(100).withheld


def test_a_stuck_reading_is_a_fault_as_long_as_it_is_stuck():
    judged = speed_kind()
    judged.shunt.stuck = True
    assert faults(judged.step()) == ["shunt_stuck"]
    judged.shunt.stuck = False
    assert faults(judged.step()) == []


@pytest.mark.parametrize("settings", [{"kind": MOTOR_UNKNOWN}, {"kind": MOTOR_TORQUE, "shunt_fitted": 0}])
def test_of_a_motor_that_is_not_known_nothing_is_judged(settings):
    judged = Judged(**settings)
    judged.read(0, 0)
    judged.shunt.sags = judged.shunt.stuck = judged.shunt.fallen = True
    assert suspicion_after(judged, 1_000) is None
    assert faults(judged.judge) == []


# Learning.


def learned(judged: Judged, steps: int) -> int:
    judged.step(steps)
    return judged.model._learned - 512_000


def learning(**more: int) -> Judged:
    """Return a torque kind that gives 180 W where the settings say 164: 1097 permille."""
    judged = torque_kind(**more)
    judged.model._plain_w = SmallInt(164)
    judged.wheel.steady = True
    return judged


def test_the_model_learns_after_100_steps_of_steady_driving():
    judged = learning()
    assert learned(judged, 99) == 0
    assert learned(judged, 1) == 97
    assert learned(judged, 1) == 194
    judged.step(1, command_mv=1_000)
    assert learned(judged, 99) == 194
    assert learned(judged, 1) == 291


@pytest.mark.parametrize(("power_w", "learns"), [(60, False), (61, True)])
def test_the_model_learns_nothing_from_little_power(power_w, learns):
    judged = learning()
    judged.model.least_w = SmallInt(power_w)
    judged.read(2_000, power_w)
    judged.model._plain_w = SmallInt(58)
    assert (learned(judged, 100) > 0) is learns


def test_the_model_learns_nothing_while_the_speed_changes_or_a_limit_may_hold():
    judged = learning()
    judged.wheel.steady = False
    assert learned(judged, 200) == 0
    judged = learning()
    judged.model.current_ma = SmallInt(20_000)
    assert learned(judged, 200) == 0


def test_the_model_learns_nothing_from_a_contradiction():
    judged = learning()
    judged.read(5_000, 278)
    judged.model._plain_w = SmallInt(278)
    judged.step(30)
    judged.model._plain_w = SmallInt(250)
    assert learned(judged, 110) == 0
