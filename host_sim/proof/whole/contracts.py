"""All contracts: each shown once on its function, used at every call."""

from typing import Any

from host_sim.proof.whole import (
    contracts_decide,
    contracts_drive,
    contracts_faults,
    contracts_gate,
    contracts_motor,
    contracts_sense,
)
from host_sim.proof.whole.contract import Contract

CONTRACTS: tuple[Contract, ...] = (
    *contracts_sense.CONTRACTS,
    *contracts_motor.CONTRACTS,
    *contracts_decide.CONTRACTS,
    *contracts_drive.CONTRACTS,
    *contracts_faults.CONTRACTS,
    *contracts_gate.CONTRACTS,
)
BY_TITLE: dict[str, Any] = {one.title: one for one in CONTRACTS}
KEEPING = {title: one for title, one in BY_TITLE.items() if title != "OutputGuard.permit"}
"""For the induction: the gate keeps its own invariant, so it is run itself there."""
