"""Looks for numbers that refute a claim before the solver is asked: most mutants fall to the first few."""

import random
from collections.abc import Iterator
from functools import cache
from typing import Any

from firmware.settings import TABLE
from host_sim.proof.whole.counterexample import VARIANTS
from host_sim.proof.whole.numbers_of import compiled
from host_sim.proof.whole.terms import Term, in_order

TRIES = 400
SETTINGS = {row[0]: (row[1], row[2], row[3]) for row in TABLE}
Numbers = dict[str, int | bool]


def refuted_by_numbers(facts: list[Any], claims: list[tuple[str, Any]]) -> str | None:
    """Return the sentence of the first claim that numbers break which meet all facts; None if none do."""
    roots = [*facts, *(claim for _, claim in claims)]
    work_out = compiled(roots)
    variables = {term.args[0]: term for term in in_order(roots) if term.op == "var"}
    constants = tuple(sorted({arg for term in in_order(roots) for arg in term.args if type(arg) is int}))
    for numbers in _tried(variables, constants):
        found = work_out(numbers)
        if all(found[: len(facts)]):
            for (what, _), holds in zip(claims, found[len(facts) :], strict=True):
                if not holds:
                    return what
    return None


def _tried(variables: dict[str, Term], constants: tuple[int, ...]) -> Iterator[Numbers]:
    """Give numbers for all variables, the same each time; ends, constants and one another's are likely."""
    dice = random.Random(1)
    bicycles = _bicycles()
    for turn in range(TRIES):
        numbers: Numbers = dict(bicycles[turn % len(bicycles)])
        for name, term in variables.items():
            if term.kind == "truth":
                numbers[name] = dice.random() < 0.5
            elif name not in SETTINGS:
                numbers[name] = _drawn(dice, term, constants, numbers)
        for name in dice.sample(sorted(SETTINGS), turn % 4):
            if name in variables:
                numbers[name] = _drawn(dice, variables[name], constants, numbers)
        yield numbers


def _drawn(dice: random.Random, term: Term, constants: tuple[int, ...], numbers: Numbers) -> int:
    low, high, way = term.low, term.high, dice.randrange(5)
    if way == 0:
        return dice.choice((low, high, min(low + 1, high)))
    if way == 1 and constants:
        found = dice.choice(constants) + dice.choice((-1, 0, 1))
    elif way == 2 and numbers:
        found = int(dice.choice(list(numbers.values()))) + dice.choice((-1, 0, 1))
    elif way == 3:
        found = dice.choice((1, -1)) * dice.randrange(10 ** dice.randrange(1, 9))
    else:
        found = dice.randint(low, high)
    return found if low <= found <= high else dice.randint(low, high)


@cache
def _bicycles() -> list[Numbers]:
    """Return legal settings: those that counterexamples are looked for with, for each kind of sensor."""
    plain: Numbers = {name: default for name, (default, _, _) in SETTINGS.items()}
    return [{**plain, **some, "sensor_kind": kind} for some in VARIANTS.values() for kind in (0, 1, 2)]
