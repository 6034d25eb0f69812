"""A number is refused by name, with what is allowed."""

import pytest

from host_sim.plant.limits import require, require_whole


@pytest.mark.parametrize("value", [1, 1.0, 2.5, 3])
def test_a_number_inside_comes_back_as_a_float(value):
    assert require("lag_s", value, 1.0, 3.0) == value
    assert isinstance(require("lag_s", value, 1.0, 3.0), float)


@pytest.mark.parametrize("value", [0.999, 3.001, float("nan"), float("inf"), True, "2", None])
def test_anything_else_is_refused_by_name_range_and_value(value):
    with pytest.raises(ValueError, match=rf"^lag_s must be 1 to 3 s, got {value!r}$"):
        require("lag_s", value, 1.0, 3.0, "s")


@pytest.mark.parametrize("value", [0, 4, 1.0, True, "2", None])
def test_a_whole_number_is_whole(value):
    assert require_whole("pulses", 3, 1, 3) == 3
    with pytest.raises(ValueError, match=rf"^pulses must be a whole number from 1 to 3, got {value!r}$"):
        require_whole("pulses", value, 1, 3)
