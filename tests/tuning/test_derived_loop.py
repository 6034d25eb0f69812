"""The power loop that follows from a bike's own numbers is one that tuning would hardly change."""

import pytest

from host_sim.bikes.load import load_bike
from host_sim.bikes.power_loop_of import most_w_per_v
from host_sim.tuning.drive import GAINS_AS_GOOD
from host_sim.tuning.drive_bench import DriveBench, DriveSettings
from host_sim.tuning.drive_rides import measure_drive
from host_sim.tuning.identify import identify_at
from host_sim.tuning.operating import OperatingPoint
from host_sim.tuning.score import PRIORITIES
from host_sim.tuning.simc import simc
from host_sim.tuning.variant import with_settings
from tests.on_compiled import on_compiled
from tests.reference.textbook_rules import half_rule
from tests.tuning.derived_loop import derived_all
from tests.tuning.invented import CONTROLLERS, VOLTS, WATTS, invented

# What tuning made of these while the score took the answer to a slope for a jerk: rise rate, gain, integral
# time.
SOFTER = {
    (24.0, 750.0): (340, 54, 29),
    (36.0, 1500.0): (390, 30, 22),
    (48.0, 1500.0): (310, 28, 20),
    (72.0, 750.0): (450, 220, 107),
}


def w_per_v(bike) -> float:
    now = bike.firmware_settings
    return most_w_per_v(bike, now.power_limit_w, now.taper_start_mm_per_s)


@pytest.mark.parametrize("kind", CONTROLLERS)
@pytest.mark.parametrize("volts", VOLTS)
@pytest.mark.parametrize("watts", WATTS)
def test_gain_and_integral_time_come_from_the_half_rule_that_tuning_uses(volts, watts, kind):
    bike = invented(volts, watts, kind)
    # The power stage, the smoothing of the current, a period and half a period of holding.
    model = half_rule(w_per_v(bike), [bike.motor_controller.lag_s, 0.020], 0.0075)
    gains = simc(model, model.dead_time_s * (1.0 if kind == "speed" else 5.0))
    now = bike.firmware_settings
    assert now.gain_uv_per_w == pytest.approx(1e6 * gains.gain, abs=0.51)
    assert now.integral_ms == pytest.approx(1000.0 * gains.integral_s, abs=0.51)


@pytest.mark.parametrize(
    "bike",
    [load_bike("tandem"), load_bike("cargo_trike"), invented(36.0, 750.0, "speed")],
    ids=lambda bike: bike.title,
)
def test_a_volt_moves_as_many_watts_as_steps_of_the_command_on_the_bench(bike):
    taper_m_per_s = bike.firmware_settings.taper_start_mm_per_s / 1000.0
    plant = identify_at(bike, OperatingPoint(taper_m_per_s, 1.0, 1.0))
    assert plant is not None
    assert w_per_v(bike) == pytest.approx(plant.model.gain, rel=0.15)


@pytest.mark.long
def test_a_tenth_of_it_on_a_speed_controller_of_750_w_breaks_a_rule_and_the_derived_gain_does_not():
    # 36 uV/W and 45 ms were derived before: "power when a slope begins" measured 51 J of 40 J.
    bike = invented(48.0, 750.0, "speed")
    assert bike.firmware_settings.gain_uv_per_w > 200
    before = measure_drive(with_settings(bike, {"gain_uv_per_w": 36, "integral_ms": 45}))
    assert before.excess_j > 40.0
    assert measure_drive(bike).excess_j < 5.0


@pytest.mark.long
@pytest.mark.parametrize(("name", "rise"), [("cargo_trike", 1560), ("tandem", 440)])
@on_compiled
def test_four_times_as_much_and_a_quarter_are_both_worse(name, rise):
    bike = load_bike(name)
    now = bike.firmware_settings
    plants = [identify_at(bike, OperatingPoint(now.taper_start_mm_per_s / 1000.0, 1.0, 1.0))]
    bench = DriveBench(bike, plants, PRIORITIES["balanced"])
    less, derived, more = (
        bench.ride(DriveSettings(rise, round(factor * now.gain_uv_per_w), now.integral_ms)).score
        for factor in (0.25, 1.0, 4.0)
    )
    assert derived < min(less, more)


@pytest.mark.long
@pytest.mark.parametrize(("volts", "watts"), SOFTER)
def test_a_strong_motor_needs_no_softer_loop_than_the_derived_one(volts, watts):
    bike = invented(volts, watts, "speed")
    now = bike.firmware_settings
    plants = [identify_at(bike, OperatingPoint(now.taper_start_mm_per_s / 1000.0, 1.0, 1.0))]
    bench = DriveBench(bike, plants, PRIORITIES["balanced"])
    rise, *softer = SOFTER[volts, watts]
    derived = bench.ride(DriveSettings(rise, now.gain_uv_per_w, now.integral_ms))
    assert derived.score <= GAINS_AS_GOOD * bench.ride(DriveSettings(rise, *softer)).score


@pytest.mark.slow
def test_tuning_keeps_the_derived_loop_of_shipped_and_invented_bicycles():
    found = list(derived_all())
    assert len(found) == 34
    assert [one.title for one in found if one.tuned != one.derived] == []
