"""Colours of a heat map span what differs, and no noise."""

import numpy as np
import pytest

from host_sim.sweeping.panels import least_span


def test_what_hardly_varies_is_drawn_in_nearly_one_colour():
    low, high = least_span(np.array([0.84, 0.90, 0.98]))
    assert high - low == pytest.approx(0.3 * 0.98)
    assert low + high == pytest.approx(0.84 + 0.98)


def test_what_varies_takes_all_colours():
    assert least_span(np.array([0.1, 1.2])) == (0.1, 1.2)


def test_nothing_measured_has_a_span_too():
    assert least_span(np.array([])) == (0.0, 1.0)
