"""What a user should know while work goes on: one sentence on standard error."""

import sys


def say(sentence: str) -> None:
    """Say it; above the progress bar, where one is shown."""
    print(f"treadle: {sentence}", file=sys.stderr)
