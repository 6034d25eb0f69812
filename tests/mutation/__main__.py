"""Runs the mutants of one target and holds what lived against survivors.toml.

    uv run python -m tests.mutation gates      guard/ and decide/: what must not fail; part of CI
    uv run python -m tests.mutation motion     crank, rotation, motor model, shunt watch, feed-forward
    uv run python -m tests.mutation rest       the other files of firmware/

Ends with 0 if every survivor is proved equivalent or explained, and with 1 if not.
"""

import argparse
import sys
import tempfile
import tomllib
from collections import Counter
from importlib import import_module
from os import cpu_count
from pathlib import Path
from typing import Any

from host_sim.proof.explorer import Unknown
from host_sim.proof.numbers import Failure
from tests.mutation.equivalence import check_equivalent
from tests.mutation.mutants import Survivor, tried
from tests.mutation.situations import SITUATIONS

HERE = Path(__file__).parent


class Account:
    """The survivors sorted: `proved`, `explained`, and the sentences of what is `open`."""

    def __init__(self, reasons: list[dict[str, Any]]) -> None:
        """Start with the reasons of survivors.toml, none of them used."""
        self.reasons = reasons
        self.used: Counter[int] = Counter()
        self.proved = 0
        self.explained = 0
        self.open: list[str] = []

    def take(self, survivor: Survivor) -> None:
        """Sort one survivor."""
        place = f"{survivor.file} {survivor.function}: {survivor.was!r} became {survivor.became!r}"
        number = next((n for n, reason in enumerate(self.reasons) if _fits(reason, survivor)), None)
        if number is None:
            self.open.append(f"{place}: no test failed, and there is no reason in survivors.toml")
            return
        self.used[number] += 1
        reason = self.reasons[number]
        if "proof" not in reason:
            self.explained += 1
            return
        try:
            self._prove(survivor, reason)
            self.proved += 1
        except (Failure, Unknown, TypeError) as failure:
            self.open.append(f"{place}: not equivalent, {failure} {getattr(failure, 'values', '')}")

    def _prove(self, survivor: Survivor, reason: dict[str, Any]) -> None:
        module = import_module(survivor.file.removesuffix(".py").replace("/", "."))
        for situation in SITUATIONS[reason["proof"]]:
            check_equivalent(situation, survivor.changed(module))

    def close(self) -> None:
        """Report entries of survivors.toml that no longer survive: a reason without a survivor misleads."""
        for number, reason in enumerate(self.reasons):
            if self.used[number] == 0:
                self.open.append(f"{reason['where']}: {reason['became']!r} did not live, its reason can go")


def _fits(reason: dict[str, Any], survivor: Survivor) -> bool:
    where = f"{survivor.file} {survivor.function}"
    return (reason["where"], reason["was"], reason["became"]) == (where, survivor.was, survivor.became)


def main() -> int:
    """Run one target; print the count and what is open."""
    targets = tomllib.loads((HERE / "targets.toml").read_text(encoding="utf-8"))
    reasons = tomllib.loads((HERE / "survivors.toml").read_text(encoding="utf-8"))
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("target", choices=sorted(targets))
    parser.add_argument("--workers", type=int, default=cpu_count() or 1)
    asked = parser.parse_args()
    account = Account(reasons.get(asked.target, []))
    with tempfile.TemporaryDirectory(prefix="mutants-") as scratch:
        count, survivors = tried(targets[asked.target], Path(scratch), asked.workers)
        for survivor in survivors:
            account.take(survivor)
    account.close()
    for sentence in account.open:
        print(sentence)
    print(
        f"{asked.target}: {count} mutants, {count - len(survivors)} killed, "
        f"{account.proved} proved equivalent, {account.explained} explained, {len(account.open)} open"
    )
    return 1 if account.open else 0


if __name__ == "__main__":
    sys.exit(main())
