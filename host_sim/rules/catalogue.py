"""All rules, by name, in the order of the reports."""

from host_sim.errors import RequestError
from host_sim.refusals import closest
from host_sim.rules.driving import DRIVING
from host_sim.rules.failing import FAILING
from host_sim.rules.rule import Rule
from host_sim.rules.speeding import SPEEDING
from host_sim.rules.stopping import STOPPING

RULES: tuple[Rule, ...] = (*STOPPING, *SPEEDING, *DRIVING, *FAILING)


def rule_named(name: str) -> Rule:
    """Return a rule; an unknown name raises RequestError with the nearest one."""
    for rule in RULES:
        if rule.name == name:
            return rule
    raise RequestError(f'--rule is "{name}", {closest(name, [rule.name for rule in RULES])}')
