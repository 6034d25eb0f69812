"""`python -m host_sim.runtimes`: replay the golden rides everywhere and print the table, or JSON."""

import argparse
import json
import sys
import tempfile
from pathlib import Path

from host_sim.runtimes.results import Results
from host_sim.runtimes.table import table


def main() -> int:
    """Return 0 if everything that could be run holds, 1 if not."""
    parser = argparse.ArgumentParser(prog="python -m host_sim.runtimes", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of the table")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        results = Results(Path(folder))
    text = json.dumps(results.as_dict(), indent=2) if wanted.json else table(results)
    sys.stdout.write(text + "\n")
    return 0 if results.holds() else 1


if __name__ == "__main__":
    sys.exit(main())
