"""The meaning and unit of each column of a sweep's table, for readers without this program."""

from host_sim.rules.catalogue import rule_named
from host_sim.sweeping.metrics import MEASURES
from host_sim.sweeping.rows import Sweep
from host_sim.sweeping.rule_columns import margin_column, worst_column
from host_sim.sweeping.words import sentence_of, unit_of


def column_units(sweep: Sweep) -> dict[str, tuple[str, str]]:
    """Return (unit, sentence) for every column of the table, "" where there is no unit."""
    told = {"number": ("", "number of the point, from 0"), "reason": ("", "why the point can't be ridden")}
    for axis in sweep.points.axes:
        told[axis.key.name] = (unit_of(axis.key.name), sentence_of(axis.key.name))
    for name, measure in MEASURES.items():
        told[name] = (measure.unit, measure.sentence)
    for rule in sweep.rules:
        unit, sentence = rule_named(rule).unit, rule_named(rule).sentence
        told[worst_column(rule)] = (unit, f"the worst of verify's rides: {sentence}")
        told[margin_column(rule)] = (unit, f"limit minus worst; below 0 the rule fails: {sentence}")
    return told
