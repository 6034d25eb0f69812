"""What tests let a worker process do."""

from host_sim.rules import (
    campaign_probes,
    driving_probes,
    failing_probes,
    probe,
    speeding_probes,
    stopping_probes,
)

MODULES = (campaign_probes, driving_probes, failing_probes, probe, speeding_probes, stopping_probes)


def where_the_probes_come_from(_: object) -> tuple[bool, ...]:
    """Tell for each module of probes whether it is machine code in this process."""
    return tuple(str(module.__file__).endswith((".so", ".pyd")) for module in MODULES)
