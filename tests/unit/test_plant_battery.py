"""The battery: a straight line of voltage, its ends, and what it refuses."""

import pytest

from host_sim.plant.battery import Battery

GOOD = {"full_v": 42.0, "empty_v": 31.0, "capacity_ah": 10.0, "resistance_ohm": 0.1, "charge": 0.5}


@pytest.mark.parametrize(("charge", "voltage_v"), [(0.0, 31.0), (0.5, 36.5), (1.0, 42.0)])
def test_the_unloaded_voltage_is_a_straight_line_over_the_charge(charge, voltage_v):
    assert Battery(**{**GOOD, "charge": charge}).voltage_v == pytest.approx(voltage_v)


def test_an_empty_pack_stays_empty_and_sags_from_there():
    battery = Battery(**{**GOOD, "charge": 0.0})
    battery.step(10.0, 3600.0)
    assert (battery.charge, battery.voltage_v) == (0.0, pytest.approx(30.0))


def test_charging_ends_at_full():
    battery = Battery(**{**GOOD, "charge": 1.0})
    battery.step(-10.0, 3600.0)
    assert (battery.charge, battery.voltage_v) == (1.0, pytest.approx(43.0))


def test_a_short_circuit_takes_the_voltage_to_0_and_not_below():
    battery = Battery(**GOOD)
    battery.step(1000.0, 0.005)
    assert battery.voltage_v == 0.0


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("full_v", 121.0, "full_v must be 1 to 120 V, got 121.0"),
        ("empty_v", 42.0, "empty_v must be below full_v, 42 V, got 42.0"),
        ("empty_v", 0.0, "empty_v must be 0.5 to 120 V, got 0.0"),
        ("capacity_ah", 0.0, "capacity_ah must be 0.1 to 500 Ah, got 0.0"),
        ("resistance_ohm", 0.0, "resistance_ohm must be 0.001 to 5 ohm, got 0.0"),
        ("charge", 1.1, "charge must be 0 to 1, got 1.1"),
    ],
)
def test_a_value_out_of_range_is_refused_by_name(name, value, message):
    with pytest.raises(ValueError, match=message):
        Battery(**{**GOOD, name: value})
