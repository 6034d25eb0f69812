"""Recommendation against brute force over the grid of bikes, a row a bike.

Run with `uv run python -m tests.benchmarks.tuning_brute_force [PART OF A NAME]`: a minute or two a
bicycle. Its table is kept in tests/tuning/README.md.
"""

import sys
from dataclasses import astuple

from tests.tuning.compare import compare_all


def main() -> None:
    """Print the parts of the score (engage, release, drive), recommended/swept, and how far apart."""
    print("| bicycle | priority | engage, release, drive: recommended/best swept | total | apart |")
    print("|---|---|---|---|---|")
    for one in compare_all(*sys.argv[1:2]):
        pairs = list(zip(astuple(one.recommended), astuple(one.swept), strict=True))[:3]
        parts = ", ".join(f"{recommended:.2f}/{swept:.2f}" for recommended, swept in pairs)
        total = f"{one.recommended.total:.2f}/{one.swept.total:.2f}"
        print(f"| {one.name} | {one.priority} | {parts} | {total} | {one.over_percent:+.1f} % |", flush=True)


if __name__ == "__main__":
    main()
