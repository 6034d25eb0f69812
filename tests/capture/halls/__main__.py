"""`python -m tests.capture.halls [CAPTURES] [--write]`: inspect the cases, write the tables."""

import sys
from pathlib import Path

from tests.capture.halls.grid import case
from tests.capture.halls.judging import Verdict, fit_is_wrong, inspect, verdicts
from tests.capture.halls.table import markdown, put_into

CAPTURES = 510
# A multiple of the number of classes. The inspection was written on cases below 600 and 10,200 to 10,709.
FIRST = 20_400
README = Path(__file__).resolve().parents[3] / "host_sim" / "capture" / "README.md"


def main(arguments: list[str]) -> int:
    """Inspect CAPTURES cases; what was stated and wrong goes to standard error."""
    numbers = [argument for argument in arguments if argument != "--write"]
    if len(numbers) > 1 or not all(number.isdecimal() and int(number) > 0 for number in numbers):
        sys.stderr.write("allowed is [CAPTURES] [--write], CAPTURES a whole number from 1\n")
        return 2
    judged: list[Verdict] = []
    fit: dict[str, list[bool]] = {}
    for number in range(FIRST, FIRST + (int(numbers[0]) if numbers else CAPTURES)):
        one = case(number)
        found = inspect(one)
        fit.setdefault(one.name, []).append(found.fit)
        if fit_is_wrong(one, found):
            sys.stderr.write(f"case {number}, {one.name}: called fit\n")
        for verdict in verdicts(one, found):
            judged.append(verdict)
            if verdict.stated and not verdict.right:
                sys.stderr.write(f"case {number}, {one.name}: {verdict.finding} stated and wrong\n")
    tables = markdown(judged, fit)
    if "--write" in arguments:
        README.write_text(put_into(README.read_text(encoding="utf-8"), tables), encoding="utf-8")
    sys.stdout.write(tables + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
