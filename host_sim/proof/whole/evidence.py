"""What a property rests on: the jobs of its statements, the induction below them, and both in words."""

from typing import Any

from firmware.settings import TABLE
from host_sim.proof.whole.contract import Contract, nothing
from host_sim.proof.whole.edges import SIDES
from host_sim.proof.whole.exact_all import ACCEPTED, EXACT, EXACT_JOBS, JOINED, START
from host_sim.proof.whole.induction import longest_gap_us
from host_sim.proof.whole.jobs import SHARES, SHOWN
from host_sim.proof.whole.joining import Joining
from host_sim.proof.whole.ranges import RANGES
from host_sim.proof.whole.statement import ALL_KINDS
from host_sim.proof.whole.statements import STATEMENTS

INDUCTION = (
    *(f"step keeps, kind {kind}, part {share}" for kind in ALL_KINDS for share in range(SHARES)),
    *(f"step back keeps, kind {kind}" for kind in ALL_KINDS),
    *(f"edge keeps {side}, kind {kind}" for side in SIDES for kind in ALL_KINDS),
    *(f"constructor, kind {kind}" for kind in ALL_KINDS),
    *(f"contract {title}" for title in SHOWN),
    *(f"premises, kind {kind}" for kind in ALL_KINDS),
    "kinds complete",
    "clock is relative",
)
"""What every statement takes for given, shown of the constructors, of each edge and of each step."""


def jobs_of(statements: tuple[str, ...]) -> tuple[str, ...]:
    """Return the jobs of statements, for each kind of sensor that they speak of."""
    return tuple(f"{name}, kind {kind}" for name in statements for kind in STATEMENTS[name].kinds)


def needed_jobs(statements: tuple[str, ...]) -> tuple[str, ...]:
    """Return the jobs of statements and of what they take for given; none for no statement."""
    return (*INDUCTION, *jobs_of(statements)) if statements else ()


def in_words(statements: tuple[str, ...], jobs: tuple[str, ...]) -> dict[str, Any] | None:
    """Return what is stated, what is symbolic and over which range, what is assumed, and what shows it.

    None if no job of the whole step belongs to the property.
    """
    if not jobs:
        return None
    settings = {row[0]: [row[2], row[3]] for row in TABLE}
    if jobs == EXACT_JOBS:
        return {
            "statements": [{"name": title, "sentence": _changes(one)} for title, one in EXACT.items()]
            + [{"name": name, "sentence": _calls(one)} for name, (one, _) in JOINED.items()]
            + [
                {"name": START, "sentence": "a new controller starts at rest with nothing learned"},
                {"name": ACCEPTED, "sentence": "exactly the legal settings are accepted"},
            ],
            "symbolic": {
                "settings": settings,
                "state": f"{len(RANGES)} fields, each in its range of host_sim/proof/whole/ranges.py",
                "arguments": {title: _spans(one) for title, one in EXACT.items()},
            },
            "assumed": ["settings are legal: the constructor accepts them"]
            + [f"{title}: {_needed(one)}" for title, one in EXACT.items() if one.needs is not nothing],
            "shown_by": list(EXACT_JOBS),
        }
    read = {title: one for title, one in EXACT.items() if f"exact {title}" in jobs}
    return {
        "statements": [
            *({"name": name, "sentence": STATEMENTS[name].sentence} for name in statements),
            *({"name": title, "sentence": _changes(one)} for title, one in read.items()),
            *({"name": name, "sentence": _calls(one)} for name, (one, _) in JOINED.items() if name in jobs),
        ],
        "symbolic": {
            "settings": settings,
            "state": f"{len(RANGES)} fields, each in its range of host_sim/proof/whole/ranges.py",
            "readings": "all of host_sim/proof/whole/ranges.py, INPUTS",
            "edges": "any number, with any levels and times in order",
            "longest_gap_us": {str(kind): longest_gap_us(kind) for kind in ALL_KINDS},
            "arguments": {title: _spans(one) for title, one in read.items()},
        },
        "assumed": [
            "settings are legal: the constructor accepts them",
            "edges come in the order of their times, from the last step to 5 ms after the call",
            "a step back in time is by less than half the clock's period less 10 s; its edges came before it",
            *(f"{title}: {_needed(one)}" for title, one in read.items() if one.needs is not nothing),
        ],
        "shown_by": [
            *jobs_of(statements),
            *(job for job in jobs if job in EXACT_JOBS),
            "the induction: step keeps, step back keeps, edge keeps, constructor, contracts",
            "premises: what each statement assumes is met, of steps by rides of a real controller",
        ],
    }


def _changes(contract: Contract) -> str:
    changed = ", ".join(contract.changes) or "nothing"
    return f"its result is exact; it changes {changed}, exactly, and nothing else"


def _calls(one: Joining) -> str:
    cases = "; ".join(case.name for case in one.cases if case.name)
    return "it calls what it should, with what it should, in order" + (f"; cases: {cases}" if cases else "")


def _spans(contract: Contract) -> dict[str, Any]:
    return {name: span if isinstance(span, str) else list(span) for name, span in contract.arguments.items()}


def _needed(contract: Contract) -> str:
    return (contract.needs.__doc__ or contract.needs.__name__.strip("_").replace("_", " ")).strip()
