"""What several tests of tuning share, worked out once."""

import pytest

from host_sim.bikes.load import load_bike
from host_sim.tuning.recommend import tune_bike
from host_sim.tuning.score import PRIORITIES


@pytest.fixture(scope="session")
def folding_tuned():
    return tune_bike(load_bike("folding"), PRIORITIES["balanced"], lambda stage, stages: None)
