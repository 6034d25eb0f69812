"""`python -m tests.runtime`: replay rides and path vectors everywhere, and print tables, or JSON."""

import argparse
import json
import sys
import tempfile
from pathlib import Path

from host_sim.testing.wasm import GuestFailed
from tests.runtime.cortex import CortexFailed
from tests.runtime.path_vectors import NotProved
from tests.runtime.results import Results
from tests.runtime.runners import ReplayFailed
from tests.runtime.table import rewrite_evidence, table


def main() -> int:
    """Return 0 if everything that could be run holds, 1 if not."""
    parser = argparse.ArgumentParser(prog="python -m tests.runtime", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of the table")
    parser.add_argument("--write", action="store_true", help="also put the tables into tests/EVIDENCE.md")
    wanted = parser.parse_args()
    try:
        with tempfile.TemporaryDirectory() as folder:
            results = Results(Path(folder))
    except (NotProved, ReplayFailed, CortexFailed, GuestFailed) as failure:
        sys.stderr.write(f"{failure}\n")
        return 1
    if wanted.write:
        rewrite_evidence(results)
    text = json.dumps(results.as_dict(), indent=2) if wanted.json else table(results)
    sys.stdout.write(text + "\n")
    return 0 if results.holds() else 1


if __name__ == "__main__":
    sys.exit(main())
