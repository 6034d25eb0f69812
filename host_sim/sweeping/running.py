"""A sweep from its first ride to its files: rides what has no row yet, then writes table and figures.

The drawing code takes as long to import as to draw, so it is imported while processes ride.
"""

import pickle
import time
from collections.abc import Iterator
from functools import partial
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import Any

from host_sim.compiled.build import HOT, is_built
from host_sim.compiled.workers import Workers
from host_sim.outputs import Delivery
from host_sim.rules.judge import Done, Say
from host_sim.sweeping.cluster import Cluster
from host_sim.sweeping.column_units import column_units
from host_sim.sweeping.rows import Sweep, rows_of
from host_sim.sweeping.summary import summary
from host_sim.sweeping.table_file import Unfinished

COMPILING_PAYS_S = 60.0
INTERPRETED_TIMES = 260.0  # Times real time that a ride takes interpreted (DEVELOPERS.md, "Speed").
BATCH = 8
BATCH_FAR = 32  # To a cluster: its scheduler takes a millisecond a batch, a ride takes some five.


def ride_missing(
    swept: Sweep, rows: Unfinished, workers: int, cluster: str | None, done: Done, say: Say
) -> float:
    """Ride everything that has no row yet; return how long the rides took, in seconds.

    They ride in `workers` processes here, or on the `cluster` at that address. `done(rows, all)` reports
    progress; `say` gets a notice if something slows the rides down.
    """
    numbers = range(rows.rows, swept.count)
    batch = BATCH if cluster is None else BATCH_FAR
    batches = [list(numbers[at : at + batch]) for at in range(0, len(numbers), batch)]
    done(rows.rows, swept.count)
    if cluster is not None:
        with Cluster(cluster) as far:
            if far.notice:
                say(far.notice)
            return _keep(far.rows(swept, batches), rows, done, swept.count)
    compiled = swept.build is None and (_compiling_pays(swept, len(numbers), workers) or is_built(HOT))
    with Workers(min(workers, len(batches)), compiled, say, at_once=True) as here:
        if here.notice:
            say(here.notice)
        Thread(target=import_module, args=("host_sim.sweeping.slices",), daemon=True).start()
        lines = here.map(partial(rows_of, pickle.dumps(swept)), batches, batch=1)
        return _keep(lines, rows, done, swept.count)


def _compiling_pays(swept: Sweep, rides: int, workers: int) -> bool:
    """Return whether so many rides take longer interpreted than they and a compilation do."""
    of_rules = swept.rides * len(swept.rules)
    return rides * swept.seconds * (1 + of_rules) / workers > COMPILING_PAYS_S * INTERPRETED_TIMES


def _keep(lines: Iterator[list[str]], rows: Unfinished, done: Done, count: int) -> float:
    """Store the rows as they arrive; return how many seconds that took."""
    started_s = time.perf_counter()
    for some in lines:
        rows.add(some)
        done(rows.rows, count)
    return time.perf_counter() - started_s


def deliver(swept: Sweep, rows: Unfinished, table: Path, force: bool) -> tuple[list[Path], dict[str, Any]]:
    """Write table and figures whole, then remove the unfinished rows. Return the files, and the numbers."""
    from host_sim.sweeping.figures import draw_heat_map, heat_map_possible
    from host_sim.sweeping.numbers import read_numbers
    from host_sim.sweeping.slices import draw_slices

    rows.close()
    numbers = read_numbers(rows.read(), swept)
    heat = table.with_name(table.stem + "-heat.png").name
    slices = table.with_name(table.stem + "-slices.png").name
    drawn = (heat, slices) if heat_map_possible(numbers, swept.rules) else (slices,)
    with Delivery(table.parent, (table.name, *drawn), force) as delivery:
        rows.write_table(delivery.place(table.name), swept.points.count, column_units(swept))
        draw_slices(numbers, delivery.place(slices), swept.rules)
        if heat in drawn:
            draw_heat_map(numbers, delivery.place(heat), swept.rules)
        files = delivery.deliver()
    rows.forget()
    return files, summary(numbers, swept.rules)
