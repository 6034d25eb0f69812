"""Fixtures for pytest, available as soon as treadle is installed: their names begin with `treadle_`.

Nothing else of treadle is imported before a test asks for it: other tests start as fast as without, and a
measurement of coverage sees every line.
"""

from collections.abc import Callable
from typing import Any

import pytest


@pytest.fixture
def treadle_bike() -> Callable[[str], Any]:
    """Load a bike file, or an example bike by its name: `treadle_bike("folding")`."""
    from host_sim.testing import load_bike

    return load_bike


@pytest.fixture
def treadle_bench() -> Callable[..., Any]:
    """Put a bike on a bench: `treadle_bench("folding", seed=1, controller=Mine)`."""
    from host_sim.testing import bench_for

    return bench_for


@pytest.fixture
def treadle_rig() -> Callable[..., Any]:
    """Build a rig: `treadle_rig(controller=Mine, pulses_per_rev=24)` changes the default settings."""
    from host_sim.testing import rig_for

    return rig_for


@pytest.fixture
def treadle_rule() -> Callable[..., None]:
    """Check a controller against a rule: `treadle_rule("cut-off distance", "folding", Mine)`."""
    from host_sim.testing import assert_rule_holds

    return assert_rule_holds
