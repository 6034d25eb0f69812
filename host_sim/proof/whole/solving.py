"""Asks z3 whether a claim follows from facts, with as little of the formula as is enough.

A term is cut at merged values, products and quotients: each becomes a variable with its known range, and its
definition is a fact like others. A claim is first tried with few definitions, those of what is near to it;
then numbers that refute it tell which others are needed. Leaving out facts is safe: what follows from a part
of them follows from all. Only numbers that break no definition and no fact are a counterexample.
"""

from dataclasses import dataclass
from functools import partial
from typing import Any

import z3

from host_sim.proof.whole.terms import Term, conjuncts, negate

PROVED, REFUTED, UNKNOWN = "proved", "refuted", "unknown"
DEPTHS = (0, 1, 2, 3, 4)
DEEPER = (5, 6, 8, 11)
LIMITS = (1_000_000, 6_000_000, 60_000_000)
"""What the solver may spend on one question, in its own units: with each in turn, all ways are tried.

A million is some 50 ms. No time is measured, so that an answer is the same on a busy machine.
"""
TURNS_MAX = 400
ADDED_MAX = 6
HARD_DISTANCE = 50
_INT_CUT = ("choose", "mul", "div", "mod", "bits")


def is_cut(term: Term) -> bool:
    """Tell whether a term gets a variable of its own."""
    if term.op == "var":
        return True
    if term.kind == "truth":
        return term.op == "choose"
    if term.op == "mul":
        return all(isinstance(arg, Term) for arg in term.args)
    return term.op in _INT_CUT


def is_hard(term: Term) -> bool:
    """Tell whether the definition of a cut term is hard: a product or quotient of variables."""
    return term.op in ("mul", "div") and all(isinstance(arg, Term) for arg in term.args)


class Formulas:
    """Terms as z3 has them, in a context of their own: what was asked before changes no answer.

    `fixed`: variables that have a number instead of any.
    """

    def __init__(self, fixed: dict[str, int] | None = None) -> None:
        """Start with nothing translated."""
        self.fixed = fixed or {}
        self.context = z3.Context()
        self._made: dict[int, Any] = {}
        self._atoms: dict[int, frozenset[Term]] = {}

    def of(self, value: Any) -> Any:
        """Return a term in z3, with a variable for each term that is cut."""
        if isinstance(value, bool):
            return z3.BoolVal(value, self.context)
        if not isinstance(value, Term):
            return z3.IntVal(value, self.context)
        found = self._made.get(value.number)
        if found is None:
            found = self._variable(value) if is_cut(value) else self._operation(value)
            self._made[value.number] = found
        return found

    def _variable(self, term: Term) -> Any:
        if term.op == "var" and term.args[0] in self.fixed:
            number = self.fixed[term.args[0]]
            return self.of(bool(number) if term.kind == "truth" else int(number))
        name = term.args[0] if term.op == "var" else f"t{term.number}"
        return z3.Bool(name, self.context) if term.kind == "truth" else z3.Int(name, self.context)

    def _operation(self, term: Term) -> Any:
        if term.op == "narrow":
            return self.of(term.args[0])
        args = [self.of(arg) for arg in term.args]
        if term.op == "choose":
            return z3.If(*args)
        if term.op == "bits":
            return z3.Sum([z3.If(arg, self.of(1 << place), 0) for place, arg in enumerate(args)])
        if term.op == "not":
            return z3.Not(args[0])
        if term.op == "and":
            return z3.And(*args)
        one, two = args
        return _OPERATIONS[term.op](one, two)

    def definition(self, term: Term) -> Any:
        """Return what a cut term is: its variable equals its operation."""
        return self.of(term) == self._operation(term)

    def bounds(self, term: Term) -> Any:
        """Return the range of an integer's variable, where what it depends on holds."""
        if term.kind == "truth":
            return None
        inside = z3.And(self.of(term) >= term.low, self.of(term) <= term.high)
        return z3.Implies(z3.And(*(self.of(one) for one in term.given)), inside) if term.given else inside

    def atoms(self, value: Any) -> frozenset[Term]:
        """Return the cut terms that occur in a term, the term itself if it is one."""
        if not isinstance(value, Term):
            return frozenset()
        if is_cut(value):
            return frozenset((value,))
        found = self._atoms.get(value.number)
        if found is None:
            found = self._atoms[value.number] = self.inner_atoms(value)
        return found

    def inner_atoms(self, term: Term) -> frozenset[Term]:
        """Return the cut terms that occur in the parts of a term."""
        parts = (term.args[0],) if term.op == "narrow" else term.args
        return frozenset().union(*(self.atoms(arg) for arg in parts))


_OPERATIONS: dict[str, Any] = {
    "add": lambda a, b: a + b,
    "sub": lambda a, b: a - b,
    "mul": lambda a, b: a * b,
    "div": lambda a, b: a / b,
    "mod": lambda a, b: a % b,
    "lt": lambda a, b: a < b,
    "eq": lambda a, b: a == b,
    "iff": lambda a, b: a == b,
}


@dataclass(frozen=True, slots=True)
class Answer:
    """`verdict`, the `depth` of definitions that it took, and a counterexample's `values` by variable."""

    verdict: str
    depth: int
    values: dict[str, int]


class _Search:
    """Definitions and facts in use for one claim. Read: `known`, how far each term is from the claim."""

    def __init__(self, facts: "Facts", formulas: Formulas, goal: Any, limit: int) -> None:
        """Start with the goal and the ranges of what occurs in it."""
        self.facts = facts
        self.formulas = formulas
        self.solver = z3.SimpleSolver(formulas.context)
        self.solver.set("rlimit", limit)
        self.solver.set("arith.nl.horner", False)
        self.known: dict[Term, int] = {}
        self.used: set[tuple[int, bool]] = set()
        self.waiting: dict[tuple[int, bool], tuple[int, Any, frozenset[Term]]] = {}
        self.solver.add(self.formulas.of(goal))
        self.meet(self.formulas.atoms(goal), 0)

    def meet(self, atoms: frozenset[Term], distance: int) -> None:
        """Take in terms that occur now: their ranges at once, definitions and facts when they are broken."""
        for atom in sorted(atoms, key=hash):
            if atom in self.known:
                continue
            self.known[atom] = distance
            if (bounds := self.formulas.bounds(atom)) is not None:
                self.solver.add(bounds)
                for one in atom.given:
                    self.meet(self.formulas.atoms(one), distance + 1)
            if atom.op != "var":
                inner = self.formulas.inner_atoms(atom)
                far = distance + HARD_DISTANCE if is_hard(atom) else distance
                self.waiting[atom.number, False] = (far, self.formulas.definition(atom), inner)
            for fact in self.facts.about(atom):
                if (fact.number, True) not in self.waiting and (fact.number, True) not in self.used:
                    self.waiting[fact.number, True] = (
                        distance,
                        self.formulas.of(fact),
                        self.formulas.atoms(fact),
                    )

    def refine(self, model: Any) -> bool:
        """Add what the numbers of a model break, the nearest first; False if they break nothing."""
        nearest = sorted(self.waiting.items(), key=lambda one: (one[1][0], one[0]))
        broken = [one for one in nearest if not z3.is_true(model.eval(one[1][1], model_completion=True))]
        if not broken:
            # What speaks of terms that have no number yet may still break once they have.
            broken = [one for one in nearest if not one[1][2] <= self.known.keys()]
        for key, (distance, formula, atoms) in broken[:ADDED_MAX]:
            del self.waiting[key]
            self.used.add(key)
            self.solver.add(formula)
            self.meet(atoms, distance + 1)
        return bool(broken)


class Facts:
    """What may be used, each fact with the terms that it is about."""

    def __init__(self, facts: list[Any], fixed: dict[str, int] | None = None) -> None:
        """Take the facts apart into what holds one by one."""
        self.fixed = fixed or {}
        self.single = [one for fact in facts for one in conjuncts(fact) if one is not True]
        self._about: dict[Term, list[Any]] = {}
        formulas = Formulas()
        for fact in self.single:
            for atom in formulas.atoms(fact):
                self._about.setdefault(atom, []).append(fact)

    def about(self, atom: Term) -> list[Any]:
        """Return the facts in which a term occurs."""
        return self._about.get(atom, [])

    def prove(self, claim: Any, limits: tuple[int, ...] = LIMITS, turns: int = TURNS_MAX) -> Answer:
        """Return whether the claim follows from the facts. `turns`: how often numbers are looked for.

        First all definitions and facts up to a small distance from the claim are used at once. Then numbers
        that refute the claim are looked for with few of them; the nearest that such numbers break are added,
        until there are no such numbers, or until they break nothing. Then larger distances are tried.
        """
        if claim is True:
            return Answer(PROVED, 0, {})
        goal = negate(claim)
        formulas = Formulas(self.fixed)
        for limit in limits:
            for way in (self._near, self._far, partial(self._search, turns=turns)):
                answer = way(formulas, goal, limit)
                if answer.verdict != UNKNOWN:
                    return answer
        return Answer(UNKNOWN, 0, {})

    def is_near(self, claim: Any) -> bool:
        """Tell whether the claim follows from the definitions and facts that are near to it."""
        if claim is True:
            return True
        formulas, goal = Formulas(self.fixed), negate(claim)
        ways = (self._near, self._far)
        return any(way(formulas, goal, LIMITS[0]).verdict == PROVED for way in ways)

    def search(self, claim: Any, limit: int) -> dict[str, int] | None:
        """Return numbers that meet all facts and refute the claim, or None if none are found."""
        answer = self._search(Formulas(self.fixed), negate(claim), limit)
        return answer.values if answer.verdict == REFUTED else None

    def _near(self, formulas: Formulas, goal: Any, limit: int) -> Answer:
        return self._by_depth(formulas, goal, DEPTHS, limit)

    def _far(self, formulas: Formulas, goal: Any, limit: int) -> Answer:
        return self._by_depth(formulas, goal, DEEPER, limit)

    def _search(self, formulas: Formulas, goal: Any, limit: int, turns: int = TURNS_MAX) -> Answer:
        search = _Search(self, formulas, goal, limit)
        for turn in range(turns):
            result = search.solver.check()
            if result == z3.unsat:
                return Answer(PROVED, turn, {})
            if result == z3.unknown:
                break
            model = search.solver.model()
            if not search.refine(model):
                return Answer(REFUTED, turn, self._values(search, model))
        return Answer(UNKNOWN, 0, {})

    def _by_depth(self, formulas: Formulas, goal: Any, depths: tuple[int, ...], limit: int) -> Answer:
        """Try again with all definitions and facts up to a distance from the claim, each time from zero."""
        size = -1
        for depth in depths:
            solver, complete = self._slice(formulas, goal, depth)
            if len(solver.assertions()) == size:
                continue
            size = len(solver.assertions())
            solver.set("rlimit", limit)
            solver.set("arith.nl.horner", False)
            if solver.check() == z3.unsat:
                return Answer(PROVED, depth, {})
            if complete:
                break
        return Answer(UNKNOWN, depths[-1], {})

    def _slice(self, formulas: Formulas, goal: Any, depth: int) -> tuple[Any, bool]:
        """Return a solver with the goal, facts and definitions up to a depth; and whether all is in."""
        solver = z3.Solver(ctx=formulas.context)
        solver.add(formulas.of(goal))
        known: set[Term] = set()
        used: set[int] = set()
        frontier = set(formulas.atoms(goal))
        for level in range(depth + 1):
            following: set[Term] = set()
            for atom in frontier:
                known.add(atom)
                bounds = formulas.bounds(atom)
                if bounds is not None:
                    solver.add(bounds)
                    following.update(*(formulas.atoms(one) for one in atom.given))
            if level == depth:
                break
            for atom in frontier:
                if atom.op != "var":
                    solver.add(formulas.definition(atom))
                    following |= formulas.inner_atoms(atom)
                for fact in self._about.get(atom, ()):
                    if fact.number not in used:
                        used.add(fact.number)
                        solver.add(formulas.of(fact))
                        following |= formulas.atoms(fact)
            frontier = following - known
            if not frontier:
                return solver, True
        return solver, False

    def _values(self, search: _Search, model: Any) -> dict[str, int]:
        values = dict(self.fixed)
        for atom in search.known:
            if atom.op == "var" and atom.args[0] not in values:
                number = model.eval(search.formulas.of(atom), model_completion=True)
                values[atom.args[0]] = int(z3.is_true(number)) if atom.kind == "truth" else number.as_long()
        return values
