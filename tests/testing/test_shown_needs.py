"""Each rule names what it reads inside the controller: no more and no less."""

from typing import ClassVar

import pytest

from host_sim.bench.foreign import Foreign
from host_sim.bikes.load import load_bike
from host_sim.rules.catalogue import RULES
from host_sim.rules.measure import ride_once
from host_sim.rules.rule import Rule
from host_sim.testing import Inputs, Outputs

HIDDEN = {"engagement": "states", "faults": "fault causes", "request": "watts", "ceilings": "watts"}


class Pedalled:
    """Drives while edges come."""

    def __init__(self, settings):
        self.outputs = Outputs()
        self.quiet_steps = 0

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        self.quiet_steps += 1
        while inputs.crank.take():
            self.quiet_steps = 0
        self.outputs.command_mv = 2_000 if self.quiet_steps < 20 else 0
        self.outputs.drive_enabled = self.outputs.command_mv > 0
        return self.outputs


class Noting(Foreign):
    """A foreign controller that notes what of ours is read while a rule looks."""

    __slots__ = ()
    read: ClassVar[set[str]] = set()
    looking = False

    def __getattribute__(self, name: str):
        if name in HIDDEN and Noting.looking:
            Noting.read.add(HIDDEN[name])
        return super().__getattribute__(name)


class Build:
    shows_all = False

    def __call__(self, settings, now_us):
        return Noting(Pedalled(settings), "Pedalled", settings, now_us)


def looked_by(rule: Rule):
    """Return the rule with a probe that says when it looks."""

    def probe(case):
        made = rule.probe(case)
        for name in ("begin", "look"):
            look = getattr(made, name)
            setattr(made, name, noting(look))
        return made

    def noting(look):
        def looked(*arguments):
            Noting.looking = True
            try:
                look(*arguments)
            finally:
                Noting.looking = False

        return looked

    return Rule(rule.name, rule.sentence, rule.unit, rule.limit, rule.source, rule.scenarios, probe)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_a_rule_reads_what_it_says_it_needs(rule: Rule):
    Noting.read = set()
    for name in ("cargo_trike", "folding", "tandem"):
        bike = load_bike(name)
        if rule.limit(bike) is not None:
            ride_once(bike, rule.scenarios[0], 1, [looked_by(rule)], Build())
            break
    assert Noting.read == set(rule.needs)
