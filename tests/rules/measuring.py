"""Measures rules on copies of the firmware, each copy in a process of its own.

Run as a script. Reads a JSON list of jobs from standard input and writes a JSON list of answers. A job is

    {"folder": "...", "measurements": [{"bike": "tandem", "changes": {}, "rule": "surge", "rides": [...]}]}

where `folder` holds the copy of `firmware/`, and a ride is a scenario's name and a number. With `compiled`
the rides use that compiled copy of the unchanged firmware. What takes long to import and is not part of this
project is imported once, before the processes part; `firmware` and
`host_sim` are imported in each.
"""

import json
import sys
from multiprocessing import get_context
from os import cpu_count
from pathlib import Path
from typing import Any

import pydantic  # noqa: F401
import scipy.signal  # noqa: F401


def answered(job: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the verdict of every measurement of a job, and where its firmware came from."""
    sys.path.insert(0, job["folder"])
    if job.get("compiled"):
        from host_sim.compiled.compiled_first import compiled_first

        compiled_first(Path(job["compiled"]))
    import firmware

    return [{"firmware": firmware.__file__} | measured(one) for one in job["measurements"]]


def measured(measurement: dict[str, Any]) -> dict[str, Any]:
    """Return the verdict of one rule over its rides."""
    from host_sim.rules.catalogue import rule_named
    from host_sim.rules.judge import Verdict, measure
    from tests.ride.riding import bike_with

    bike = bike_with(measurement["bike"], **measurement["changes"])
    rule = rule_named(measurement["rule"])
    scenarios = {scenario.name: scenario for scenario in rule.scenarios}
    findings = []
    for name, seed in measurement["rides"]:
        findings += measure(bike, scenarios[name], seed, [rule])
    verdict = Verdict(rule, bike, findings)
    return {
        "rule": rule.name,
        "holds": verdict.holds,
        "measured": verdict.measured,
        "limit": verdict.limit,
        "unit": rule.unit,
    }


if __name__ == "__main__":
    assert "firmware" not in sys.modules
    with get_context("fork").Pool(min(cpu_count() or 1, 4), maxtasksperchild=1) as pool:
        json.dump(pool.map(answered, json.load(sys.stdin), chunksize=1), sys.stdout)
