"""What several tests of tuning share, worked out once."""

import pytest

from host_sim.bikes.load import load_bike
from host_sim.compiled.build import HOT, is_built
from host_sim.tuning.apart import tune_apart
from host_sim.tuning.recommend import tune_bike
from host_sim.tuning.score import PRIORITIES


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """What needs a whole recommendation is long: without the compiled copy it takes a minute."""
    for item in items:
        if "folding_tuned" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.long)


@pytest.fixture(scope="session")
def folding_tuned():
    # Compiled where that is there already: seconds instead of a minute, and the same to the last digit.
    tuned_by = tune_apart if is_built(HOT) else tune_bike
    return tuned_by(load_bike("folding"), PRIORITIES["balanced"], lambda stage, stages: None)
