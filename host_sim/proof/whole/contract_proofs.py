"""Each contract shown on its function itself: on every object that has it, with any arguments it allows."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import COMPONENTS, INPUTS, Call, Contract, any_value
from host_sim.proof.whole.contracts import BY_TITLE
from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.program import Function, Record, Stamp
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.terms import at_least, at_most, both, implies

STEP_GAP_US = (0, 532_620_911)


def contract_obligations(
    contract: Contract, kind: int | None = None, others: dict[str, Any] | None = None
) -> list[tuple[list[Any], list[Clause]]]:
    """Return facts and claims for every object of the controller that has the function.

    What it calls is taken from the contracts `others`, which are all if none are given.
    """
    owners: list[Record | None] = [None]
    situation = Situation(kind)
    if "." in contract.title:
        wanted = contract.title.split(".")[0]
        owners = [record for record in _records(situation) if record.kind.name == wanted]
        if not owners:
            raise LookupError(f"the controller has no object for the contract of {contract.title}")
    known = BY_TITLE if others is None else others
    used = {title: one for title, one in known.items() if title != contract.title}
    return [_shown(contract, kind, None if owner is None else owner.number, used) for owner in owners]


def _records(situation: Situation) -> list[Record]:
    """Return the controller and all its objects."""
    stored = (value for value in situation.interpreter.store.values() if isinstance(value, Record))
    return list({one.number: one for one in (situation.controller, *stored)}.values())


def _shown(
    contract: Contract, kind: int | None, owner_number: int | None, others: dict[str, Any]
) -> tuple[list[Any], list[Clause]]:
    situation = Situation(kind, others)
    situation.remember_anything()
    whole = situation.interpreter
    whole.facts, whole.obligations = [], []
    module = whole.module(contract.module)
    owner: Record | None = None
    if owner_number is None:
        function = whole.function(contract.module, contract.title)
    else:
        owner = next(one for one in _records(situation) if one.number == owner_number)
        function = Function(owner.kind.methods[contract.title.split(".")[1]], module, owner, owner.kind)
    arguments: list[Any] = []
    for name, span in contract.arguments.items():
        if span == INPUTS:
            arguments.append(situation.any_inputs(STEP_GAP_US[1], 0, 0))
            continue
        if span in COMPONENTS:
            arguments.append(whole.get(situation.controller, str(span)))
            continue
        value = any_value(f"argument {name}", span)
        if span == STAMP:
            value = terms.integer(f"argument {name}", -(1 << 29), STEP_GAP_US[1])
        arguments.append(Stamp(value) if span == STAMP else value)
    call = Call(whole, function, arguments)
    facts = [situation.legal, *(claim for _, claim in contract.all_needs(call))]
    call.result = whole.run_body(function, arguments)
    call.later = dict(whole.store)
    claims = [(f"{one.where}: {one.what}", implies(one.path, one.claim)) for one in whole.obligations]
    claims += [(f"{contract.title} gives: {what}", claim) for what, claim in contract.ensures(call)]
    claims += _in_range(contract, call)
    changes = {call.key_of(name) for name in contract.changes}
    for key, value in call.later.items():
        if key not in call.store or terms.plain(value) is terms.plain(call.store[key]):
            continue
        if isinstance(value, Stamp) and value.offset is getattr(call.store[key], "offset", None):
            continue
        if key not in changes:
            claims.append((f"{contract.title} changes nothing but what it says, not {key[1]}", False))
    return facts + whole.facts, claims


def _in_range(contract: Contract, call: Call) -> list[Clause]:
    claims: list[Clause] = []
    spans = [(name, span, call.after(name)) for name, span in contract.changes.items()]
    if contract.gives is not None:
        spans.append(("the result", contract.gives, call.result))
    for name, span, value in spans:
        if not isinstance(span, str):
            # What it gives is a claim of its own, so the range may follow from it.
            given = terms.every(*(claim for _, claim in contract.ensures(call)))
            within = implies(given, both(at_least(value, span[0]), at_most(value, span[1])))
            claims.append((f"{contract.title}: {name} is in its range", within))
    return claims
