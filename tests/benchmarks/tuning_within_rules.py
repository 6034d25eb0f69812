"""Every bicycle and priority through `tune --write`, a row each: what the rules made of the best settings.

Run with `uv run python -m tests.benchmarks.tuning_within_rules [PRIORITY ...]`: about a minute a row where
nothing else runs. The table is kept in tests/tuning/WITHIN_RULES.md.
"""

import sys

from host_sim.tuning.score import PRIORITIES
from tests.tuning.within import HEADINGS, ended_all


def main() -> None:
    """Print the table, and what the rules refused first where something was held back."""
    print(f"| {' | '.join(HEADINGS)} |")
    print(f"|{'---|' * len(HEADINGS)}")
    for one in ended_all(sys.argv[1:] or list(PRIORITIES)):
        print(f"| {' | '.join(one.cells)} |", flush=True)
        if one.within.refused:
            print(
                f"  {one.name}, {one.priority}: {one.within.refused[0].sentence}", file=sys.stderr, flush=True
            )


if __name__ == "__main__":
    main()
