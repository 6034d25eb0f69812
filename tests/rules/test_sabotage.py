"""A firmware with a mistake in it breaks a rule: for each of many mistakes, the named rule says so.

Each mistake is planted in a copy of `firmware/`; the copy is ridden in a process of its own,
with the rides that show it. The same rides on the firmware as it is keep the rule.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from host_sim.compiled.build import CannotCompile, compiled_copy
from host_sim.rules.catalogue import RULES
from tests.planting import Mistake, misplaced, plant
from tests.rules.variants import SABOTAGES, Sabotage

ROOT = Path(__file__).resolve().parents[2]
NAMES = [sabotage.name for sabotage in SABOTAGES]
PLAIN_SHARES = 4
MASKED = [sabotage for sabotage in SABOTAGES if sabotage.stopped_by_guard]


def sabotaged(folder: Path, mistakes: list[Mistake]) -> str:
    """Copy the firmware into `folder` and plant each mistake."""
    shutil.copytree(ROOT / "firmware", folder / "firmware", ignore=shutil.ignore_patterns("__pycache__"))
    for mistake in mistakes:
        plant(folder / "firmware", mistake)
    return str(folder)


class Answers:
    """What was measured on every sabotaged firmware, on the plain one, and on those with their guard."""

    def __init__(self, folder: Path) -> None:
        self._answers: dict[tuple[str, str], dict[str, Any]] = {}
        jobs: list[dict[str, Any]] = []
        asked: list[list[tuple[str, str]]] = []
        for index, row in enumerate(SABOTAGES):
            variants = {"sabotaged": row.mistakes}
            if row.stopped_by_guard:
                variants["guarded"] = row.with_guard
            for variant, mistakes in variants.items():
                if misplaced(mistakes):
                    continue  # One text that has moved is a matter of its own row.
                place = sabotaged(folder / f"{variant}_{index}", mistakes)
                jobs.append({"folder": place, "measurements": [row.measurement()]})
                asked.append([(row.name, variant)])
        plain = sabotaged(folder / "plain", [])
        for first in range(PLAIN_SHARES):
            share = SABOTAGES[first::PLAIN_SHARES]
            rides = [row.measurement() for row in share]
            jobs.append({"folder": plain, "measurements": rides, "compiled": compiled_or_not()})
            asked.append([(row.name, "plain") for row in share])
        for job, keys, answers in zip(jobs, asked, ridden(jobs), strict=True):
            for key, answer in zip(keys, answers, strict=True):
                assert answer["firmware"].startswith(job["folder"] + os.sep)
                self._answers[key] = answer

    def of(self, row: Sabotage, variant: str) -> dict[str, Any]:
        """Return the answer of a row on its `sabotaged`, its `guarded` or the `plain` firmware."""
        assert (row.name, variant) in self._answers, misplaced(row.mistakes)
        return self._answers[row.name, variant]


def compiled_or_not() -> str:
    """Return the compiled copy, which rides like its sources (test_compiled_verdicts), or ""."""
    try:
        return str(compiled_copy())
    except CannotCompile:
        return ""


def ridden(jobs: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Measure all jobs outside this process, which has the firmware as it is loaded already."""
    script = Path(__file__).with_name("measuring.py")
    done = subprocess.run(
        [sys.executable, str(script)],
        input=json.dumps(jobs),
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    answers: list[list[dict[str, Any]]] = json.loads(done.stdout)
    return answers


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> Answers:
    return Answers(tmp_path_factory.mktemp("firmwares"))


@pytest.mark.long
@pytest.mark.parametrize("row", SABOTAGES, ids=NAMES)
def test_the_named_rule_catches_the_mistake(row: Sabotage, answers: Answers) -> None:
    answer = answers.of(row, "sabotaged")
    assert answer["measured"] is not None, "the rides did not test it"
    assert answer["holds"] is False, answer


@pytest.mark.long
@pytest.mark.parametrize("row", SABOTAGES, ids=NAMES)
def test_the_same_rides_keep_the_rule_without_the_mistake(row: Sabotage, answers: Answers) -> None:
    answer = answers.of(row, "plain")
    assert answer["measured"] is not None, "the rides did not test it"
    assert answer["holds"] is True, answer


@pytest.mark.long
@pytest.mark.parametrize("row", MASKED, ids=[row.name for row in MASKED])
def test_the_guard_alone_stops_the_mistake(row: Sabotage, answers: Answers) -> None:
    # What the guard is for: sense, decide and drive are wrong, and still no rule is broken.
    answer = answers.of(row, "guarded")
    assert answer["holds"] is True, answer


def test_the_rides_are_few_and_no_mistake_is_planted_where_it_can_not_show() -> None:
    for row in SABOTAGES:
        assert 1 <= len(row.rides) <= 4, row.name
        assert row.mistakes, row.name


def test_every_sabotage_has_a_name_of_its_own_and_there_are_enough() -> None:
    assert len(set(NAMES)) == len(NAMES)
    assert len(SABOTAGES) >= 24


def test_every_rule_of_the_catalogue_catches_some_mistake() -> None:
    assert {row.rule for row in SABOTAGES} == {rule.name for rule in RULES}
