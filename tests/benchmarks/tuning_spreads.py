"""What seeds 1 to 5 recommend, a row a bicycle, for the settings in which they differ.

Run with `uv run python -m tests.benchmarks.tuning_spreads [NAME ...]`: a minute a bicycle. Its table is in
tests/tuning/README.md.
"""

import sys

from tests.tuning.spreads import spreads_all


def main() -> None:
    """Print the table."""
    print("| bicycle | seeds 1 to 5, lowest to highest (the others are equal) | a tenth and a step apart |")
    print("|---|---|---|")
    for one in spreads_all(sys.argv[1:]):
        differ = {name: values for name, values in one.values.items() if len(set(values)) > 1}
        words = ", ".join(f"{name} {min(values)} to {max(values)}" for name, values in differ.items())
        print(f"| {one.name} | {words or 'all equal'} | {', '.join(one.wide()) or 'none'} |", flush=True)


if __name__ == "__main__":
    main()
