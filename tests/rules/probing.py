"""What tests let a worker process do."""

from firmware.records import Outputs
from host_sim.bikes.load import load_bike
from host_sim.rules import (
    driving_probes,
    failing_probes,
    probe,
    speeding_probes,
    stopping_probes,
)
from host_sim.rules.probe import Probe, watched_by
from host_sim.rules.scenarios import NUDGES

MODULES = (driving_probes, failing_probes, probe, speeding_probes, stopping_probes)


def where_the_probes_come_from(_: object) -> tuple[bool, ...]:
    """Tell for each module of probes whether it is machine code in this process."""
    return tuple(str(module.__file__).endswith((".so", ".pyd")) for module in MODULES)


class Counting(Probe):
    """Counts what it is shown. Interpreted, also where the class that it derives from is machine code."""

    watches_edges = True
    looks = 0
    edges = 0

    def edge(self, time_us: int, levels: int) -> None:
        self.edges += 1

    def look(self, outputs: Outputs) -> None:
        self.looks += 1
        self.saw(self.world.bicycle.speed_m_per_s + outputs.command_mv)


def counted(number: int) -> tuple[int, int, float | None]:
    """Return looks, edges and the highest measurement of ride `number`."""
    case = NUDGES.case(load_bike("tandem"), number)
    assert case is not None
    bench = case.bench()
    probe = Counting(case)
    watched_by(bench, probe)
    bench.ride(case.script(), case.course.seconds)
    return probe.looks, probe.edges, probe.measured
