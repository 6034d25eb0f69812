"""The whole recommendation as rows, changed or not."""

from host_sim.tuning.drive_rows import drive_rows, road_rows
from host_sim.tuning.lever_rows import lever_rows
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.row import Row
from host_sim.tuning.threshold_rows import sensor_rows, threshold_rows


def rows_of(tuned: Tuned) -> list[Row]:
    """Return a row for everything that was looked at, changed or not."""
    crank = [*sensor_rows(tuned), *threshold_rows(tuned)]
    return [*crank, *drive_rows(tuned), *road_rows(tuned), *lever_rows(tuned)]
