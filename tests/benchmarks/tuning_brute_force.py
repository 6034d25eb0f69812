"""Recommendation against brute force over the grid of bikes, a row a bike.

Run with `uv run python -m tests.benchmarks.tuning_brute_force`: some minutes on two cores.
"""

from dataclasses import astuple

from tests.tuning.compare import compare_all


def main() -> None:
    """Print the parts of the score (engage, release, drive), recommended/swept, and how far apart."""
    for one in compare_all():
        pairs = zip(astuple(one.recommended), astuple(one.swept), strict=True)
        parts = " ".join(f"{recommended:.2f}/{swept:.2f}" for recommended, swept in pairs)
        total = f"{one.recommended.total:.2f} against {one.swept.total:.2f}"
        print(f"{one.name:<36} {one.priority:<9} {parts:<34} {total}, {one.over_percent:+.1f} %", flush=True)


if __name__ == "__main__":
    main()
