"""The power loop that a bike file gets by itself against the tuned one, a row a bicycle.

Run with `uv run python -m tests.benchmarks.tuning_derived_loop`: two minutes. The table is kept in
tests/tuning/README.md.
"""

from tests.tuning.derived_loop import derived_all


def main() -> None:
    """Print the table."""
    print("| bicycle | derived gain, integral time | tuned | derived is worse by |")
    print("|---|---|---|---|")
    for one in derived_all():
        pairs = [f"{gain} µV/W, {integral_ms} ms" for gain, integral_ms in (one.derived, one.tuned)]
        print(f"| {one.title} | {' | '.join(pairs)} | {one.over_percent:.1f} % |", flush=True)


if __name__ == "__main__":
    main()
