"""All exact contracts, and the jobs that show them."""

from typing import Any

from host_sim.proof.whole.contract import Contract
from host_sim.proof.whole.exact import exact_pieces
from host_sim.proof.whole.exact_crank import EXACT_CRANK
from host_sim.proof.whole.exact_decide import EXACT_DECIDE
from host_sim.proof.whole.exact_drive import EXACT_DRIVE
from host_sim.proof.whole.exact_edges import EXACT_EDGES
from host_sim.proof.whole.exact_faults import EXACT_FAULTS
from host_sim.proof.whole.exact_guard import EXACT_GUARD
from host_sim.proof.whole.exact_judge import EXACT_JUDGE
from host_sim.proof.whole.exact_motor import EXACT_MOTOR
from host_sim.proof.whole.exact_sense import EXACT_SENSE
from host_sim.proof.whole.exact_settings import settings_pieces
from host_sim.proof.whole.exact_step import EXACT_STEP, start_pieces
from host_sim.proof.whole.exact_wheel import EXACT_WHEEL
from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.joining import Joining, joined_piece
from host_sim.proof.whole.joins_controller import JOINS_CONTROLLER
from host_sim.proof.whole.joins_crank import JOINS_CRANK
from host_sim.proof.whole.joins_guard import JOINS_GUARD

EXACT: dict[str, Contract] = {
    one.title: one
    for one in (
        *EXACT_SENSE,
        *EXACT_WHEEL,
        *EXACT_EDGES,
        *EXACT_CRANK,
        *EXACT_MOTOR,
        *EXACT_JUDGE,
        *EXACT_FAULTS,
        *EXACT_DECIDE,
        *EXACT_DRIVE,
        *EXACT_GUARD,
        *EXACT_STEP,
    )
}
JOINED: dict[str, tuple[Joining, int | None]] = {
    f"joined {one.title}" + ("" if kind is None else f", kind {kind}"): (one, kind)
    for one in (*JOINS_CONTROLLER, *JOINS_CRANK, *JOINS_GUARD)
    for kind in one.kinds
}
START, ACCEPTED = "exact start", "exact settings"
EXACT_JOBS = (*(f"exact {title}" for title in EXACT), *JOINED, START, ACCEPTED)


def exact_jobs_of(components: tuple[str, ...]) -> tuple[str, ...]:
    """Return the jobs of the exact contracts of classes; KeyError for a class without any."""
    jobs: list[str] = []
    for component in components:
        own = [job for job in EXACT_JOBS if job.startswith((f"exact {component}.", f"joined {component}."))]
        if not own:
            raise KeyError(component)
        jobs += own
    return tuple(jobs)


def exact_job(name: str) -> list[tuple[list[Any], list[Clause]]]:
    """Return facts and claims of one of EXACT_JOBS."""
    if name in JOINED:
        return [joined_piece(*JOINED[name])]
    if name == START:
        return start_pieces()
    return settings_pieces() if name == ACCEPTED else exact_pieces(EXACT[name.removeprefix("exact ")])
