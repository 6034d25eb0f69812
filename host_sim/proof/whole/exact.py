"""Exact contracts: what a function of the firmware gives, from settings, arguments and fields.

No call uses them, so no other proof becomes longer. Each is proved of its function, in any state, with all
settings symbolic; so is that the function changes nothing else.
"""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import Call, Claims, Contract, Span, nothing
from host_sim.proof.whole.contract_proofs import contract_obligations
from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.program import HALF_PERIOD_US, Record, Stamp
from host_sim.proof.whole.solving import REFUTED, Facts

ANY = "any"
"""The range of a number of which nothing is said but by `ensures`."""


def exact(
    title: str,
    module: str,
    arguments: dict[str, Span],
    changes: tuple[str, ...],
    ensures: Callable[[Call], Claims],
    needs: Callable[[Call], Claims] = nothing,
) -> Contract:
    """Return a contract of a function of `firmware.` `module` that changes the named fields and no other.

    A named field of which `ensures` says nothing keeps its value.
    """

    def all_of(call: Call) -> Claims:
        claims = ensures(call)
        said = {what for what, _ in claims}
        left = (name for name in changes if f"{name} is exact" not in said)
        return [*claims, *((f"{name} is kept", call.is_kept(name)) for name in left)]

    return Contract(title, f"firmware.{module}", arguments, dict.fromkeys(changes, ANY), None, needs, all_of)


def exact_pieces(contract: Contract) -> list[tuple[list[Any], list[Clause]]]:
    """Return facts and claims: what the function gives, that it changes nothing else, that it can be called.

    That its numbers fit is shown of the whole step.
    """
    own = (f"{contract.title} gives", f"{contract.title} changes")
    pieces = []
    for facts, claims in contract_obligations(contract, others={}):
        mine = [one for one in claims if one[0].startswith(own)]
        if contract.needs is not nothing:
            mine.append((f"{contract.title}: what it needs can be met", can_be_met(facts)))
        pieces.append((facts, mine))
    return pieces


def can_be_met(facts: list[Any]) -> bool:
    """Tell whether there are numbers that meet all facts."""
    first, *others = facts
    return Facts([first]).prove(terms.negate(terms.every(*others))).verdict == REFUTED


def setting(call: Any, name: str) -> Any:
    """Return a setting."""
    for value in call.whole.store.values():
        if isinstance(value, Record) and value.kind.name == "Settings":
            return call.store[value.number, name]
    raise LookupError("the controller has no settings")


def fitted(call: Any, name: str) -> Any:
    """Tell whether a setting that is 0 or 1 is 1."""
    return terms.equal(setting(call, name), 1)


def reading(call: Call, path: str) -> Any:
    """Return a field of the argument `inputs`; of a stamp its offset."""
    value: Any = call.arguments["inputs"]
    for name in path.split("."):
        value = call.store[value.number, name]
    return value.offset if isinstance(value, Stamp) else value


def since_us(later_us: Any, earlier_us: Any) -> Any:
    """Return the difference of two stamps, brought into half the clock's period either side."""
    span_us = terms.subtract(later_us, earlier_us)
    if terms.low_of(span_us) >= -HALF_PERIOD_US and terms.high_of(span_us) < HALF_PERIOD_US:
        return span_us
    wrapped_us = terms.modulo(terms.add(span_us, HALF_PERIOD_US), 2 * HALF_PERIOD_US)
    return terms.subtract(wrapped_us, HALF_PERIOD_US)


def becomes(call: Call, **values: Any) -> Claims:
    """Return that each field is worth a number or a truth after the call."""
    return [(f"{name} is exact", _alike(call.after(name), value)) for name, value in values.items()]


def gives(call: Call, value: Any) -> Claims:
    """Return that the result is worth a number or a truth."""
    return [("the result is exact", _alike(call.result, value))]


def tells(value: Any, conditions: dict[int, Any]) -> Any:
    """Return that the bits of a value are these conditions, and that no other bit is set."""
    bits = terms.bits_of(value)
    if bits is None:
        return False
    places = range(max(len(bits), max(conditions) + 1))
    found = (bits[place] if place < len(bits) else False for place in places)
    return terms.every(
        *(_alike(one, conditions.get(place, False)) for place, one in zip(places, found, strict=True))
    )


def _alike(one: Any, other: Any) -> Any:
    if is_one_formula(one, other, {}):
        return True
    if terms.is_truth(one) or terms.is_truth(other):
        return terms.same(one, other)
    return terms.equal(one, other)


def is_one_formula(one: Any, other: Any, known: dict[tuple[int, int], bool]) -> bool:
    """Tell whether two terms are built alike, whatever ranges were noted of their parts."""
    one, other = terms.plain(one), terms.plain(other)
    if one is other:
        return True
    if not isinstance(one, terms.Term) or not isinstance(other, terms.Term):
        return type(one) is type(other) and not isinstance(one, terms.Term) and bool(one == other)
    pair = id(one), id(other)
    if pair not in known:
        known[pair] = (
            one.op == other.op != "var"
            and len(one.args) == len(other.args)
            and all(is_one_formula(a, b, known) for a, b in zip(one.args, other.args, strict=True))
        )
    return known[pair]
